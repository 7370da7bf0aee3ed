"""Exams drawn at random, the same for the same seed: from almost nothing known to everything.

Values lie on both sides of every cutoff and on it; cells may be untestable; medicines may be
unasked for, none, or lines of which one cannot be read.
"""

from collections.abc import Iterator
from decimal import Decimal
from functools import cache
from random import Random
from types import MappingProxyType

from app.exam.record import Cell, Exam, Patient, Recorded, Untestable, Value
from app.exam.vocabulary import GRADES, Scale, vocabulary
from app.knowledge.load import knowledge
from tests.strategies import CELLS, MEDICINES, NEAR_CUTOFFS, NORMAL_CORE, PICTURES

# How much of an exam is known.
DENSITIES = (0.02, 0.1, 0.3, 0.6, 0.9, 1.0)


def exams(count: int, seed: int) -> Iterator[Exam]:
    """So many exams; the same for the same seed, on every machine."""
    chance = Random(seed)
    for _ in range(count):
        yield exam(chance)


def exam(chance: Random) -> Exam:
    """One exam: a few pictures or all cells, more or less known, with a normal rest or not."""
    held: dict[Cell, Recorded] = dict(NORMAL_CORE) if chance.random() < 0.4 else {}
    density = chance.choice(DENSITIES)
    if chance.random() < 0.25:
        cells: list[Cell] = list(CELLS)
    else:
        cells = [c for each in chance.sample(PICTURES, chance.randint(1, 4)) for c in each]
        cells += chance.sample(CELLS, 6)
    # In a patient with one finding most others are normal: else everything would fit everybody.
    abnormal = chance.choice((0.1, 0.5, 1.0))
    for cell in cells:
        if chance.random() < density:
            held[cell] = _value(cell[0], chance, abnormal)
    untestable = chance.choice((0.0, 0.0, 0.02, 0.3))
    for cell in sorted(held) if untestable else ():
        if chance.random() < untestable:
            if chance.random() < 0.7:
                held[cell] = Untestable("pain")
            else:
                del held[cell]
    age = None if chance.random() < 0.2 else Decimal(chance.choice(_ages()))
    return Exam(
        Patient(age, chance.choice((None, "female", "male"))),
        MappingProxyType(held),
        _medicines(chance),
    )


def _value(finding_id: str, chance: Random, abnormal: float) -> Value:
    normal = vocabulary()[finding_id].normal_value()
    if normal is not None and chance.random() >= abnormal:
        return normal
    return chance.choice(_values(finding_id))


@cache
def _values(finding_id: str) -> tuple[Value, ...]:
    finding = vocabulary()[finding_id]
    match finding.scale:
        case Scale.GRADE:
            return GRADES
        case Scale.YESNO:
            return (False, True)
        case Scale.CHOICE:
            return finding.values
    low, high = finding.minimum or Decimal(0), finding.maximum or Decimal(0)
    if finding.scale is Scale.COUNT:
        return tuple(range(int(low), min(int(high), 16) + 1))
    marks = {Decimal(each.value) for each in knowledge().thresholds.values()}
    near = {Decimal(each) for each in NEAR_CUTOFFS.get(finding_id, ())}
    step = Decimal("0.01")
    beside = {mark + by for mark in marks for by in (-step, 0, step)}
    return tuple(each for each in sorted({low, high} | beside | near) if low <= each <= high)


@cache
def _ages() -> tuple[str, ...]:
    return ("0", "17", "39", "39.9", "40", "49", "50", "50.1", "51", "64", "65", "74", "75", "79",
            "84", "85", "89", "90", "94", "95", "120")  # fmt: skip


def _medicines(chance: Random) -> tuple[str, ...] | None:
    if chance.random() < 0.3:
        return None
    lines = chance.sample(MEDICINES, chance.randint(0, 3))
    return (*lines, "a line that nobody could read") if chance.random() < 0.1 else tuple(lines)
