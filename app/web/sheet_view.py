"""What a template may read of the sheet: stations, groups, rows and cells, in words and flags."""

from dataclasses import dataclass

from app.web.help import HelpView
from app.web.watch_view import WatchView


@dataclass(frozen=True)
class Option:
    """One answer of a cell.

    key: the digit that chooses it; None where no digit does. bar: the grade, whose length is drawn;
    None for an answer in words. on: it says that something is there, so that the details below ask
    for more.
    """

    value: str
    text: str
    spoken: str
    is_chosen: bool
    key: int | None
    bar: int | None = None
    on: bool = False


@dataclass(frozen=True)
class Message:
    """What a cell says back. theirs, mine: both values where somebody else was there first.

    their_value, their_why: what the form must hold to show theirs.
    """

    says: str
    is_collision: bool = False
    theirs: str = ""
    mine: str = ""
    their_value: str = ""
    their_why: str = ""


@dataclass(frozen=True)
class News:
    """That somebody else recorded this while the sheet was open.

    by: the mark that stands beside it for a while. message: stands there instead where a hand is
    in it, so that nothing changes under the hand.
    """

    by: str
    message: Message


@dataclass(frozen=True)
class HereView:
    """Who else has the exam open. mark: short, the same as long as the words are the same."""

    says: str = ""
    mark: str = ""


@dataclass(frozen=True)
class ExamState:
    """The state of an exam. closed: what a sheet says that takes no more entries; else empty."""

    id: str
    words: str
    closed: str = ""


@dataclass(frozen=True)
class LastView:
    """What stood in a cell last time: short to be seen, and with the date to be heard."""

    says: str
    spoken: str


@dataclass(frozen=True)
class LastTimeView:
    """The exam whose values stand beside the cells. passed_over: when a later unsigned one was."""

    exam_id: str
    when: str
    state: str
    is_signed: bool
    is_amended: bool
    passed_over: str
    compare: str


@dataclass(frozen=True)
class CellView:
    """One finding on one side: a fieldset. key: `finding.side`, or `finding` for a single one.

    says: what is recorded, in words; it stands alone where the reader may not write the cell.
    asks: it belongs to the quick pass, and the rest of the station says nothing of it.
    """

    key: str
    dom: str
    finding: str
    side: str
    side_words: str
    legend: str
    options: tuple[Option, ...]
    text: str
    unit: str
    is_whole: bool
    why: str
    is_untestable: bool
    is_bulk: bool
    says: str
    asks: bool = False
    is_read_only: bool = False
    message: Message | None = None
    news: News | None = None
    last: LastView | None = None

    @property
    def is_text(self) -> bool:
        """Whether it is typed and not chosen."""
        return not self.options

    @property
    def is_empty(self) -> bool:
        """Whether nothing is recorded or typed in it."""
        chosen = any(option.is_chosen for option in self.options)
        return not (chosen or self.text or self.is_untestable)

    @property
    def drawn_by(self) -> tuple[str, str] | None:
        """What its answers are drawn by: all else of them stands in the vocabulary.

        None where somebody typed something, which is drawn for them alone.
        """
        if self.text or self.why or self.is_untestable:
            return None
        return self.key, next((each.value for each in self.options if each.is_chosen), "")

    @property
    def drawn_whole_by(self) -> tuple[str, str, bool, bool] | None:
        """The same of all of it; None where anything stands beside it that one exam alone has."""
        drawn = self.drawn_by
        if drawn is None or self.message or self.news or self.last:
            return None
        return (*drawn, self.is_bulk, self.is_read_only)


@dataclass(frozen=True)
class MeasuredView:
    """What stands below a measured value: (what it gives, what that rests on) a line."""

    dom: str
    lines: tuple[tuple[str, str], ...]


@dataclass(frozen=True)
class RowView:
    """One finding with its cells, RIGHT before LEFT, and the rows that describe it further.

    measured: what its value gives; None where a row never says any of it. help: how it is examined.
    """

    label: str
    hint: str
    is_paired: bool
    cells: tuple[CellView, ...]
    details: tuple["RowView", ...] = ()
    measured: MeasuredView | None = None
    watches: tuple[WatchView, ...] = ()
    help: HelpView | None = None

    @property
    def drawn_by(self) -> tuple[object, ...] | None:
        """What its line is drawn by, without the rows that describe it; None as for a cell."""
        cells = tuple(cell.drawn_whole_by for cell in self.cells)
        return None if self.measured or None in cells else (self.label, *cells)

    @property
    def is_open(self) -> bool:
        """Whether a row that describes this one holds something, and so must be seen."""
        return any(not cell.is_empty or cell.message for row in self.details for cell in row.cells)


@dataclass(frozen=True)
class GroupView:
    """Rows of a station that belong together. A folded one opens on request."""

    id: str
    title: str
    rows: tuple[RowView, ...]
    is_folded: bool = False
    is_open: bool = False


@dataclass(frozen=True)
class CountView:
    """How far a station is: of the quick pass, or how much was recorded where there is none."""

    station: str
    words: str
    is_done: bool


@dataclass(frozen=True)
class StationView:
    """One block of the sheet."""

    id: str
    label: str
    hint: str
    is_paired: bool
    groups: tuple[GroupView, ...]
    count: CountView
    has_normal: bool

    @property
    def has_fields(self) -> bool:
        """Whether the reader may write anything here."""
        rows = [row for group in self.groups for row in group.rows]
        return any(not cell.is_read_only for row in rows for cell in row.cells)


@dataclass(frozen=True)
class MedicineLine:
    """How one line was read."""

    text: str
    says: str
    is_recognised: bool


@dataclass(frozen=True)
class MedicinesView:
    """The medicines: what stands in the field, and how each line was read."""

    text: str
    is_none: bool
    lines: tuple[MedicineLine, ...]
    count: CountView
    is_read_only: bool = False
    message: Message | None = None
    news: News | None = None
