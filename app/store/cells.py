"""What stands in the cells of an exam: the newest entry of each."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

from sqlmodel import Session, col, select

from app.exam.record import Cell, Recorded
from app.exam.vocabulary import Side, vocabulary
from app.store.refusals import Unreadable
from app.store.tables import MEDICINES, EntryRow
from app.store.values import from_text, lines_from_text


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


def entry_rows(session: Session, exam_id: str) -> list[EntryRow]:
    """Every entry of an exam in the order in which it was made."""
    asked = select(EntryRow).where(EntryRow.exam_id == exam_id).order_by(col(EntryRow.id))
    return list(session.exec(asked))


def newest(
    rows: Iterable[EntryRow],
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


def cell_of(row: EntryRow) -> Cell:
    """The cell that an entry is about."""
    return row.finding, None if row.side is None else Side(row.side)


def entry_id(row: EntryRow) -> int:
    """The number of an entry that is in the database."""
    if row.id is None:
        raise Unreadable("an entry has no number")
    return row.id


def cell_record(row: EntryRow) -> CellRecord:
    """An entry of a cell as a value.

    Raises: Unreadable.
    """
    return CellRecord(
        entry_id=entry_id(row),
        value=None if row.value is None else from_text(*cell_of(row), row.value),
        by=row.by,
        role=row.role,
        at=row.at,
        bulk=row.bulk and row.value is not None,
        revision=row.revision,
        account_id=row.account_id or "",
    )


def medicines_record(row: EntryRow) -> MedicinesRecord:
    """An entry of the medicines as a value.

    Raises: Unreadable.
    """
    return MedicinesRecord(
        entry_id=entry_id(row),
        lines=None if row.value is None else lines_from_text(row.value),
        by=row.by,
        role=row.role,
        at=row.at,
        revision=row.revision,
        account_id=row.account_id or "",
    )
