"""Exported tables read back, row by row: what was recorded in each exam, and concluded then.

Every row is checked as it was when it was recorded. What does not fit is told with its file, row
and column, and nothing is made of it.
"""

import csv
from collections.abc import Iterable, Iterator
from decimal import Decimal, InvalidOperation
from pathlib import Path
from types import MappingProxyType
from typing import Any

from app.assess.assessment import LISTED, URGENCIES
from app.assess.reassessed import PRESENT, AsSigned
from app.exam.faults import BadValue
from app.exam.reading import read_untestable, read_value
from app.exam.record import Cell, Exam, Patient, Recorded
from app.exam.vocabulary import Finding, Scale, Side, vocabulary
from app.knowledge.load import Knowledge
from app.report.data.columns import (
    FALL_LEVELS,
    NOT_EXAMINED,
    NOT_LISTED,
    RECORDED,
    UNTESTABLE,
)
from app.report.data.files import CSV_ENCODING, FORMATS

_LEVEL = "_level"
_FALL_LEVEL = "fall_level"
# What of each table is read.
_READ = {
    "exams": ("exam", "knowledge", "age", "sex", "medicines", "warnings", "urgencies", "hazards"),
    "findings": ("exam", "finding", "side", "state", "value"),
    "medicines": ("exam", "line", "ingredient"),
}
_ROWS_AT_ONCE = 1_000
# In the place of a line that was not recognised, which an export may have left out.
_NOT_RECOGNISED = "not recognised"


class BadTable(ValueError):
    """A table cannot be read; the message names the file, the row and the column."""


class _Row:
    """One row of a file, with its place; "" and None are both nothing."""

    def __init__(self, file: Path, number: int, cells: dict[str, Any]) -> None:
        self.place = f"{file.name} row {number}"
        self._cells = cells

    def text(self, column: str) -> str:
        held = self._cells.get(column)
        return "" if held is None else str(held)

    def one_of(self, column: str, values: Iterable[str]) -> str:
        held = self.text(column)
        if held not in values:
            raise self.bad(column, f"{held or 'nothing'} is not one of {', '.join(values)}")
        return held

    def whole(self, column: str) -> int | None:
        held = self.text(column)
        if not held:
            return None
        if not held.isascii() or not held.isdigit():
            raise self.bad(column, f"{held} is not a whole number")
        return int(held)

    def words(self, column: str) -> list[str]:
        return self.text(column).split()

    def bad(self, column: str, problem: str) -> BadTable:
        return BadTable(f"{self.place}, {column}: {problem}")


class _Table:
    """The rows of one table, of which the next can be looked at before it is taken."""

    def __init__(self, folder: Path, name: str, *further: str) -> None:
        files = [folder / f"{name}.{format_}" for format_ in FORMATS]
        found = [file for file in files if file.is_file()]
        if len(found) != 1:
            problem = "both as CSV and as Parquet" if found else "no table of this name"
            raise BadTable(f"{folder}: {name}: {problem}")
        self.file = found[0]
        self.columns, self._rows = _read(self.file, (*_READ[name], *further))
        self.next = next(self._rows, None)

    def take(self) -> Iterator[_Row]:
        """Each row from here on, as long as whoever asks goes on."""
        while self.next is not None:
            yield self.next
            self.next = next(self._rows, None)

    def of_exam(self, exam_id: str) -> Iterator[_Row]:
        """The rows of an exam, which must come next."""
        while self.next is not None and self.next.text("exam") == exam_id:
            yield self.next
            self.next = next(self._rows, None)


def exported_exams(folder: Path, knowledge: Knowledge, under: str | None) -> Iterator[AsSigned]:
    """Every exam of an export, in its order; few rows at a time.

    under: only those signed under that version of the knowledge.
    Raises: BadTable, OSError.
    """
    levels = {each: f"{each}{_LEVEL}" for each in knowledge.categories}
    exams = _Table(folder, "exams", _FALL_LEVEL, *levels.values())
    findings, medicines = _Table(folder, "findings"), _Table(folder, "medicines")
    for column in exams.columns:
        name = column.removesuffix(_LEVEL)
        if column.endswith(_LEVEL) and column != _FALL_LEVEL and name not in levels:
            raise BadTable(f"{exams.file.name}, {column}: this version does not know {name}")
    for row in exams.take():
        exam_id = row.text("exam")
        exam = Exam(_patient(row), *_recorded(row, findings, medicines))
        if under in (None, row.text("knowledge")):
            concluded = dict(_concluded(row, knowledge))
            yield AsSigned(exam_id, "", row.text("knowledge"), exam, concluded)
    for table in (findings, medicines):
        for left in table.take():
            raise left.bad("exam", f"{left.text('exam')} is not the next one of {exams.file.name}")


def _patient(row: _Row) -> Patient:
    age = row.whole("age")
    sex = row.one_of("sex", ("female", "male", ""))
    return Patient(None if age is None else Decimal(age), sex or None)


def _recorded(
    row: _Row, findings: _Table, medicines: _Table
) -> tuple[MappingProxyType[Cell, Recorded], tuple[str, ...] | None]:
    cells: dict[Cell, Recorded] = {}
    seen: set[Cell] = set()
    for each in findings.of_exam(row.text("exam")):
        cell, value = _cell(each)
        if cell in seen:
            raise each.bad("finding", f"{each.text('finding')} stands twice")
        seen.add(cell)
        if value is not None:
            cells[cell] = value
    if not seen:
        raise row.bad("exam", f"{row.text('exam')} has no rows in {findings.file.name}")
    lines: dict[int, list[str]] = {}
    for each in medicines.of_exam(row.text("exam")):
        lines.setdefault(each.whole("line") or 0, []).append(each.text("ingredient"))
    count = row.whole("medicines")
    if (count or 0) != len(lines):
        raise row.bad("medicines", f"{count or 0} lines, and {len(lines)} in {medicines.file.name}")
    named = tuple(", ".join(filter(None, each)) or _NOT_RECOGNISED for each in lines.values())
    return MappingProxyType(cells), None if count is None else named


def _cell(row: _Row) -> tuple[Cell, Recorded | None]:
    finding = vocabulary().get(row.text("finding"))
    if finding is None:
        raise row.bad("finding", f"{row.text('finding') or 'nothing'} is not a finding")
    sides = {"" if side is None else side.upper(): side for side in finding.sides}
    side: Side | None = sides[row.one_of("side", sides)]
    state = row.one_of("state", (RECORDED, UNTESTABLE, NOT_EXAMINED))
    if state == RECORDED:
        return (finding.id, side), _value(row, finding)
    if row.text("value"):
        raise row.bad("value", f"{row.text('value')} beside {state}")
    # Why it could not be tested is not always exported, and no rule asks.
    untestable = read_untestable({"untestable": "as exported"}) if state == UNTESTABLE else None
    return (finding.id, side), untestable


def _value(row: _Row, finding: Finding) -> Recorded:
    held = row.text("value")
    try:
        match finding.scale:
            case Scale.YESNO:
                return row.one_of("value", ("yes", "no")) == "yes"
            case Scale.CHOICE:
                return read_value(finding, held)
            case Scale.NUMBER:
                return read_value(finding, Decimal(held))
            case _:
                return read_value(finding, row.whole("value"))
    except InvalidOperation:
        raise row.bad("value", f"{held or 'nothing'} is not a number") from None
    except BadValue as fault:
        raise row.bad("value", str(fault)) from None


def _concluded(row: _Row, knowledge: Knowledge) -> Iterator[tuple[tuple[str, str], str]]:
    for each in knowledge.categories:
        level = row.one_of(f"{each}{_LEVEL}", (*LISTED, NOT_LISTED))
        if level != NOT_LISTED:
            yield ("category", each), level
    warnings, urgencies = row.words("warnings"), row.words("urgencies")
    if len(warnings) != len(urgencies) or not set(urgencies) <= set(URGENCIES):
        raise row.bad(
            "urgencies", f"{' '.join(urgencies) or 'nothing'} for {len(warnings)} warnings"
        )
    yield from ((("warning", name), at) for name, at in zip(warnings, urgencies, strict=True))
    yield ("fall_risk", knowledge.fall_risk.id), row.one_of(_FALL_LEVEL, FALL_LEVELS)
    yield from ((("hazard", each), PRESENT) for each in row.words("hazards"))


def _read(file: Path, wanted: tuple[str, ...]) -> tuple[list[str], Iterator[_Row]]:
    """The names of a file's columns, and its rows.

    A row of CSV is called by its line, as an editor shows it.
    """
    opened = _csv if file.suffix == ".csv" else _parquet
    names, rows = opened(file, wanted)
    for each in wanted:
        if each not in names:
            raise BadTable(f"{file.name}: no column {each}: not an export of this version")
    return names, (_Row(file, number, cells) for number, cells in rows)


def _csv(
    file: Path, wanted: tuple[str, ...]
) -> tuple[list[str], Iterator[tuple[int, dict[str, Any]]]]:
    with file.open(encoding=CSV_ENCODING, newline="") as opened:
        names = next(csv.reader(opened), [])

    def rows() -> Iterator[tuple[int, dict[str, Any]]]:
        with file.open(encoding=CSV_ENCODING, newline="") as opened:
            reader = csv.reader(opened, strict=True)
            next(reader)
            try:
                for cells in reader:
                    if len(cells) != len(names):
                        problem = f"{len(cells)} cells, and {len(names)} columns"
                        raise BadTable(f"{file.name} row {reader.line_num}: {problem}")
                    yield reader.line_num, dict(zip(names, cells, strict=True))
            except (csv.Error, UnicodeDecodeError) as error:
                raise BadTable(f"{file.name} row {reader.line_num}: {error}") from error

    return names, rows()


def _parquet(
    file: Path, wanted: tuple[str, ...]
) -> tuple[list[str], Iterator[tuple[int, dict[str, Any]]]]:
    from pyarrow import ArrowException
    from pyarrow.parquet import ParquetFile

    try:
        opened = ParquetFile(file)
    except ArrowException as error:
        raise BadTable(f"{file.name}: {error}") from error
    names = opened.schema_arrow.names

    def rows() -> Iterator[tuple[int, dict[str, Any]]]:
        number = 0
        try:
            for batch in opened.iter_batches(_ROWS_AT_ONCE, columns=[*wanted]):
                for cells in batch.to_pylist():
                    number += 1
                    yield number, cells
        except (ArrowException, OSError) as error:
            raise BadTable(f"{file.name} after row {number}: {error}") from error

    return names, rows()
