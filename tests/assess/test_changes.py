"""The smallest changes, kind by kind of condition: what must be otherwise for a yes, or for none.

Whether they are the smallest in a whole exam is tried out in test_explain.py.
"""

import pytest

from app.assess.assess import world_of
from app.assess.changes import IS_YES, NOT_YES, Change, altered_world, smallest_changes
from app.assess.world import ExamWorld
from app.exam.vocabulary import Side
from app.knowledge.load import knowledge
from app.logic.parse import parse
from app.logic.truth import NO, UNKNOWN, YES
from tests.assess.examined import exam_of, in_short


def changes(sentence: str, text: str = "", **given: object) -> tuple[Change, ...]:
    """What would turn a condition around: to yes where it is not, and else to anything else."""
    world = world_of(exam_of(text, **given), knowledge())  # type: ignore[arg-type]
    condition = knowledge().names.resolve(parse(sentence))
    is_yes = world.truth(condition) is YES
    return smallest_changes(
        world,
        condition,
        NOT_YES if is_yes else IS_YES,
        lambda changed: changed.truth(condition).value,
        lambda answer: (answer == "yes") is not is_yes,
    )


@pytest.mark.parametrize(
    ("sentence", "text", "expected"),
    [
        # A grade is found definite, or as marked as is asked for; and is thought away whole.
        ("tics", "tics 0", ["tics: 0 > 2"]),
        ("tics >= marked", "tics 2", ["tics: 2 > 3"]),
        ("tics >= definite", "tics 3", ["tics: 3 > 0"]),
        # A choice: whichever is asked for; away from it the normal one.
        ("base in (narrow, wide)", "", ["base: ? > narrow", "base: ? > wide"]),
        ("base is wide", "base wide", ["base: wide > normal"]),
        ("hx_onset is sudden", "hx_onset sudden", ["hx_onset: sudden > months_years"]),
        # What is not recorded becomes so by the normal value, or else by any; it stays recorded.
        ("known(pull_test)", "", ["pull_test: ? > recovers"]),
        (
            "any(known(posture_tremor_onset) and drift)",
            "drift left 2",
            ["posture_tremor_onset left: ? > at_once", "posture_tremor_onset left: ? > delayed"],
        ),
        ("known(pull_test)", "pull_test recovers", []),
        # What could not be tested is taken as it is.
        ("any(untestable(finger_tap_slow))", "finger_tap_slow right untestable", []),
        # On a side, and without one.
        ("any(clonus and tics)", "clonus left yes", ["tics: ? > 2"]),
        ("any(clonus and not drift)", "clonus left yes; drift left 1", ["drift left: 1 > 0"]),
        ("any(drift and other(clonus))", "drift right 1", ["clonus left: ? > True"]),
        (
            "any(drift and at_least(1, clonus, hoffmann))",
            "drift right 1; hoffmann each no",
            ["hoffmann right: False > True", "clonus right: ? > True"],
        ),
        (
            "any(clonus and (drift or hoffmann))",
            "clonus left yes; hoffmann each no",
            ["drift left: ? > 2", "hoffmann left: False > True"],
        ),
        # A number is taken as it is.
        ("hx_years > recent_years", "hx_years 0.1", []),
        # Under a name, in whatever it stands for.
        (
            "any(chorea and suspect_catch_leg)",
            "chorea right 1",
            ["leg_resistance_speed right: ? > catch"],
        ),
        # Either, or both sides.
        ("hx_fever or tics", "", ["tics: ? > 2", "hx_fever: ? > True"]),
        ("both(drift)", "drift right 1", ["drift left: ? > 2"]),
        # A medicine of a class.
        ("takes(anticoagulant)", "", ["anticoagulant: ? > True"]),
        # Surely so: unknown is not enough, and to end it an answer is needed.
        ("any(drift and surely(clonus))", "drift left 1", ["clonus left: ? > True"]),
        (
            "any(drift and surely(clonus))",
            "drift left 1; clonus left yes",
            ["drift left: 1 > 0", "clonus left: True > False"],
        ),
        ("not surely(hx_fever)", "hx_fever yes", ["hx_fever: True > False"]),
        ("not surely(hx_fever)", "", ["hx_fever: ? > True"]),
        # Two of four: one more for a yes; one less where just two are there.
        (
            "at_least(2, hx_fever, hx_confusion, hx_agitation, tics)",
            "hx_fever yes; hx_confusion no; hx_agitation no; tics 0",
            ["tics: 0 > 2", "hx_confusion: False > True", "hx_agitation: False > True"],
        ),
        (
            "at_least(2, hx_fever, hx_confusion, hx_agitation, tics)",
            "hx_fever yes; hx_confusion yes; hx_agitation no; tics 0",
            ["hx_fever: True > False", "hx_confusion: True > False"],
        ),
    ],
)
def test_one_change_is_enough(sentence: str, text: str, expected: list[str]) -> None:
    """Each by itself, in the order of the vocabulary, right before left."""
    assert [[each] for each in expected] == [
        [in_short(each) for each in change.altered] for change in changes(sentence, text)
    ]


@pytest.mark.parametrize(
    ("sentence", "text", "level", "expected"),
    [
        ("hx_fever and tics", "", "yes", ["tics: ? > 2", "hx_fever: ? > True"]),
        ("both(drift)", "", "yes", ["drift right: ? > 2", "drift left: ? > 2"]),
        (
            "hx_fever or tics",
            "hx_fever yes; tics 1",
            "no",
            ["tics: 1 > 0", "hx_fever: True > False"],
        ),
        ("any(drift)", "drift each 1", "no", ["drift right: 1 > 0", "drift left: 1 > 0"]),
    ],
)
def test_where_two_are_needed_they_stand_together(
    sentence: str, text: str, level: str, expected: list[str]
) -> None:
    """In the same order, with what they give."""
    (found,) = changes(sentence, text)

    assert (level, expected) == (found.level, [in_short(each) for each in found.altered])


def test_nothing_is_thought_into_a_list_of_medicines() -> None:
    """A list that was recorded is complete, unless a line was not recognised."""
    assert () == changes("takes(anticoagulant)", medicines=[])
    assert () == changes("takes(anticoagulant)", medicines=["haloperidol"])
    assert 1 == len(changes("takes(anticoagulant)", medicines=["little white tablet"]))


def test_of_grades_the_nearest_is_named_that_makes_sums_unequal() -> None:
    """One grade less or more is less of a change than none at all; of two the lower."""
    equal = (
        "finger_tap_slow each 2; rest_tremor_hand each 0; finger_tap_decrement each 3;"
        " finger_tap_halts each 0; arm_resistance each 0"
    )
    found = [in_short(each) for change in changes("arms_equal", equal) for each in change.altered]

    assert ["finger_tap_slow right: 2 > 1", "finger_tap_slow left: 2 > 1"] == [
        each for each in found if each.startswith("finger_tap_slow")
    ]
    assert "finger_tap_decrement left: 3 > 2" in found
    assert "rest_tremor_hand right: 0 > 1" in found


def test_what_could_not_be_tested_is_marked_on_its_side() -> None:
    """And only there."""
    ((one,), (other,)) = (
        change.altered for change in changes("any(drift)", "drift right untestable; drift left 0")
    )

    assert (Side.RIGHT, True) == (one.side, one.is_untestable)
    assert (Side.LEFT, False) == (other.side, other.is_untestable)


# ---- medicines left out


def without(medicine_class: str, *lines: str) -> ExamWorld:
    """An exam with these medicines, thought without those of a class; no lines: nobody asked."""
    world = world_of(exam_of(medicines=lines or None), knowledge())
    return altered_world(world, {(medicine_class, None): False})


def test_a_line_that_is_left_out_takes_all_with_it_that_its_medicine_does() -> None:
    """Haloperidol blocks dopamine and causes parkinsonism; the other lines stay."""
    world = without("dopamine_blocking", "haloperidol 1 mg", "warfarin", "metoclopramide")

    assert ("warfarin",) == world.exam.medicines
    assert NO is world.medicines.takes("parkinsonism_causing")
    assert YES is world.medicines.takes("anticoagulant")


def test_what_is_left_out_is_named() -> None:
    """The class that is taken, and the medicines of it."""
    (change,) = changes("takes(anticoagulant)", medicines=["warfarin", "haloperidol"])
    (altered,) = change.altered

    assert ("anticoagulant", True, False) == (altered.name, altered.was, altered.becomes)
    assert (True, ("warfarin",)) == (altered.is_medicine, altered.medicines)


def test_without_a_line_another_that_nobody_recognised_may_still_be_one() -> None:
    """Unknown, as it would be in an exam with that list."""
    world = without("dopamine_blocking", "haloperidol 1 mg", "little white tablet")

    assert UNKNOWN is world.truth(parse("takes(dopamine_blocking)"))


def test_where_nobody_asked_only_that_class_is_thought_away() -> None:
    """Nothing is known of the others."""
    world = without("anticoagulant")

    assert NO is world.truth(parse("takes(anticoagulant)"))
    assert UNKNOWN is world.truth(parse("takes(dopamine_blocking)"))
