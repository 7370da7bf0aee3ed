"""Rows into files: CSV for spreadsheets, Parquet for programs; one row after the other.

CSV is UTF-8 with a byte order mark, without which spreadsheets misread names; cells are parted by
commas, lines end as in RFC 4180. A cell that a spreadsheet would take for a formula
is defused by an apostrophe. Parquet holds every text as it is.
"""

import csv
import re
from collections.abc import Iterable, Iterator, Mapping
from contextlib import ExitStack, contextmanager
from datetime import date, datetime
from decimal import Decimal
from pathlib import Path
from typing import Protocol

from app.report.data.columns import Kind, Table
from app.report.data.rows import Held, Row

FORMATS = ("csv", "parquet")
CSV_ENCODING = "utf-8-sig"
# How many rows of a table stand in memory before they are written.
ROWS_AT_ONCE = 5_000
# OWASP ASVS 5.0, 1.2.10, and CWE-1236: at the beginning of a cell. Here also after anything that a
# program with other separators would take for the end of one; full-width signs are signs to some.
_FORMULA = re.compile(r"(^|[;\t\r\n])(?=\s*[=+\-@＝＋－＠]|[\t\r\0])")
_NUMBER = re.compile(r"-?[0-9]+(\.[0-9]+)?")
# By their names in Arrow.
_TYPES: Mapping[Kind, str] = {
    Kind.TEXT: "string",
    Kind.WHOLE: "int64",
    Kind.NUMBER: "float64",
    Kind.YESNO: "bool",
    Kind.DAY: "date32",
}


class Sink(Protocol):
    """Where the rows of one table go."""

    def write(self, row: Row) -> None:
        """Take one row; what the table has no column for is left out."""

    def close(self) -> None:
        """Write what is left, and close the file."""


@contextmanager
def sinks(folder: Path, tables: Iterable[Table], format_: str) -> Iterator[dict[str, Sink]]:
    """A file for each table, open until the end; format_: one of FORMATS.

    Raises: OSError.
    """
    made: dict[str, Sink] = {}
    with ExitStack() as stack:
        for table in tables:
            kind = CsvSink if format_ == "csv" else ParquetSink
            made[table.name] = kind(folder / f"{table.name}.{format_}", table)
            stack.callback(made[table.name].close)
        yield made


class CsvSink:
    """A table as CSV."""

    def __init__(self, file: Path, table: Table) -> None:
        self._names = [column.name for column in table.columns]
        self._file = file.open("x", encoding=CSV_ENCODING, newline="")
        self._writer = csv.writer(self._file)
        self._writer.writerow(self._names)

    def write(self, row: Row) -> None:
        """Write one row."""
        self._writer.writerow([csv_cell(row.get(name)) for name in self._names])

    def close(self) -> None:
        """Close the file."""
        self._file.close()


class ParquetSink:
    """A table as Parquet; the meaning and the unit of a column stand beside its type."""

    def __init__(self, file: Path, table: Table) -> None:
        # Large, and of no use to a server from which nobody fetches Parquet.
        import pyarrow as pa
        from pyarrow.parquet import ParquetWriter

        self._record_batch = pa.RecordBatch.from_pylist
        self._schema = pa.schema(
            [
                pa.field(
                    each.name,
                    pa.timestamp("us", tz="UTC")
                    if each.kind is Kind.MOMENT
                    else pa.type_for_alias(_TYPES[each.kind]),
                    metadata={"meaning": each.meaning, "unit": each.unit},
                )
                for each in table.columns
            ]
        )
        self._numbers = [each.name for each in table.columns if each.kind is Kind.NUMBER]
        self._rows: list[Row] = []
        self._writer = ParquetWriter(file, self._schema, compression="zstd")

    def write(self, row: Row) -> None:
        """Take one row."""
        self._rows.append(row | {name: _float(row.get(name)) for name in self._numbers})
        if len(self._rows) >= ROWS_AT_ONCE:
            self._flush()

    def close(self) -> None:
        """Write what is left, and close the file."""
        self._flush()
        self._writer.close()

    def _flush(self) -> None:
        if self._rows:
            self._writer.write_batch(self._record_batch(self._rows, schema=self._schema))
            self._rows.clear()


def csv_cell(held: Held) -> str:
    """A cell as CSV holds it; text that reads as a formula is defused, a number stays one."""
    match held:
        case None:
            return ""
        case bool():
            return "yes" if held else "no"
        case Decimal():
            return f"{held:f}"
        case datetime() | date():
            return held.isoformat()
        case str():
            return held if _NUMBER.fullmatch(held) else _FORMULA.sub(r"\1'", held)
        case _:
            return str(held)


def _float(held: Held) -> float | None:
    return float(held) if isinstance(held, Decimal) else None
