"""What tries at practice cases show: how one compares, and which signs many of them miss."""

from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from app.exam.compared import Comparison, Outcome, compare, says_something
from app.exam.record import Cell, Value
from app.exam.vocabulary import vocabulary
from app.knowledge.practice import PracticeCase


@dataclass(frozen=True)
class SignCount:
    """How often one sign was there in the tries, and in how many of them it went how.

    missed: was there and was graded as absent or left not examined. swapped: on the wrong side.
    over_called: recorded where nothing was.
    """

    finding: str
    there: int
    missed: int
    swapped: int
    over_called: int


def compare_try(case: PracticeCase, graded: Mapping[Cell, Value]) -> Comparison:
    """One try beside the worked answer."""
    return compare(graded, case.worked(), case.left_open())


def missed_most(tries: Iterable[tuple[PracticeCase, Mapping[Cell, Value]]]) -> list[SignCount]:
    """Signs that went wrong in some try, most often missed or swapped first.

    A sign counts once in a try, whatever its sides.
    """
    counted: dict[str, Counter[str]] = {}
    for case, graded in tries:
        for finding, what in _told(compare_try(case, graded)):
            counted.setdefault(finding, Counter())[what] += 1
    found = [
        SignCount(finding, *(each[what] for what in ("there", *_COUNTED.values())))
        for finding, each in counted.items()
        if each.keys() & _COUNTED.values()
    ]
    place = vocabulary().place
    return sorted(
        found,
        key=lambda each: (-each.missed - each.swapped, -each.over_called, place(each.finding)),
    )


_COUNTED = {
    Outcome.MISSED: "missed",
    Outcome.SIDE_SWAPPED: "swapped",
    Outcome.OVER_CALLED: "over_called",
}


def _told(comparison: Comparison) -> set[tuple[str, str]]:
    """For each sign of one try what there is to count, once."""
    told: set[tuple[str, str]] = set()
    for each in comparison.cells:
        finding = each.cell[0]
        is_there = says_something(vocabulary()[finding], each.worked)
        if is_there:
            told.add((finding, "there"))
        # A normal sign that was left blank is no sign that was missed.
        if each.outcome in _COUNTED and (is_there or each.outcome is not Outcome.MISSED):
            told.add((finding, _COUNTED[each.outcome]))
    return told
