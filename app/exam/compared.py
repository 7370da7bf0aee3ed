"""Two gradings of the same signs, cell by cell: what agrees, and how the rest differs."""

from collections.abc import Mapping, Set
from dataclasses import dataclass
from enum import StrEnum

from app.exam.record import Cell, Value
from app.exam.vocabulary import Finding, Scale, Side, vocabulary


class Outcome(StrEnum):
    """How one cell of a grading stands to the worked answer.

    missed: something is there and was graded as absent, or the cell was left not examined though
    the worked answer has a value; it is never counted as normal. over_called: nothing is there.
    not_described: a value where the worked answer has none.
    """

    AGREED = "agreed"
    ONE_GRADE = "one_grade_apart"
    OTHER_VALUE = "other_value"
    MISSED = "missed"
    SIDE_SWAPPED = "side_swapped"
    OVER_CALLED = "over_called"
    NOT_DESCRIBED = "not_described"


@dataclass(frozen=True)
class Compared:
    """One cell. yours, worked: None where it was not examined."""

    cell: Cell
    outcome: Outcome
    yours: Value | None
    worked: Value | None


@dataclass(frozen=True)
class Comparison:
    """A whole grading beside the worked answer, in the order of findings.toml.

    total: how many cells the worked answer has, those to be left among them.
    """

    cells: tuple[Compared, ...]
    total: int

    @property
    def agreed(self) -> int:
        """How many cells are as in the worked answer."""
        return sum(each.outcome is Outcome.AGREED for each in self.cells)


def compare(
    yours: Mapping[Cell, Value],
    worked: Mapping[Cell, Value],
    left_open: Set[Cell] = frozenset(),
) -> Comparison:
    """Compare a grading with the worked answer.

    left_open: cells that are right when left not examined, and count as such. A normal value where
    the worked answer needs none, as of a detail of what is not there, is passed over.
    """
    words = vocabulary()
    needed = worked.keys() | left_open
    said = {cell for cell, value in yours.items() if says_something(words[cell[0]], value)}
    cells = sorted(needed | said, key=lambda cell: words.place(*cell))
    return Comparison(tuple(_compared(cell, yours, worked) for cell in cells), len(needed))


def _compared(cell: Cell, yours: Mapping[Cell, Value], worked: Mapping[Cell, Value]) -> Compared:
    finding_id, side = cell
    finding = vocabulary()[finding_id]
    mine, right = yours.get(cell), worked.get(cell)
    if side is not None and _is_swapped(finding, yours, worked):
        outcome = Outcome.SIDE_SWAPPED
    else:
        outcome = _outcome(finding, mine, right)
    return Compared(cell, outcome, mine, right)


def _outcome(finding: Finding, mine: Value | None, right: Value | None) -> Outcome:
    if mine == right:
        return Outcome.AGREED
    if right is None:
        return Outcome.NOT_DESCRIBED
    if mine is None:
        return Outcome.MISSED
    if says_something(finding, right) != says_something(finding, mine):
        return Outcome.MISSED if says_something(finding, right) else Outcome.OVER_CALLED
    if finding.scale is Scale.GRADE and abs(_grade(mine) - _grade(right)) == 1:
        return Outcome.ONE_GRADE
    return Outcome.OTHER_VALUE


def _is_swapped(
    finding: Finding, yours: Mapping[Cell, Value], worked: Mapping[Cell, Value]
) -> bool:
    """Whether a pair is on the wrong side: mirrored, or marked only on the side that is free."""
    mine, right = (
        [held.get((finding.id, side)) for side in (Side.RIGHT, Side.LEFT)]
        for held in (yours, worked)
    )
    if right[0] == right[1]:
        return False
    if mine == right[::-1]:
        return True
    marked = [says_something(finding, each) for each in right]
    return marked[0] is not marked[1] and marked[::-1] == [
        says_something(finding, each) for each in mine
    ]


def says_something(finding: Finding, value: Value | None) -> bool:
    """Whether a value is recorded that is not the normal one, where there is a normal one."""
    return value is not None and value != finding.normal_value()


def _grade(value: Value) -> int:
    return int(str(value))
