"""The exam sheet as it is laid out: stations, groups, rows and cells, with what they hold."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from functools import cache

from app.assess.words import finding_words, side_words
from app.exam.layout import NURSE, WHOLE, Group, groups_at, has_rest_normal
from app.exam.record import Cell, Exam, Recorded, Untestable
from app.exam.units import grade_word, unit_on_paper
from app.exam.vocabulary import GRADE_WORDS, GRADES, Finding, Scale, Side, Station, vocabulary
from app.language.numbers import figures
from app.language.words import _, language
from app.report.coverage import is_present
from app.report.phrases import value_words
from app.store.exams import ExamRecord
from app.store.last_time import LastTime
from app.web.help import help_view
from app.web.last_time import last_view
from app.web.sections import PARTS, section_of, sections_of_rest
from app.web.sheet_view import (
    CellView,
    CountView,
    GroupView,
    MeasuredView,
    Message,
    News,
    Option,
    RowView,
    StationView,
)
from app.web.watches import watches_of

# Answers that are no value; no finding may have one of these among its own.
CLEAR = "not-examined"
UNTESTABLE = "untestable"


@dataclass(frozen=True)
class Typed:
    """What a form held for one cell, as it was sent."""

    value: str
    why: str


@dataclass(frozen=True)
class Shown:
    """An exam as one page shows it: what is recorded, and what was typed over it and refused.

    measured: what measured values give, by the finding below which it stands. news: cells that
    somebody else recorded since the page was shown. writes: the parts that the reader may write.
    last: the exam before, whose values stand beside the cells; None where there is none.
    """

    record: ExamRecord
    typed: Mapping[Cell, Typed] = field(default_factory=dict)
    messages: Mapping[Cell, Message] = field(default_factory=dict)
    measured: Mapping[str, MeasuredView] = field(default_factory=dict)
    news: Mapping[Cell, News] = field(default_factory=dict)
    writes: frozenset[str] = PARTS
    last: LastTime | None = None


def key_of(cell: Cell) -> str:
    """`finding.side`, or `finding` for a single one."""
    finding_id, side = cell
    return f"{finding_id}.{side.value}" if side else finding_id


def dom_of(cell: Cell) -> str:
    """The id of the cell's fieldset."""
    return f"c-{key_of(cell).replace('.', '-')}"


def sheet_path(exam_id: str, part: str) -> str:
    """The address of a sheet, or of one part of it."""
    return f"/exams/{exam_id}" + (f"?part={part}" if part else "")


def part_for(part: str, role: str) -> str:
    """The part of the sheet that is shown; where none was asked for, a nurse's own comes first."""
    if part in ("nurse", "whole"):
        return part
    return "nurse" if role == "nurse" else ""


def stations_in(part: str) -> tuple[str, ...]:
    """The stations of one part of the sheet, in order."""
    return NURSE if part == "nurse" else WHOLE


def stations(shown: Shown, part: str) -> tuple[StationView, ...]:
    """The sheet."""
    by_id = {station.id: station for station in vocabulary().stations}
    return tuple(_station(shown, by_id[name]) for name in stations_in(part))


def tally(exam: Exam, station: str) -> tuple[int, int]:
    """How many cells of the quick pass are done, and how many there are at the station.

    A detail counts only where the finding that it describes is present.
    """
    done = total = 0
    for cell, described in _quick_pass(station):
        if described is None or is_present(exam, *described):
            total += 1
            done += cell in exam.cells
    return done, total


@cache
def _quick_pass(station: str) -> tuple[tuple[Cell, Cell | None], ...]:
    """The cells of the quick pass at a station, each with the one that it describes."""
    return tuple(
        ((finding.id, side), (finding.detail_of, side) if finding.detail_of else None)
        for finding in vocabulary().at(station)
        if finding.core
        for side in finding.sides
    )


def count(exam: Exam, station: str) -> CountView:
    """How far one station is, in words."""
    done, total = tally(exam, station)
    if not total:
        recorded = sum(vocabulary()[finding].station == station for finding, _side in exam.cells)
        return CountView(
            station,
            _("{recorded} recorded").format(recorded=recorded) if recorded else _("nothing yet"),
            False,
        )
    if done == total:
        return CountView(station, _("all {total} done").format(total=total), True)
    return CountView(
        station, _("{done} done, {total} left").format(done=done, total=total - done), False
    )


def cells(shown: Shown, wanted: Iterable[Cell]) -> tuple[CellView, ...]:
    """Some cells by themselves."""
    return tuple(_cell(shown, vocabulary()[finding], side) for finding, side in wanted)


def _station(shown: Shown, station: Station) -> StationView:
    return StationView(
        station.id,
        station.label,
        station.hint,
        any(finding.paired for finding in vocabulary().at(station.id)),
        tuple(_group(shown, station.id, group) for group in groups_at(station.id)),
        count(shown.record.exam, station.id),
        has_normal=has_rest_normal(station.id) and sections_of_rest(station.id) <= shown.writes,
    )


def _group(shown: Shown, station: str, group: Group) -> GroupView:
    rows = tuple(_row(shown, finding, group) for finding in group.findings)
    is_open = any(not cell.is_empty or cell.message for row in rows for cell in row.cells)
    return GroupView(f"{station}-{group.id}", group.title, rows, group.is_folded, is_open)


def _row(shown: Shown, finding: Finding, group: Group) -> RowView:
    cells = tuple(_cell(shown, finding, side) for side in finding.sides)
    return RowView(
        group.label_of(finding),
        finding.hint,
        finding.paired,
        cells,
        tuple(_row(shown, detail, group) for detail in vocabulary().details_of(finding.id)),
        shown.measured.get(finding.id),
        watches_of(finding.id, cells),
        help_view(finding),
    )


def _cell(shown: Shown, finding: Finding, side: Side | None) -> CellView:
    cell = (finding.id, side)
    record = shown.record.cells.get(cell)
    held = typed_of(record.value if record else None)
    typed = shown.typed.get(cell, held)
    is_text = finding.scale in (Scale.COUNT, Scale.NUMBER)
    return CellView(
        key=key_of(cell),
        dom=dom_of(cell),
        finding=finding.id,
        side=side.value if side else "",
        side_words=side_words(side),
        legend=finding_words(finding.id, side),
        options=() if is_text else options_of(finding, typed.value),
        text=typed.value if is_text else "",
        unit=unit_on_paper(finding.unit),
        is_whole=finding.scale is Scale.COUNT,
        why=typed.why,
        is_untestable=typed.value == UNTESTABLE or (is_text and bool(typed.why)),
        is_bulk=record is not None and record.bulk and typed == held,
        says=said(finding, record.value if record else None),
        asks=finding.core and finding.detail_of is None and finding.normal_value() is None,
        is_read_only=section_of(finding.id) not in shown.writes,
        message=shown.messages.get(cell),
        news=shown.news.get(cell),
        last=last_view(shown.last, cell),
    )


def said(finding: Finding, recorded: Recorded | None) -> str:
    """What stands in a cell, in words."""
    if recorded is None:
        return _("not examined")
    if isinstance(recorded, Untestable):
        return _("cannot be tested: {reason}").format(reason=recorded.reason)
    return value_words(finding, recorded)


def typed_of(recorded: object) -> Typed:
    """What a form holds when it shows a recorded value."""
    if recorded is None:
        return Typed("", "")
    if isinstance(recorded, Untestable):
        return Typed(UNTESTABLE, recorded.reason)
    if isinstance(recorded, bool):
        return Typed("yes" if recorded else "no", "")
    # Numbers as people write them; what they send back is read so too.
    return Typed(figures(recorded) if isinstance(recorded, Decimal) else str(recorded), "")


def options_of(finding: Finding, chosen: str) -> tuple[Option, ...]:
    """The answers to a finding that is chosen and not typed. chosen: the value that is ticked."""
    blank = _options(finding.id, "", language())
    # Whatever else a form can hold ticks nothing, and is not remembered.
    return (
        _options(finding.id, chosen, language())
        if chosen in {each.value for each in blank}
        else blank
    )


@cache
def _options(finding_id: str, chosen: str, _language: str) -> tuple[Option, ...]:
    finding = vocabulary()[finding_id]
    match finding.scale:
        case Scale.GRADE:
            return tuple(
                Option(
                    str(grade),
                    str(grade),
                    grade_word(GRADE_WORDS[grade]),
                    chosen == str(grade),
                    grade,
                    bar=grade,
                    on=grade > 0,
                )
                for grade in GRADES
            )
        case Scale.YESNO:
            return tuple(
                Option(word, _(word), "", chosen == word, key, on=word == "yes")
                for key, word in enumerate(("no", "yes"))
            )
        case _:
            # 0 is the normal answer everywhere; where none is normal the digits begin at 1.
            first = 1 if finding.normal_value() is None else 0
            named = zip(finding.values, finding.words, strict=True)
            return tuple(
                Option(value, words, "", chosen == value, key, on=finding.is_abnormal(value))
                for key, (value, words) in enumerate(named, start=first)
            )
