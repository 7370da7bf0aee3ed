"""Two exams of one patient compared, cell by cell: what is new, worse, better, not comparable.

What one examiner calls slight another calls definite, and no published figure says how often. So a
step of one grade is called just that and no change of the patient. A measured difference is called
worse or better only beyond a published figure; where there is none, it stands as it is. Unknown is
never read as normal: what is not known both times is not comparable.
"""

from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum
from fractions import Fraction

from app.exam.measures import QUANTITIES
from app.exam.record import Exam, Recorded, Untestable, Value
from app.exam.vocabulary import Finding, Scale, Side, vocabulary
from app.knowledge.course import MEASURED, Course, Figure
from app.knowledge.load import Knowledge
from app.language.words import N_


class Kind(StrEnum):
    """How a cell differs between two exams.

    NEW, GONE: normal before, or normal now. ONE_GRADE: a step of one grade. DIFFERENT: known both
    times and different, where nothing says which way is worse or how much is change. WITHIN_ERROR:
    a difference no larger than a published minimal detectable change.
    """

    NEW = N_("new")
    WORSE = N_("worse")
    BETTER = N_("better")
    GONE = N_("gone")
    ONE_GRADE = N_("one grade")
    DIFFERENT = N_("different")
    WITHIN_ERROR = N_("within measurement error")
    NOT_COMPARABLE = N_("not comparable")
    SAME = N_("same")


class Toward(StrEnum):
    """The way in which a difference points, whether or not it is called a change."""

    WORSE = "worse"
    BETTER = "better"


@dataclass(frozen=True)
class Compared:
    """One cell, or one number that is worked out, in two exams.

    name: of a finding or a quantity. then, now: what was recorded; None where it was not examined.
    toward: None where it is the same, not comparable, or without an order. figures: the published
    ones for this value, whatever they decided.
    """

    name: str
    side: Side | None
    then: Recorded | Fraction | None
    now: Recorded | Fraction | None
    kind: Kind
    toward: Toward | None = None
    figures: tuple[Figure, ...] = ()

    @property
    def difference(self) -> Fraction | None:
        """How much higher a measured value is now; None where there is no such number."""
        numbers = _number(self.then), _number(self.now)
        if numbers[0] is None or numbers[1] is None or not is_measured(self.name):
            return None
        return numbers[1] - numbers[0]


def compare(then: Exam, now: Exam, knowledge: Knowledge) -> tuple[Compared, ...]:
    """Every cell that either exam records, and every number that either gives, compared.

    In the order of findings.toml, right before left; numbers that are worked out come last.
    """
    course, words = knowledge.course, vocabulary()
    cells = sorted({*then.cells, *now.cells}, key=lambda cell: words.place(*cell))
    found = [
        _compared(name, side, then.cells.get((name, side)), now.cells.get((name, side)), course)
        for name, side in cells
    ]
    for quantity in QUANTITIES.values():
        numbers = quantity.of(then), quantity.of(now)
        if numbers != (None, None):
            found.append(_compared(quantity.id, None, *numbers, course))
    return tuple(found)


def is_measured(name: str) -> bool:
    """Whether this is a count, a number, or worked out from them."""
    return name in QUANTITIES or vocabulary()[name].scale in MEASURED


def _compared(
    name: str,
    side: Side | None,
    then: Recorded | Fraction | None,
    now: Recorded | Fraction | None,
    course: Course,
) -> Compared:
    figures = course.figures_of(name)
    if then is None or now is None or isinstance(then, Untestable) or isinstance(now, Untestable):
        return Compared(name, side, then, now, Kind.NOT_COMPARABLE, None, figures)
    if then == now:
        return Compared(name, side, then, now, Kind.SAME, None, figures)
    before, after = _badness(name, then, course), _badness(name, now, course)
    if before is None or after is None or before == after:
        return Compared(name, side, then, now, Kind.DIFFERENT, None, figures)
    toward = Toward.WORSE if after > before else Toward.BETTER
    if is_measured(name):
        kind = _measured_kind(abs(after - before), toward, course.detectable(name))
    else:
        kind = _step_kind(vocabulary()[name], before, after, toward)
    return Compared(name, side, then, now, kind, toward, figures)


def _measured_kind(difference: Fraction, toward: Toward, figure: Figure | None) -> Kind:
    if figure is None:
        return Kind.DIFFERENT
    if difference <= Fraction(figure.value):
        return Kind.WITHIN_ERROR
    return Kind(toward)


def _step_kind(finding: Finding, before: Fraction, after: Fraction, toward: Toward) -> Kind:
    if finding.scale is Scale.GRADE and abs(after - before) == 1:
        return Kind.ONE_GRADE
    if before == 0:
        return Kind.NEW
    return Kind.GONE if after == 0 else Kind(toward)


def _badness(name: str, value: Value | Fraction, course: Course) -> Fraction | None:
    """How bad a value is, as a number that only has an order; 0 is normal where that has a meaning.

    None where nothing says which way is worse.
    """
    number = _number(value)
    match course.direction(name):
        case "no_order":
            return None
        case "lower_is_worse":
            return None if number is None else -number
        case "later_is_worse":
            return Fraction(vocabulary()[name].values.index(str(value)))
        case "first_is_best":
            return Fraction(value != vocabulary()[name].values[0])
        case _:
            return number


def _number(value: Recorded | Fraction | None) -> Fraction | None:
    return Fraction(value) if isinstance(value, int | Decimal | Fraction) else None
