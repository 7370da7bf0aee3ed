"""Two gradings beside each other: what agrees, what was missed, and which side was mistaken."""

from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from app.exam.compared import Compared, Outcome, compare
from app.exam.record import Cell, Value
from app.exam.vocabulary import Side, vocabulary

RIGHT, LEFT = Side.RIGHT, Side.LEFT
SIGNS = ("rest_tremor_hand", "drift", "plantar", "posture_tremor_onset", "clonus", "face_still",
         "step_length", "turn_steps")  # fmt: skip


def values_of(finding_id: str) -> st.SearchStrategy[Any]:
    """Any value of a finding."""
    finding = vocabulary()[finding_id]
    match finding.scale:
        case "grade":
            return st.integers(0, 3)
        case "yesno":
            return st.booleans()
        case "choice":
            return st.sampled_from(finding.values)
        case _:
            return st.integers(1, 9)


CELLS = [(name, side) for name in SIGNS for side in vocabulary()[name].sides]
few = settings(max_examples=40, deadline=None)
GRADINGS: st.SearchStrategy[dict[Cell, Value]] = st.fixed_dictionaries(
    {}, optional={cell: values_of(cell[0]) for cell in CELLS}
)


def mirrored(graded: dict[Cell, Value]) -> dict[Cell, Value]:
    """The same with right and left changed over."""
    return {(name, side and side.other): value for (name, side), value in graded.items()}


def outcomes(compared: tuple[Compared, ...], outcome: Outcome) -> set[Cell]:
    """The cells that came out so."""
    return {each.cell for each in compared if each.outcome is outcome}


@few
@given(GRADINGS)
def test_the_worked_answer_agrees_with_itself_in_every_cell(worked: dict[Cell, Value]) -> None:
    """The score of a perfect grading is all of it."""
    found = compare(worked, worked)

    assert (len(worked), len(worked)) == (found.agreed, found.total)
    assert set(worked) == outcomes(found.cells, Outcome.AGREED)


@few
@given(GRADINGS)
def test_a_mirrored_answer_is_swapped_exactly_where_the_sides_differ(
    worked: dict[Cell, Value],
) -> None:
    """RIGHT and LEFT mistaken is the one error that must never pass for another."""
    uneven = {
        (name, side)
        for name, side in CELLS
        if side and worked.get((name, RIGHT)) != worked.get((name, LEFT))
    }
    seen = compare(mirrored(worked), worked)
    # A normal value beside a cell without any says nothing and is passed over.
    shown = {each.cell for each in seen.cells}

    assert uneven & shown == outcomes(seen.cells, Outcome.SIDE_SWAPPED)
    assert shown - uneven == outcomes(seen.cells, Outcome.AGREED)


@few
@given(GRADINGS, GRADINGS)
def test_an_even_pair_is_never_swapped_and_mirroring_both_changes_nothing(
    yours: dict[Cell, Value], worked: dict[Cell, Value]
) -> None:
    """The comparison itself prefers no side."""
    plain, turned = compare(yours, worked), compare(mirrored(yours), mirrored(worked))

    swapped = outcomes(plain.cells, Outcome.SIDE_SWAPPED)
    assert [] == [
        name for name, _ in swapped if worked.get((name, RIGHT)) == worked.get((name, LEFT))
    ]
    told = {(each.cell[0], each.cell[1] and each.cell[1].other): each for each in turned.cells}
    assert {each.cell: each.outcome for each in plain.cells} == {
        cell: each.outcome for cell, each in told.items()
    }


@few
@given(GRADINGS, GRADINGS)
def test_what_was_not_examined_never_agrees_with_a_value(
    yours: dict[Cell, Value], worked: dict[Cell, Value]
) -> None:
    """Not even with a normal one: a blank is not read as normal."""
    for each in compare(yours, worked).cells:
        if each.yours is None:
            assert each.outcome in (Outcome.MISSED, Outcome.SIDE_SWAPPED), each


@few
@given(GRADINGS, GRADINGS)
def test_the_total_is_that_of_the_worked_answer(
    yours: dict[Cell, Value], worked: dict[Cell, Value]
) -> None:
    """Two tries at one case can be held against each other."""
    found = compare(yours, worked, frozenset(CELLS))

    assert len(CELLS) == found.total
    assert found.agreed <= found.total


HAND = "rest_tremor_hand"
PAIRS = [
    ("rest_tremor_hand", 2, 2, Outcome.AGREED),
    ("rest_tremor_hand", 1, 2, Outcome.ONE_GRADE),
    ("rest_tremor_hand", 3, 2, Outcome.ONE_GRADE),
    ("rest_tremor_hand", 1, 3, Outcome.OTHER_VALUE),
    ("rest_tremor_hand", 0, 1, Outcome.MISSED),
    ("rest_tremor_hand", None, 1, Outcome.MISSED),
    ("rest_tremor_hand", None, 0, Outcome.MISSED),
    ("rest_tremor_hand", 1, 0, Outcome.OVER_CALLED),
    ("clonus", False, True, Outcome.MISSED),
    ("clonus", True, False, Outcome.OVER_CALLED),
    ("posture_tremor_onset", "at_once", "delayed", Outcome.OTHER_VALUE),
]


def both(finding: str, value: Value) -> dict[Cell, Value]:
    """The same on both sides."""
    return {(finding, RIGHT): value, (finding, LEFT): value}


@pytest.mark.parametrize(("finding", "yours", "worked", "outcome"), PAIRS)
def test_each_difference_has_its_name(
    finding: str, yours: Value | None, worked: Value, outcome: Outcome
) -> None:
    """The same on both sides, so that nothing can be a mistaken side."""
    mine = {} if yours is None else both(finding, yours)
    found = compare(mine, both(finding, worked))

    assert [outcome, outcome] == [each.outcome for each in found.cells]


def test_a_sign_on_the_free_side_is_a_mistaken_side_whatever_its_grade() -> None:
    """RIGHT 2 was seen and LEFT 1 recorded: the side is what is wrong, not the grade."""
    found = compare({(HAND, LEFT): 1}, {(HAND, RIGHT): 2, (HAND, LEFT): 0})

    assert [Outcome.SIDE_SWAPPED] * 2 == [each.outcome for each in found.cells]


def test_what_the_words_leave_open_is_right_when_left_blank() -> None:
    """And a normal there is called what it is: recorded without having been described."""
    cell: Cell = (HAND, LEFT)
    blank, normal = (compare(mine, {}, {cell}) for mine in ({}, {cell: 0}))

    assert [(1, 1), (0, 1)] == [(each.agreed, each.total) for each in (blank, normal)]
    assert Outcome.NOT_DESCRIBED is normal.cells[0].outcome


def test_a_normal_detail_of_what_is_not_there_is_passed_over() -> None:
    """Nobody is corrected for saying that a resistance which is not there does not vary."""
    worked: dict[Cell, Value] = {("arm_resistance", LEFT): 0}
    mine: dict[Cell, Value] = {**worked, ("arm_resistance_varies", LEFT): False}

    assert compare(worked, worked) == compare(mine, worked)
