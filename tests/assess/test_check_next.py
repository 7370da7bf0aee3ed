"""What to examine next: in which order, and what for (contract, section 1)."""

import pytest
from hypothesis import given, settings

from app.assess.answers import answers_to
from app.assess.assess import assess, world_of
from app.assess.results import result_of
from app.exam.record import Exam
from app.exam.vocabulary import SIDES, Side, vocabulary
from app.knowledge.load import Knowledge, knowledge
from app.knowledge.model import WarningRule
from app.logic.expression import Reference
from app.logic.truth import YES
from tests.assess.examined import asked, assessed, category
from tests.proofs.places import places
from tests.strategies import exams

FALLS = "hx_falls_12m 0; hx_unsteady no; hx_fear_of_falling no;"


def settles(finding: str, text: str, **given: object) -> tuple[str, ...]:
    """What a finding could settle or raise."""
    return next(
        each.settles for each in assessed(text, **given).check_next if each.finding == finding
    )


def test_of_an_exam_that_was_not_made_only_little_is_asked() -> None:
    """The falls group, and whether a pull test would be safe, which is said before the test.

    Nothing points anywhere else, so nothing else could change.
    """
    assert [
        *("hx_falls_12m", "hx_unsteady", "hx_fear_of_falling"),
        *("rise", "walking_aid"),
    ] == asked()


def test_nothing_is_asked_where_everything_is_settled() -> None:
    """A short exam that answered its question."""
    assert [] == asked(FALLS + "rise normal; walking_aid none", medicines=[])


# ---- the order


def test_what_could_raise_an_emergency_comes_first() -> None:
    """New confusion with a flap: same day becomes an emergency."""
    found = asked(FALLS + "flap right 1; rest_tremor_jaw 1", medicines=[])

    assert "hx_confusion" == found[0]
    assert "toe_tap_slow both" in found


def test_an_emergency_that_was_raised_asks_for_no_more_of_itself() -> None:
    """It is as urgent as it can be."""
    text = FALLS + "drift right 1; hx_onset sudden"
    named = {name for each in assessed(text).check_next for name in each.settles}

    assert "after_head_injury" in named
    assert "stroke_like" not in named


def test_then_comes_what_settles_most_open_categories() -> None:
    """A stiff leg of unknown kind is open in three; the taps in one."""
    text = FALLS + "leg_resistance left 2; hx_onset months_years; hx_years 3;"
    open_ones = [each.id for each in assessed(text, medicines=[]).listed if each.level == "open"]
    found = [
        each
        for each in assessed(text, medicines=[]).check_next
        if not set(each.settles).isdisjoint(open_ones)
    ]
    counts = [len(set(each.settles) & set(open_ones)) for each in found]

    assert len(open_ones) > 1
    assert sorted(counts, reverse=True) == counts


def test_then_the_falls_group_and_then_other_warnings() -> None:
    """Whatever their place in the exam."""
    found = asked("rest_tremor_jaw 1; rest_tremor_hand each 0", medicines=["haloperidol"])
    order = [found.index(each) for each in ("toe_tap_slow both", "hx_unsteady", "walking_aid")]

    assert sorted(order) == order


def test_ties_are_in_the_order_of_the_vocabulary() -> None:
    """The order in which the exam is done."""
    assert [
        *("rest_tremor_hand both", "rest_tremor_leg both", "rest_tremor_jaw"),
    ] == [
        each
        for each in asked(FALLS + "toe_tap_slow right 2; toe_tap_halts right 1", medicines=[])
        if each.startswith("rest_tremor")
    ]


# ---- a pair is one entry


@pytest.mark.parametrize(
    ("text", "entry"),
    [
        ("posture_tremor each 1", "posture_tremor_onset both"),
        ("posture_tremor right 1", "posture_tremor_onset both"),
        ("posture_tremor right 1; posture_tremor left 0", "posture_tremor_onset right"),
        ("posture_tremor left 1; posture_tremor right 0", "posture_tremor_onset left"),
        (
            "posture_tremor each 1; posture_tremor_onset right delayed; kinetic_tremor right 1",
            "posture_tremor_onset left",
        ),
        (
            "posture_tremor each 1; posture_tremor_onset right untestable",
            "posture_tremor_onset left",
        ),
    ],
)
def test_a_finding_is_asked_for_once_with_the_side_that_is_missing(text: str, entry: str) -> None:
    """Both, right or left."""
    found = [each for each in asked(text, medicines=[]) if each.startswith("posture_tremor_onset")]

    assert [entry] == found


def test_a_detail_of_what_is_known_not_to_be_there_is_not_asked_for() -> None:
    """A catch without resistance would only be a contradiction."""
    text = FALLS + "drift each 0; hx_onset sudden; arm_resistance right 0"
    found = asked(text, medicines=[])

    assert "arm_resistance_speed left" in found
    assert "leg_resistance_speed both" in found


# ---- what for


def test_each_entry_names_what_it_could_settle_or_raise() -> None:
    """Categories and warnings by their ids, in the order of the contract."""
    text = FALLS + "posture_tremor each 1; kinetic_tremor each 0; hx_years 6;"

    assert {"parkinsonism", "action_tremor"} <= set(
        settles("posture_tremor_onset", text, medicines=[])
    )


def test_a_warning_with_one_part_true_asks_for_the_other() -> None:
    """Signs ask for their context, and a context for its signs."""
    assert "dopamine_blocker" in settles("toe_tap_slow", FALLS, medicines=["haloperidol"])
    assert "after_head_injury" in settles("hx_head_injury", FALLS + "hx_confusion yes")
    assert "after_head_injury" in settles("hx_confusion", FALLS + "hx_head_injury yes")
    assert "swallowing" not in {
        name for each in assessed(FALLS, medicines=[]).check_next for name in each.settles
    }


def test_what_could_not_be_tested_is_not_asked_for_again() -> None:
    """It stays among what is missing, so that it can be seen why the category is open."""
    text = FALLS + "posture_tremor right 1; posture_tremor left 0; posture_tremor_onset right "

    missing = category("parkinsonism", text + "untestable").missing

    assert ("posture_tremor_onset", "right") in {(each.finding, each.side) for each in missing}
    assert not any(each.startswith("posture_tremor_onset") for each in asked(text + "untestable"))


def test_what_the_falls_group_asked_for_and_could_not_be_tested_is_not_asked_for_again() -> None:
    """A timed rise that pain made impossible today."""
    assert "tug_s" in asked("hx_falls_12m 1")
    assert "tug_s" not in asked("hx_falls_12m 1; tug_s untestable")


@pytest.mark.parametrize("finding", ["hx_constipation", "hx_dream_enactment", "blinks_per_min"])
def test_what_no_rule_speaks_of_is_never_asked_for(finding: str) -> None:
    """It can change no level and no warning."""
    text = "rest_tremor_hand right 1; posture_tremor each 1; veering 1; arm_resistance each 1"

    assert finding not in {each.split()[0] for each in asked(text)}


@pytest.mark.parametrize("side", SIDES)
def test_a_direction_that_would_come_too_late_is_not_asked_for(side: str) -> None:
    """One paratonic limb felt in one direction: a second such limb is enough, felt either way."""
    limb = f"arm_resistance {side} 1; arm_resistance_varies {side} yes; "
    found = asked(FALLS + limb + f"arm_resistance_directions {side} one", medicines=[])

    assert "leg_resistance_varies both" in found
    assert not [each for each in found if "directions" in each]


@settings(max_examples=25)
@given(exam=exams())
def test_what_would_raise_an_emergency_is_asked_for(exam: Exam) -> None:
    """Where one part is true already: every single answer that would raise it, without fail.

    But for a detail of what is known not to be there, which would only be a contradiction.
    """
    known = knowledge()
    world, found = world_of(exam, known), assess(exam, known)
    named = {(each.finding, rule) for each in found.check_next for rule in each.settles}
    for warning in known.warnings.values():
        parts = [world.holds(warning.signs), world.holds(warning.context)]
        if YES not in parts or result_of(world, warning.id) == "emergency":
            continue
        if warning.context is None and parts[0] is not YES:
            continue
        for finding_id, side in named_in(known, warning):
            cell = (finding_id, side)
            described = vocabulary()[finding_id].detail_of
            if cell in exam.cells or (described and exam.value(described, side) == 0):
                continue
            for answer in answers_to(known, finding_id):
                if result_of(world.supposing({cell: answer}), warning.id) == "emergency":
                    assert (finding_id, warning.id) in named


def named_in(known: Knowledge, warning: WarningRule) -> list[tuple[str, Side | None]]:
    """Every cell that a warning asks about."""
    expression = Reference(f"{warning.id}_raised")
    return [each for each in dict.fromkeys(places(known, expression)) if each[0] in vocabulary()]
