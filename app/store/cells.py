"""What stands in the cells of an exam: the newest entry of each."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from typing import NamedTuple

from sqlalchemy import select as sqlalchemy_select
from sqlmodel import Session, col

from app.exam.record import Cell, Recorded
from app.exam.vocabulary import Side, vocabulary
from app.store.refusals import Unreadable
from app.store.tables import MEDICINES, EntryRow
from app.store.values import from_text, lines_from_text

# Looked up, because a cell is named some hundred times for each entry.
_SIDES: dict[str | None, Side | None] = {None: None, **{side.value: side for side in Side}}


@dataclass(frozen=True)
class CellRecord:
    """The newest entry of a cell. The value is None where the cell was cleared.

    bulk: whether the value was marked with the rest of a station. account_id: "" where the entry
    was made without one, as by the demonstration.
    """

    entry_id: int
    value: Recorded | None
    by: str
    role: str
    at: datetime
    bulk: bool
    revision: int
    account_id: str = ""


@dataclass(frozen=True)
class MedicinesRecord:
    """The newest entry of the medicines. The lines are None where they were cleared.

    account_id: "" where the entry was made without one.
    """

    entry_id: int
    lines: tuple[str, ...] | None
    by: str
    role: str
    at: datetime
    revision: int
    account_id: str = ""


class KeptEntry(NamedTuple):
    """An entry as it is kept, its fields those of EntryRow.

    An exam has a few hundred, which are read with every change of it and never changed: as rows
    that the session looks after they take five times as long.
    """

    id: int
    revision: int
    finding: str
    side: str | None
    value: str | None
    by: str
    role: str
    at: datetime
    replaces: int | None
    bulk: bool
    account_id: str | None


_COLUMNS = [getattr(EntryRow, name) for name in KeptEntry._fields]


def entry_rows(session: Session, exam_id: str) -> list[KeptEntry]:
    """Every entry of an exam in the order in which it was made."""
    asked = sqlalchemy_select(*_COLUMNS).where(col(EntryRow.exam_id) == exam_id)
    return [KeptEntry(*row) for row in session.execute(asked.order_by(col(EntryRow.id)))]


def kept_entry(row: EntryRow) -> KeptEntry:
    """An entry that was just added, as it will be read."""
    return KeptEntry(*(getattr(row, name) for name in KeptEntry._fields))


def newest(
    rows: Iterable[KeptEntry],
) -> tuple[dict[Cell, CellRecord], MedicinesRecord | None]:
    """The newest entry of each cell, in the order of the vocabulary, and of the medicines.

    Raises: Unreadable.
    """
    latest = {cell_of(row): row for row in rows}
    medicines = latest.pop((MEDICINES, None), None)
    words = vocabulary()
    unknown = [finding_id for finding_id, _ in latest if finding_id not in words]
    if unknown:
        raise Unreadable(f"this version does not know the finding {unknown[0]}")
    cells = sorted(latest, key=lambda cell: words.place(*cell))
    return (
        {cell: cell_record(latest[cell]) for cell in cells},
        None if medicines is None else medicines_record(medicines),
    )


def cell_of(row: KeptEntry) -> Cell:
    """The cell that an entry is about."""
    return row.finding, _SIDES[row.side]


def cell_record(row: KeptEntry) -> CellRecord:
    """An entry of a cell as a value.

    Raises: Unreadable.
    """
    return CellRecord(
        entry_id=row.id,
        value=None if row.value is None else from_text(*cell_of(row), row.value),
        by=row.by,
        role=row.role,
        at=row.at,
        bulk=row.bulk and row.value is not None,
        revision=row.revision,
        account_id=row.account_id or "",
    )


def medicines_record(row: KeptEntry) -> MedicinesRecord:
    """An entry of the medicines as a value.

    Raises: Unreadable.
    """
    return MedicinesRecord(
        entry_id=row.id,
        lines=None if row.value is None else lines_from_text(row.value),
        by=row.by,
        role=row.role,
        at=row.at,
        revision=row.revision,
        account_id=row.account_id or "",
    )
