"""The course of measured values and graded signs over several exams, as small drawings.

A template draws it. What is not known is a gap: no line runs over it.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from fractions import Fraction
from itertools import groupby

from app.assess.compared import is_measured
from app.assess.measured import in_figures
from app.assess.words import side_words
from app.exam.measures import QUANTITIES
from app.exam.record import Exam, Recorded, Untestable, Value
from app.exam.vocabulary import GRADES, Finding, Scale, Side, graded, vocabulary
from app.knowledge.load import Knowledge
from app.language.words import N_, Spoken, _
from app.report.course_drawing import (
    APART,
    BOTTOM,
    DATE_WIDE,
    Axis,
    Band,
    Line,
    Point,
    Tick,
    bands,
    measured_axis,
    places,
    spread,
)
from app.report.differences import NOT_EXAMINED, figure_words, label_of, unit_of
from app.report.phrases import clean, day, value_words

WORSE = Spoken(
    {
        "higher_is_worse": N_("Higher is worse."),
        "lower_is_worse": N_("Lower is worse."),
    }
)


@dataclass(frozen=True)
class Visit:
    """One exam in a course. started_at: where it was begun."""

    exam: Exam
    started_at: datetime
    is_signed: bool


@dataclass(frozen=True)
class Row:
    """One exam in the table beneath. values: one for each column."""

    when: str
    is_signed: bool
    values: tuple[str, ...]


@dataclass(frozen=True)
class Told:
    """One finding on one side, in words. side: "" where it has none. values: one for each exam."""

    label: str
    side: str
    values: tuple[str, ...]


@dataclass(frozen=True)
class Plot:
    """One finding over all exams. columns: RIGHT and LEFT, or Value. notes: published figures."""

    name: str
    title: str
    says: str
    y_ticks: tuple[Tick, ...]
    x_ticks: tuple[Tick, ...]
    lines: tuple[Line, ...]
    bands: tuple[Band, ...]
    notes: tuple[str, ...]
    columns: tuple[str, ...]
    rows: tuple[Row, ...]


def course(visits: Sequence[Visit], knowledge: Knowledge) -> tuple[Plot, ...]:
    """What was ever measured, or a grade that was ever abnormal, in the order of the exam.

    What has an order stands before what has none. visits: oldest first.
    """
    names = [each.id for each in vocabulary().values() if each.scale is Scale.GRADE]
    names += [each.id for each in vocabulary().values() if is_measured(each.id)]
    drawn = [
        name
        for name in [*names, *QUANTITIES]
        if any(_is_worth_drawing(name, visit.exam) for visit in visits)
    ]
    drawn.sort(key=knowledge.course.no_order.__contains__)
    return tuple(_plot(name, visits, knowledge) for name in drawn)


def in_words(visits: Sequence[Visit]) -> tuple[Told, ...]:
    """What has no drawing: choices, and yes or no, ever abnormal or descriptive."""
    findings = [each for each in vocabulary().values() if each.scale in (Scale.CHOICE, Scale.YESNO)]
    return tuple(
        Told(
            each.label,
            side_words(side),
            tuple(_words(each.id, visit.exam.cells.get((each.id, side))) for visit in visits),
        )
        for each in findings
        for side in each.sides
        if any(_is_told(each, visit.exam.value(each.id, side)) for visit in visits)
    )


def _is_told(finding: Finding, value: Value | None) -> bool:
    return value is not None and (finding.is_abnormal(value) or finding.normal_value() is None)


def _is_worth_drawing(name: str, exam: Exam) -> bool:
    if name in QUANTITIES:
        return QUANTITIES[name].of(exam) is not None
    finding = vocabulary()[name]
    values = (exam.value(name, side) for side in finding.sides)
    return any(
        value is not None and (is_measured(name) or finding.is_abnormal(value)) for value in values
    )


def _plot(name: str, visits: Sequence[Visit], knowledge: Knowledge) -> Plot:
    sides = (None,) if name in QUANTITIES else vocabulary()[name].sides
    xs = places([visit.started_at for visit in visits])
    numbers = {side: [_number(_held(name, side, visit.exam)) for visit in visits] for side in sides}
    figure = knowledge.course.detectable(name)
    reach = Fraction(figure.value) if figure else Fraction(0)
    if is_measured(name):
        known = [each for side in sides for each in numbers[side] if each is not None]
        # From nothing on, or a small difference would be drawn as a large one.
        low = min(Fraction(0), *known)
        axis, y_ticks = measured_axis(low, max(known) + reach, _least_step(name))
    else:
        axis, y_ticks = _grade_axis()
    lines = tuple(
        _line(name, side, visits, xs, numbers[side], axis, apart=len(sides) > 1) for side in sides
    )
    return Plot(
        name=name,
        title=label_of(name),
        says=_says(name, knowledge),
        y_ticks=y_ticks,
        x_ticks=_dates(xs, visits),
        lines=spread(lines),
        bands=tuple(
            band for side in sides for band in bands(xs, numbers[side], reach, axis) if figure
        ),
        notes=tuple(figure_words(each, knowledge) for each in knowledge.course.figures_of(name)),
        columns=tuple(side_words(side) or _("Value") for side in sides),
        rows=tuple(
            Row(
                day(visit.started_at),
                visit.is_signed,
                tuple(_words(name, _held(name, side, visit.exam)) for side in sides),
            )
            for visit in visits
        ),
    )


def _held(name: str, side: Side | None, exam: Exam) -> Recorded | Fraction | None:
    return QUANTITIES[name].of(exam) if name in QUANTITIES else exam.cells.get((name, side))


def _number(held: Recorded | Fraction | None) -> Fraction | None:
    return None if held is None or isinstance(held, Untestable | str) else Fraction(held)


def _words(name: str, held: Recorded | Fraction | None) -> str:
    if held is None:
        return _(NOT_EXAMINED)
    if isinstance(held, Untestable):
        return _("cannot be tested: {reason}").format(reason=clean(held.reason))
    if isinstance(held, Fraction):
        return f"{in_figures(held)} {unit_of(name)}"
    return value_words(vocabulary()[name], held)


# ---- the axes


def _dates(xs: Sequence[float], visits: Sequence[Visit]) -> tuple[Tick, ...]:
    """A mark for each exam; the newest has its date, and each before it that has room for one."""
    ticks: list[Tick] = []
    free = float("inf")
    for x, visit in reversed(list(zip(xs, visits, strict=True))):
        has_room = free - x >= DATE_WIDE
        ticks.append(Tick(x, day(visit.started_at) if has_room else ""))
        free = x if has_room else free
    return tuple(reversed(ticks))


def _grade_axis() -> tuple[Axis, tuple[Tick, ...]]:
    axis = Axis(Fraction(GRADES[0]), Fraction(GRADES[-1]))
    return axis, tuple(Tick(axis.y(Fraction(grade)), graded(grade)) for grade in GRADES)


def _least_step(name: str) -> Fraction:
    """Between two marks of an axis; a count has none between whole numbers."""
    is_count = name in vocabulary() and vocabulary()[name].scale is Scale.COUNT
    return Fraction(1) if is_count else Fraction(0)


def _says(name: str, knowledge: Knowledge) -> str:
    """The unit, and which way is worse; nothing of a grade, which says both at its axis."""
    if not is_measured(name):
        return ""
    worse = WORSE.get(knowledge.course.direction(name), "")
    return " ".join(filter(None, (_("Unit: {name}.").format(name=unit_of(name)), worse)))


# ---- what is drawn


def _line(
    name: str,
    side: Side | None,
    visits: Sequence[Visit],
    xs: Sequence[float],
    numbers: Sequence[Fraction | None],
    axis: Axis,
    *,
    apart: bool,
) -> Line:
    off = 0.0 if side is None or not apart else APART * (1 if side is Side.LEFT else -1)
    drawn = [
        None if number is None else Point(x, axis.y(number) + off)
        for x, number in zip(xs, numbers, strict=True)
    ]
    runs = tuple(
        tuple(point for point in run if point is not None)
        for is_known, run in groupby(drawn, key=lambda point: point is not None)
        if is_known
    )
    newest = _held(name, side, visits[-1].exam)
    words = _words(name, newest).partition(":")[0]
    if is_measured(name) and _number(newest) is not None:
        # The unit stands above the drawing.
        words = words.partition(" ")[0]
    last = runs[-1][-1].y if runs else float(BOTTOM)
    return Line(str(side or "single"), runs, f"{side_words(side)} {words}".strip(), last)
