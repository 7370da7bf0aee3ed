"""Taking back what somebody entered a moment ago: entries again, so that the history keeps both."""

from collections.abc import Mapping
from datetime import datetime

from sqlmodel import Session

from app.exam.record import Cell
from app.language.words import _
from app.store.actor import Recorder
from app.store.cells import KeptEntry, cell_of, cell_record, entry_rows, medicines_record
from app.store.entries import entry_row, to_be_written, written
from app.store.exams import ExamRecord
from app.store.refusals import Collision, MedicinesCollision, NotYours
from app.store.tables import MEDICINES


def findings_at(session: Session, exam_id: str, revision: int) -> frozenset[str]:
    """The findings that one write changed; the medicines under their own id."""
    rows = entry_rows(session, exam_id)
    return frozenset(row.finding for row in rows if row.revision == revision)


def undo(
    session: Session,
    exam_id: str,
    revision: int,
    *,
    at_revision: int,
    recorder: Recorder,
    now: datetime,
) -> ExamRecord:
    """Put back what stood in the cells that one write of one's own changed, all of them or none.

    revision: of that write. A cell that nobody had decided before is undecided again, so that the
    rest of its station can still be marked normal. Asked again because its answer was lost, it
    finds everything put back and changes nothing.
    Raises: NotFound, NotOpen, StaleRevision; NotYours, where this person made no such write;
    Collision, where one of the cells was written since.
    """
    exam = to_be_written(session, exam_id, at_revision)
    rows = entry_rows(session, exam_id)
    mine = [row for row in rows if row.revision == revision]
    if not mine or any(row.account_id != (recorder.account_id or None) for row in mine):
        raise NotYours(_("only what you entered yourself can be taken back"))
    by_id = {row.id: row for row in rows}
    before = {cell_of(row): None if row.replaces is None else by_id[row.replaces] for row in mine}
    latest = {cell_of(row): row for row in rows}
    if all(_is_back(latest[cell], was, at_revision, recorder) for cell, was in before.items()):
        return written(session, exam, rows, [], recorder, now)
    # Having taken back a later write, what this one wrote stands there again.
    newer = {
        cell_of(row): now_there
        for row in mine
        if _says(now_there := latest[cell_of(row)]) != _says(row)
    }
    if newer:
        raise _collision(newer, before)
    back = [
        entry_row(
            exam,
            cell,
            None if was is None else was.value,
            latest[cell].id,
            recorder,
            now,
            bulk=was is None or was.bulk,
        )
        for cell, was in before.items()
    ]
    return written(session, exam, rows, back, recorder, now)


def _is_back(row: KeptEntry, was: KeptEntry | None, at_revision: int, recorder: Recorder) -> bool:
    """Whether this person has put a cell back already, in an entry that their page has not seen."""
    back = (None, True) if was is None else (was.value, was.bulk)
    is_mine = row.account_id == (recorder.account_id or None)
    return is_mine and row.revision > at_revision and (row.value, row.bulk) == back


def _says(row: KeptEntry) -> tuple[str | None, bool, str | None]:
    return row.value, row.bulk, row.account_id


def _collision(
    newer: Mapping[Cell, KeptEntry], before: Mapping[Cell, KeptEntry | None]
) -> Collision:
    if (MEDICINES, None) in newer:
        was = before[MEDICINES, None]
        lines = None if was is None else medicines_record(was).lines
        return MedicinesCollision(medicines_record(newer[MEDICINES, None]), lines)
    cells = {}
    for cell, row in newer.items():
        was = before[cell]
        cells[cell] = (cell_record(row), None if was is None else cell_record(was).value)
    return Collision(cells)
