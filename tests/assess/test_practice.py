"""The cases to practise with conclude what they say, and teach what is to be told apart."""

import pytest

from app.assess.assess import assess
from app.assess.practised import SignCount, missed_most
from app.exam.record import Cell, Value
from app.exam.vocabulary import Side
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


def test_signs_are_counted_once_a_try_and_by_what_went_wrong() -> None:
    """So that a team sees what to look at together: what is missed comes before what is added."""
    lap = CASES["lap_and_cup"]
    worked = lap.worked()
    turned: dict[Cell, Value] = {
        (name, side and side.other if name == "rest_tremor_hand" else side): value
        for (name, side), value in worked.items()
    }
    tries: list[dict[Cell, Value]] = [
        worked,
        turned,
        {cell: value for cell, value in worked.items() if cell[0] != "rest_tremor_hand"},
        worked | {("face_still", None): 0},
        worked | {("drift", Side.RIGHT): 1, ("drift", Side.LEFT): 1},
        # A normal sign that was left blank is missing from the score, and is no sign missed.
        {cell: value for cell, value in worked.items() if cell[0] != "drift"},
    ]

    assert [
        SignCount("rest_tremor_hand", there=6, missed=1, swapped=1, over_called=0),
        SignCount("face_still", there=6, missed=1, swapped=0, over_called=0),
        SignCount("drift", there=0, missed=0, swapped=0, over_called=1),
    ] == missed_most((lap, graded) for graded in tries)
    assert [] == missed_most([(lap, worked)])
