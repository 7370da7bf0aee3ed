"""The cases to practise with conclude what they say, and teach what is to be told apart."""

import pytest

from app.assess.assess import assess
from app.knowledge.load import knowledge
from app.knowledge.practice import PracticeCase, practice_cases

CASES = practice_cases()


@pytest.mark.parametrize("case", CASES.values(), ids=CASES)
def test_the_worked_answer_gives_what_the_case_says(case: PracticeCase) -> None:
    """A learner who grades as the worked answer does is shown just this."""
    found = assess(case.exam(case.worked()), knowledge())

    assert case.expects.categories == {each.id: each.level for each in found.listed}
    assert case.expects.warnings == {
        each.id: each.urgency for each in found.warnings if each is not found.fall_risk
    }
    assert case.expects.falls == found.fall_risk.level
    assert () == found.conflicts
    assert () == found.not_recognised


# What the mission is to tell apart, each by the case that teaches it.
TAUGHT = {
    "parkinsonism": "lap_and_cup",
    "action_tremor": "soup_spoon",
    "upper_motor_neuron": "catch_and_give",
    "paratonia": "arm_that_helps",
    "higher_level_gait": "small_steps_round",
    "cerebellar_ataxia": "feet_apart",
    "sensory_ataxia": "basin_at_night",
    "functional": "keeping_time",
}


@pytest.mark.parametrize(("category", "case_id"), TAUGHT.items())
def test_each_look_alike_has_a_case_in_which_it_fits(category: str, case_id: str) -> None:
    """Beside slowness without decrement, a normal exam, an emergency and a medicine."""
    assert "fits" == CASES[case_id].expects.categories[category]


def test_there_is_an_emergency_a_medicine_and_two_in_which_nothing_fits() -> None:
    """The other four of the set."""
    urgent = [case.id for case in CASES.values() if "emergency" in case.expects.warnings.values()]
    nothing = [case.id for case in CASES.values() if not case.expects.categories]

    assert ["legs_since_sunday"] == urgent
    assert ["whole_but_slow", "waiting_for_nothing"] == nothing
    assert {"dopamine_blocker": "soon"} == CASES["drops_before_meals"].expects.warnings
