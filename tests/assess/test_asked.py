"""Why a finding is asked for: what each answer would make of each rule that it could settle."""

import pytest

from app.assess.answers import CALCULATED, answers_to
from app.assess.asked import Effect, Outcome, effects_of
from app.assess.assess import assess, world_of
from app.assess.results import result_of
from app.exam.record import Exam
from app.exam.vocabulary import SIDES, Side
from app.knowledge.load import knowledge
from tests.assess.examined import exam_of

KNOWN = knowledge()
FALLS = "hx_falls_12m 0; hx_unsteady no; hx_fear_of_falling no;"
STIFF = FALLS + "leg_resistance left 2; hx_onset months_years; hx_years 3"
SHAKING = FALLS + "posture_tremor each 1; kinetic_tremor each 0; hx_years 6"
ONE_SIDE = "posture_tremor right 1; posture_tremor left 0"


def effects(finding: str, text: str = "", medicines: tuple[str, ...] = ()) -> tuple[Effect, ...]:
    """What a finding is asked for in the exam that is written so."""
    return effects_of(exam_of(text, medicines=medicines), KNOWN, finding)


def test_what_each_answer_would_make_of_a_rule_is_told() -> None:
    """Answers that give the same stand together, in the order of the scale."""
    assert (
        Effect(
            "fall_risk",
            None,
            "open",
            (Outcome((0, 1), "open"), Outcome((2, 3, 1000), "high")),
        ),
    ) == effects("hx_falls_12m")
    assert (
        Effect(
            "flap",
            None,
            "same_day",
            (Outcome((False,), "same_day"), Outcome((True,), "emergency")),
        ),
    ) == effects("hx_confusion", FALLS + "flap right 1; rest_tremor_jaw 1")


def test_what_decides_only_together_with_more_is_not_told_as_deciding() -> None:
    """Fever alone raises no warning where the rest is open too."""
    [alone] = effects("hx_fever", STIFF)
    [enough] = effects("hx_falls_12m")

    assert not alone.is_by_itself
    assert enough.is_by_itself


def test_nothing_is_told_of_what_is_not_asked_for() -> None:
    """No reason is made up."""
    assert () == effects("hx_constipation")
    assert () == effects("hx_unsteady", FALLS)


def test_each_side_has_its_own_reason_right_before_left() -> None:
    """Where a finding is asked for on one side, of that side alone."""
    both = [(each.rule, each.side) for each in effects("arm_resistance", STIFF)]
    one = {each.side for each in effects("posture_tremor_onset", ONE_SIDE)}

    assert [
        *(("parkinsonism", Side.RIGHT), ("parkinsonism", Side.LEFT)),
        *(("upper_motor_neuron", Side.RIGHT), ("upper_motor_neuron", Side.LEFT)),
    ] == both
    assert {Side.RIGHT} == one


def test_a_rule_is_named_on_the_side_on_which_the_finding_could_change_it() -> None:
    """Both feet point to the cord, and the right one does already; serotonin asks for either."""
    text = (
        "drift right 2; drift left 0; plantar right up; plantar left down; speech_slurred 1; "
        "hx_onset sudden; hx_bladder none; hx_bowel_or_saddle no; hx_back_or_neck_pain no; "
        "hx_cancer no"
    )
    found = effects_of(exam_of(text, age=78, sex="male"), KNOWN, "clonus")

    assert [
        ("cord_compression", Side.LEFT),
        *(("serotonin_excess", Side.RIGHT), ("serotonin_excess", Side.LEFT)),
    ] == [(each.rule, each.side) for each in found]


def test_of_what_goes_into_a_calculation_no_single_answer_is_told() -> None:
    """The seconds of a walk say nothing without its metres."""
    [found] = effects("walk_s", "hx_falls_12m 1; hx_unsteady yes")

    assert Effect("fall_risk", None, "open", ()) == found
    assert not found.is_by_itself


@pytest.mark.parametrize("text", ["", STIFF, SHAKING, ONE_SIDE])
def test_what_is_told_is_what_the_altered_exam_gives(text: str) -> None:
    """For every finding that is asked for: every rule that it names, and every answer, tried."""
    exam = exam_of(text, medicines=())
    for each in assess(exam, KNOWN).check_next:
        found = effects_of(exam, KNOWN, each.finding)
        sides = SIDES if each.side == "both" else (each.side and Side(each.side),)

        assert set(each.settles) == {effect.rule for effect in found}
        assert set(sides) == {effect.side for effect in found}
        for effect in found:
            assert result_of(world_of(exam, KNOWN), effect.rule) == effect.now
            assert given_by(exam, each.finding, effect) == list(effect.outcomes)


def given_by(exam: Exam, finding: str, effect: Effect) -> list[Outcome]:
    """The result of each answer, each that follows another with the same result beside it."""
    found: list[Outcome] = []
    if finding in CALCULATED:
        return found
    for answer in answers_to(KNOWN, finding):
        world = world_of(exam, KNOWN).supposing({(finding, effect.side): answer})
        result = result_of(world, effect.rule)
        if found and found[-1].result == result:
            found[-1] = Outcome((*found[-1].answers, answer), result)
        else:
            found.append(Outcome((answer,), result))
    return found
