"""The grading form of a practice case: its fields, and what was entered in them."""

from collections.abc import Mapping
from dataclasses import dataclass, replace

from app.assess.words import finding_words, side_words
from app.exam.faults import BadValue
from app.exam.record import Cell, Exam, Recorded, Value
from app.exam.units import counted
from app.exam.vocabulary import Finding, Scale, Side, vocabulary
from app.knowledge.practice import PracticeCase, PracticeStation
from app.language.words import N_, _
from app.report.phrases import value_words
from app.web.entered import read_cell
from app.web.practice_pages import PracticeCell, PracticeRow, PracticeStationView, Told
from app.web.sheet import CLEAR, Typed, dom_of, key_of, options_of
from app.web.sheet_view import Option

NOT_EXAMINED = N_("not examined")


@dataclass(frozen=True)
class Entered:
    """What a form holds: the values, what was typed, and what is wrong with it, by cell."""

    graded: Mapping[Cell, Value]
    typed: Mapping[Cell, str]
    faults: Mapping[Cell, str]


EMPTY = Entered({}, {}, {})


def read_grading(case: PracticeCase, form: Mapping[str, str]) -> Entered:
    """Read the cells that the case asks for; a cell without an answer is not examined."""
    read: dict[Cell, Recorded] = {}
    typed: dict[Cell, str] = {}
    faults: dict[Cell, str] = {}
    for cell in case.cells():
        sent = form.get(f"value.{key_of(cell)}", "").strip()
        typed[cell] = sent
        try:
            value = read_cell(vocabulary()[cell[0]], Typed(sent, ""), None)
        except BadValue as fault:
            faults[cell] = str(fault)
            continue
        if value is not None:
            read[cell] = value
    known = Exam(cells=read).known()
    return Entered({(name, side): value for name, side, value in known}, typed, faults)


def told_of(case: PracticeCase) -> Told:
    """Who the case is about, and what the exam holds already."""
    held = case.exam({})
    lines = (
        f"{vocabulary()[name].label}: {value_words(vocabulary()[name], value)}"
        for name, _, value in held.known()
    )
    return Told(case.person, case.brings, tuple(lines), held.medicines or ())


def station_views(case: PracticeCase, entered: Entered) -> tuple[PracticeStationView, ...]:
    """The stations of a case with their fields."""
    labels = {station.id: station.label for station in vocabulary().stations}
    return tuple(_station(each, labels[each.id], entered) for each in case.station)


def _station(station: PracticeStation, label: str, entered: Entered) -> PracticeStationView:
    asked = [vocabulary()[name] for name in station.asks]
    rows = tuple(_row(finding, asked, entered) for finding in asked if finding.detail_of is None)
    is_paired = any(finding.paired for finding in asked)
    return PracticeStationView(station.id, label, station.sees, is_paired, rows)


def _row(finding: Finding, asked: list[Finding], entered: Entered) -> PracticeRow:
    return PracticeRow(
        finding.label,
        finding.hint,
        finding.paired,
        tuple(_cell(finding, side, entered) for side in finding.sides),
        tuple(_row(each, asked, entered) for each in asked if each.detail_of == finding.id),
    )


def _cell(finding: Finding, side: Side | None, entered: Entered) -> PracticeCell:
    cell = (finding.id, side)
    typed = entered.typed.get(cell, "")
    is_typed = finding.scale in (Scale.COUNT, Scale.NUMBER)
    left_out = Option(CLEAR, _(NOT_EXAMINED), "", typed == CLEAR, key=None)
    # No script listens for digits here, so no face shows one.
    chosen = [replace(option, key=None) for option in options_of(finding, typed)]
    return PracticeCell(
        key=key_of(cell),
        dom=dom_of(cell),
        side=side.value if side else "",
        side_words=side_words(side),
        legend=finding_words(*cell),
        options=() if is_typed else (*chosen, left_out),
        text=typed if is_typed else "",
        unit=counted(finding.unit, None),
        fault=entered.faults.get(cell, ""),
    )
