"""From one exam to the solver and back."""

from collections.abc import Iterator
from decimal import Decimal
from types import MappingProxyType

import z3  # type: ignore[import-untyped]

from app.assess.medicines import CheckedMedicines
from app.exam.reading import SEXES
from app.exam.record import Cell, Exam, Patient, Recorded, Untestable, Value
from app.exam.vocabulary import Scale, vocabulary
from app.knowledge.load import Knowledge
from tests.proofs.cells import Cells, names_of_ingredients
from tests.proofs.facts import Fact

UNREADABLE = "a line that nobody could read"
REASON = "pain"


def is_this(cells: Cells, exam: Exam, medicines: CheckedMedicines) -> Iterator[Fact]:
    """That an exam is this one, and nothing else is recorded in it."""
    yield from holds(cells, exam, medicines)
    for cell, held in cells.cells.items():
        yield held.untestable == exam.is_untestable(*cell)
        yield held.known == (exam.value(*cell) is not None)
    yield cells.age.known == (exam.patient.age is not None)
    yield cells.sex.known == (exam.patient.sex is not None)
    taken = _taken(cells, medicines)
    yield from (fact == (names in taken) for names, fact in cells.signatures.items())
    yield cells.list_is_whole == _is_whole(medicines)


def holds(cells: Cells, exam: Exam, medicines: CheckedMedicines) -> Iterator[Fact]:
    """That all that is known in this exam is so."""
    for finding_id, side, value in exam.known():
        cell = finding_id, side
        yield cells.cells[cell].is_(in_solver(cell, value))
    age, sex = exam.patient.age, exam.patient.sex
    if age is not None:
        yield cells.age.is_(z3.RealVal(str(age)))
    if sex is not None:
        yield cells.sex.is_(SEXES.index(sex))
    taken = _taken(cells, medicines)
    for names, fact in cells.signatures.items():
        if names in taken or _is_whole(medicines):
            yield fact == (names in taken)


def _taken(cells: Cells, medicines: CheckedMedicines) -> set[frozenset[str]]:
    names = names_of_ingredients(cells.knowledge)
    return {names[each.ingredient] for each in medicines.recognised}


def _is_whole(medicines: CheckedMedicines) -> bool:
    return medicines.asked and not medicines.not_recognised


def in_solver(cell: Cell, value: object) -> object:
    """A recorded value as the solver holds it."""
    finding = vocabulary()[cell[0]]
    if finding.scale is Scale.CHOICE:
        return finding.values.index(str(value))
    return z3.RealVal(str(value)) if isinstance(value, Decimal) else value


def exam_of(model: z3.ModelRef, cells: Cells) -> Exam:
    """The exam that a model of the solver describes."""
    recorded: dict[Cell, Recorded] = {}
    for cell, held in cells.cells.items():
        if _is(model, held.untestable):
            recorded[cell] = Untestable(REASON)
        elif _is(model, held.known):
            recorded[cell] = _value(cell, _at(model, held.value))
    age = _decimal(_at(model, cells.age.value)) if _is(model, cells.age.known) else None
    sex = SEXES[_at(model, cells.sex.value).as_long()] if _is(model, cells.sex.known) else None
    return Exam(Patient(age, sex), MappingProxyType(recorded), _medicines(model, cells))


def _medicines(model: z3.ModelRef, cells: Cells) -> tuple[str, ...] | None:
    taken = tuple(
        _ingredient(cells.knowledge, names)
        for names, fact in cells.signatures.items()
        if _is(model, fact)
    )
    if _is(model, cells.list_is_whole):
        return taken
    return (*taken, UNREADABLE) if taken else None


def _ingredient(knowledge: Knowledge, names: frozenset[str]) -> str:
    """The first ingredient that goes by just these names."""
    return next(each for each, held in names_of_ingredients(knowledge).items() if held == names)


def _value(cell: Cell, value: z3.ExprRef) -> Value:
    finding = vocabulary()[cell[0]]
    match finding.scale:
        case Scale.YESNO:
            return z3.is_true(value)
        case Scale.CHOICE:
            return finding.values[value.as_long()]
        case Scale.NUMBER:
            return _decimal(value)
        case _:
            return int(value.as_long())


def _decimal(value: z3.RatNumRef) -> Decimal:
    """A number as it can be typed. A third cannot: who uses the exam has to look at it again."""
    fraction = value.as_fraction()
    number = round(Decimal(fraction.numerator) / Decimal(fraction.denominator), 3)
    return Decimal(f"{number:f}".rstrip("0").rstrip(".")) if "." in f"{number:f}" else number


def _at(model: z3.ModelRef, value: z3.ExprRef) -> z3.ExprRef:
    return model.eval(value, model_completion=True)


def _is(model: z3.ModelRef, fact: Fact) -> bool:
    return z3.is_true(_at(model, fact))
