"""An exam as a frozen value: what is in it, what is known, and its mirror."""

from dataclasses import FrozenInstanceError
from decimal import Decimal
from types import MappingProxyType

import pytest

from app.exam.record import Exam, Patient, Untestable
from app.exam.vocabulary import Side

RIGHT, LEFT = Side.RIGHT, Side.LEFT
EXAM = Exam(
    Patient(Decimal(68), "female"),
    MappingProxyType(
        {
            ("hx_years", None): Decimal("2.5"),
            ("drift", LEFT): 1,
            ("drift", RIGHT): 0,
            ("rest_tremor_hand", LEFT): Untestable("sling"),
            ("rise", None): Untestable("bed"),
        }
    ),
    ("aspirin",),
)


def test_a_cell_is_recorded_untestable_or_not_examined() -> None:
    """Three states; to the rules the last two are the same unknown."""
    assert 1 == EXAM.value("drift", LEFT)
    assert 0 == EXAM.value("drift", RIGHT)
    assert EXAM.value("rise") is None
    assert EXAM.value("base") is None
    assert [True, False, False] == [
        EXAM.is_untestable("rise"),
        EXAM.is_untestable("base"),
        EXAM.is_untestable("drift", LEFT),
    ]


def test_what_is_known_comes_in_the_order_of_the_vocabulary_right_before_left() -> None:
    """However it was recorded. What could not be tested is not known."""
    assert [
        ("drift", RIGHT, 0),
        ("drift", LEFT, 1),
        ("hx_years", None, Decimal("2.5")),
    ] == list(EXAM.known())


def test_what_could_not_be_tested_is_kept_with_its_reason() -> None:
    """In the same order; it is printed."""
    assert [
        ("rest_tremor_hand", LEFT, "sling"),
        ("rise", None, "bed"),
    ] == list(EXAM.untestable())


def test_the_mirror_changes_right_and_left_over_and_nothing_else() -> None:
    """Every output is checked against it, so that no side is ever mixed up."""
    assert {
        ("hx_years", None): Decimal("2.5"),
        ("drift", RIGHT): 1,
        ("drift", LEFT): 0,
        ("rest_tremor_hand", RIGHT): Untestable("sling"),
        ("rise", None): Untestable("bed"),
    } == dict(EXAM.mirrored().cells)
    assert EXAM.patient == EXAM.mirrored().patient
    assert EXAM.medicines == EXAM.mirrored().medicines


def test_an_exam_cannot_be_changed() -> None:
    """What was assessed is what is shown and signed."""
    with pytest.raises(FrozenInstanceError):
        EXAM.medicines = ()  # type: ignore[misc]
    with pytest.raises(TypeError):
        EXAM.cells["drift", LEFT] = 0  # type: ignore[index]


def test_nothing_is_known_of_an_exam_that_was_not_made() -> None:
    """Not even whether medicines are taken."""
    assert ([], [], None) == (list(Exam().known()), list(Exam().untestable()), Exam().medicines)
