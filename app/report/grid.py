"""Rows of findings with a RIGHT and a LEFT cell: the full grid, and the abnormal signs alone."""

from dataclasses import dataclass
from itertools import groupby

from app.exam.record import Exam
from app.exam.units import grade_word
from app.exam.vocabulary import GRADE_WORDS, SIDES, Finding, Scale, Side, vocabulary
from app.language.words import N_, Spoken
from app.report.coverage import State, at_station, signs_to_show, state_of
from app.report.phrases import folded, value_words

_WORDS = Spoken(
    {
        State.UNTESTABLE: N_("not testable"),
        State.NOT_NEEDED: N_("not needed"),
        State.NOT_EXAMINED: N_("not examined"),
    }
)


@dataclass(frozen=True)
class Cell:
    """One cell as it is printed.

    grade: draws a bar of that length beside its digit, None for what is not graded; kind: a name
    for the style sheet.
    """

    words: str
    grade: int | None
    kind: str


@dataclass(frozen=True)
class Row:
    """One finding: its RIGHT and LEFT cells, or the one cell of a finding without sides."""

    label: str
    is_detail: bool
    cells: tuple[Cell, ...]


@dataclass(frozen=True)
class GridStation:
    """One station of the full grid."""

    label: str
    rows: tuple[Row, ...]

    @property
    def has_sides(self) -> bool:
        """Whether any of its findings is recorded on two sides."""
        return has_sides(self.rows)


def has_sides(rows: tuple[Row, ...]) -> bool:
    """Whether any row has a RIGHT and a LEFT cell."""
    return any(len(row.cells) == len(SIDES) for row in rows)


def full_grid(exam: Exam) -> tuple[GridStation, ...]:
    """Every finding of the quick pass, and every other one that was recorded."""
    words = vocabulary()
    stations = (
        GridStation(
            station.label,
            _rows(
                exam,
                [
                    finding
                    for finding in at_station(station.id)
                    if finding.core
                    or any((finding.id, side) in exam.cells for side in finding.sides)
                ],
            ),
        )
        for station in words.stations
    )
    return tuple(station for station in stations if station.rows)


def abnormal_rows(exam: Exam) -> tuple[Row, ...]:
    """The abnormal signs, each followed by its details."""
    return tuple(_row(exam, finding) for finding in signs_to_show(exam))


def _rows(exam: Exam, findings: list[Finding]) -> tuple[Row, ...]:
    """A row for each finding; details that nobody recorded, one after the other, share one."""
    rows: list[Row] = []
    for is_empty_detail, group in groupby(
        (_row(exam, finding) for finding in findings), key=_is_empty_detail
    ):
        held = list(group)
        if not is_empty_detail:
            rows.extend(held)
            continue
        for cells, same in groupby(held, key=lambda row: row.cells):
            labels = folded([(row.label, "") for row in same])
            rows.extend(Row(label, True, cells) for label in labels)
    return tuple(rows)


def _is_empty_detail(row: Row) -> bool:
    return row.is_detail and all(cell.kind == "unknown" for cell in row.cells)


def _row(exam: Exam, finding: Finding) -> Row:
    sides: tuple[Side | None, ...] = SIDES if finding.paired else (None,)
    return Row(
        finding.label,
        finding.detail_of is not None,
        tuple(_cell(exam, finding, side) for side in sides),
    )


def _cell(exam: Exam, finding: Finding, side: Side | None) -> Cell:
    state = state_of(exam, finding, side)
    value = exam.value(finding.id, side)
    if value is None:
        return Cell(_WORDS[state], None, "unknown")
    kind = "abnormal" if state is State.ABNORMAL else "recorded"
    if finding.scale is Scale.GRADE:
        grade = int(str(value))
        return Cell(grade_word(GRADE_WORDS[grade]), grade, kind)
    return Cell(value_words(finding, value), None, kind)
