"""The exams that are timed: complete ones, and one being recorded entry by entry."""

from collections.abc import Iterator
from dataclasses import replace
from decimal import Decimal
from random import Random
from types import MappingProxyType

from app.assess.answers import marks_of
from app.exam.record import Cell, Exam, Patient, Value
from app.exam.vocabulary import GRADES, Finding, Scale, vocabulary
from app.knowledge.load import Knowledge

SEED = 20261126
# How many cells in a hundred are not normal: none, a few as in most exams, many.
ABNORMAL = (0, 2, 5, 10, 25)
EACH = 4
# Asked for, and none: which medicine is which is not what is timed.
MEDICINES = ()


def complete_exams(knowledge: Knowledge) -> list[Exam]:
    """Exams in which everything is recorded."""
    random = Random(SEED)
    return [_complete(knowledge, random, percent) for percent in ABNORMAL for _ in range(EACH)]


def recorded_one_by_one(exam: Exam) -> Iterator[Exam]:
    """The exam after each of its entries, in the order of the sheet."""
    held: dict[Cell, object] = {}
    for finding, side, value in exam.known():
        held[finding, side] = value
        yield replace(exam, cells=MappingProxyType(dict(held)))  # type: ignore[arg-type]


def _complete(knowledge: Knowledge, random: Random, percent: int) -> Exam:
    cells: dict[Cell, Value] = {}
    for finding in vocabulary().values():
        for side in finding.sides:
            values = _values(knowledge, finding)
            is_abnormal = random.randrange(100) < percent
            cells[finding.id, side] = random.choice(values) if is_abnormal else values[0]
    age = Decimal(random.randrange(60, 95))
    return Exam(Patient(age, random.choice(("male", "female"))), MappingProxyType(cells), MEDICINES)


def _values(knowledge: Knowledge, finding: Finding) -> tuple[Value, ...]:
    match finding.scale:
        case Scale.GRADE:
            return GRADES
        case Scale.YESNO:
            return (False, True)
        case Scale.CHOICE:
            return finding.values
        case _:
            low, high = finding.minimum or Decimal(0), finding.maximum or Decimal(100)
            marks = [mark for mark in marks_of(knowledge, finding.id) if low < mark < high]
            numbers = (marks[0] - 1 if marks and marks[0] - 1 >= low else (low + high) / 2, *marks)
            is_count = finding.scale is Scale.COUNT
            return tuple(int(each) if is_count else each for each in numbers)
