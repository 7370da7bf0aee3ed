"""What the templates that look at several exams of one patient may read."""

from dataclasses import dataclass

from app.report.course import Plot, Told
from app.web.pages import Page, Who


@dataclass(frozen=True)
class ExamChoice:
    """One exam in a list to choose from."""

    id: str
    says: str


@dataclass(frozen=True)
class ExamHead:
    """One of both exams. basis: by whom and by which knowledge it was judged."""

    id: str
    when: str
    state: str
    is_signed: bool
    is_amended: bool
    basis: str


@dataclass(frozen=True)
class ValueView:
    """A value in words. bar: the grade, whose length is drawn; None where it is no grade."""

    says: str
    is_known: bool
    is_abnormal: bool
    bar: int | None = None


@dataclass(frozen=True)
class DifferenceLine:
    """One finding on one side in both exams. notes: the published figures for it."""

    label: str
    side: str
    then: ValueView
    now: ValueView
    says: str
    notes: tuple[str, ...]


@dataclass(frozen=True)
class StationDifferences:
    """The lines of one station."""

    label: str
    lines: tuple[DifferenceLine, ...]


@dataclass(frozen=True)
class Differences:
    """Everything that differs in one way. says: what this way means."""

    id: str
    title: str
    says: str
    stations: tuple[StationDifferences, ...]
    is_folded: bool = False

    @property
    def count(self) -> int:
        """How many lines there are."""
        return sum(len(station.lines) for station in self.stations)


@dataclass(frozen=True)
class ConcludedLine:
    """What one pattern or warning read in both exams."""

    label: str
    then: str
    now: str

    @property
    def is_different(self) -> bool:
        """Whether it reads otherwise now."""
        return self.then != self.now


@dataclass(frozen=True, kw_only=True)
class ComparePage(Page):
    """compare.html. then, now: None where there are not two exams to compare.

    other_knowledge: what is said where both were judged by different knowledge; "" elsewhere.
    """

    who: Who
    choices: tuple[ExamChoice, ...]
    then: ExamHead | None
    now: ExamHead | None
    other_knowledge: str
    concluded: tuple[ConcludedLine, ...]
    parts: tuple[Differences, ...]
    no_figure: str


@dataclass(frozen=True, kw_only=True)
class CoursePage(Page):
    """course.html. graded, measured, told: nothing where there are not two exams.

    columns: when each exam was, and whether it is signed.
    """

    who: Who
    exams: int
    has_unsigned: bool
    graded: tuple[Plot, ...]
    measured: tuple[Plot, ...]
    told: tuple[Told, ...]
    columns: tuple[tuple[str, bool], ...]
