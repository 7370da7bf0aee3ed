"""Entries: how a value gets into an exam, and the list of all that did."""

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from datetime import datetime

from sqlmodel import Session

from app.exam.faults import BadExam
from app.exam.record import Cell, Recorded
from app.exam.vocabulary import Side, vocabulary
from app.language.words import _
from app.store.actor import Recorder
from app.store.audit import note
from app.store.cells import KeptEntry, cell_of, cell_record, entry_rows, kept_entry, newest
from app.store.exams import (
    OPEN_STATES,
    STATE_WORDS,
    ExamRecord,
    check_revision,
    exam_row,
    record_of,
)
from app.store.refusals import Collision, MedicinesCollision, NotOpen
from app.store.tables import MEDICINES, EntryRow, ExamRow
from app.store.values import (
    as_text,
    checked,
    checked_lines,
    from_text,
    lines_as_text,
    lines_from_text,
)


@dataclass(frozen=True)
class EntryRecord:
    """One entry. The medicines stand under the finding id `medicines`, as a tuple of lines.

    value: None where the cell was cleared. replaces: the entry that stood there before.
    """

    entry_id: int
    finding: str
    side: Side | None
    value: Recorded | tuple[str, ...] | None
    by: str
    role: str
    at: datetime
    replaces: int | None
    bulk: bool
    revision: int


def record(
    session: Session,
    exam_id: str,
    changes: Mapping[Cell, Recorded | None],
    *,
    at_revision: int,
    recorder: Recorder,
    now: datetime,
    bulk: bool = False,
) -> ExamRecord:
    """Write cells, all of them or none; None clears a cell.

    A value that stands there already makes no entry, and a write without entries no revision.
    Raises: BadExam, NotFound, NotOpen, StaleRevision, Collision.
    """
    mine = checked(changes)
    exam = to_be_written(session, exam_id, at_revision)
    before = entry_rows(session, exam_id)
    latest = {cell_of(row): row for row in before}
    cells = {cell: cell_record(latest[cell]) for cell in mine if cell in latest}
    differing = {
        cell: value
        for cell, value in mine.items()
        if value != (cells[cell].value if cell in cells else None)
    }
    clashes = {
        cell: (cells[cell], value)
        for cell, value in differing.items()
        if cell in cells and cells[cell].revision > at_revision
    }
    if clashes:
        raise Collision(clashes)
    rows = [
        entry_row(
            exam,
            cell,
            None if value is None else as_text(value),
            cells[cell].entry_id if cell in cells else None,
            recorder,
            now,
            bulk,
        )
        for cell, value in differing.items()
    ]
    return written(session, exam, before, rows, recorder, now)


def record_medicines(
    session: Session,
    exam_id: str,
    lines: tuple[str, ...] | None,
    *,
    at_revision: int,
    recorder: Recorder,
    now: datetime,
) -> ExamRecord:
    """Write the medicines as a whole: None where nobody asked, () where there are none.

    Raises: BadExam, NotFound, NotOpen, StaleRevision, MedicinesCollision.
    """
    mine = None if lines is None else checked_lines(lines)
    exam = to_be_written(session, exam_id, at_revision)
    before = entry_rows(session, exam_id)
    _, theirs = newest(before)
    if mine == (None if theirs is None else theirs.lines):
        return written(session, exam, before, [], recorder, now)
    if theirs is not None and theirs.revision > at_revision:
        raise MedicinesCollision(theirs, mine)
    row = entry_row(
        exam,
        (MEDICINES, None),
        None if mine is None else lines_as_text(mine),
        None if theirs is None else theirs.entry_id,
        recorder,
        now,
        bulk=False,
    )
    return written(session, exam, before, [row], recorder, now)


def mark_rest_normal(
    session: Session,
    exam_id: str,
    station: str,
    *,
    at_revision: int,
    recorder: Recorder,
    now: datetime,
) -> ExamRecord:
    """Write the normal value into each core cell of a station that nobody decided.

    Details, findings without a normal value, cells that somebody cleared, history and measures
    are left alone.
    Raises: BadExam, NotFound, NotOpen, StaleRevision.
    """
    words = vocabulary()
    if station not in {known.id for known in words.stations}:
        raise BadExam([f"station: {station[:40]!r} is not a station"])
    exam = to_be_written(session, exam_id, at_revision)
    before = entry_rows(session, exam_id)
    latest = {cell_of(row): row for row in before}
    rows = [
        entry_row(
            exam,
            (finding.id, side),
            as_text(normal),
            None if (held := latest.get((finding.id, side))) is None else held.id,
            recorder,
            now,
            bulk=True,
        )
        for finding in words.at(station)
        # What was not asked is not answered with no: only what is seen or felt has a rest.
        if finding.is_sign and finding.core and finding.detail_of is None
        if (normal := finding.normal_value()) is not None
        for side in finding.sides
        if is_undecided(latest.get((finding.id, side)))
    ]
    return written(session, exam, before, rows, recorder, now)


def written_before(
    session: Session, exam_id: str, cells: Collection[Cell], recorder: Recorder, *, after: int
) -> int:
    """The revision under which this person wrote one of these cells after another one; 0 for none.

    A write whose answer was lost is sent again from what its author had seen, and makes no entry:
    this is what it had made.
    """
    mine = (
        row.revision
        for row in entry_rows(session, exam_id)
        if row.revision > after and row.account_id == recorder.account_id and cell_of(row) in cells
    )
    return max(mine, default=0)


def history(session: Session, exam_id: str) -> list[EntryRecord]:
    """Every entry of an exam, oldest first.

    Raises: NotFound, Unreadable.
    """
    exam_row(session, exam_id)
    return [_entry_record(row) for row in entry_rows(session, exam_id)]


def to_be_written(session: Session, exam_id: str, at_revision: int) -> ExamRow:
    """The row of an exam that is about to be written, locked.

    Raises: NotFound, NotOpen, StaleRevision.
    """
    exam = exam_row(session, exam_id, lock=True)
    if exam.state not in OPEN_STATES:
        raise NotOpen(
            _("the exam is {state}; it takes no more entries").format(state=STATE_WORDS[exam.state])
        )
    check_revision(exam, at_revision)
    return exam


def is_undecided(row: KeptEntry | None) -> bool:
    """Whether nobody decided a cell whose newest entry is this: there is none, or it took back the
    only one. A cell that was cleared by hand is decided.
    """
    return row is None or (row.value is None and row.bulk)


def entry_row(
    exam: ExamRow,
    cell: Cell,
    value: str | None,
    replaces: int | None,
    recorder: Recorder,
    now: datetime,
    bulk: bool,
) -> EntryRow:
    """The next entry of a cell. value: canonical JSON; replaces: the number of the entry before."""
    finding_id, side = cell
    return EntryRow(
        exam_id=exam.id,
        revision=exam.revision + 1,
        finding=finding_id,
        side=None if side is None else side.value,
        value=value,
        by=recorder.name,
        role=recorder.role,
        at=now,
        replaces=replaces,
        bulk=bulk,
        account_id=recorder.account_id or None,
    )


def written(
    session: Session,
    exam: ExamRow,
    before: list[KeptEntry],
    rows: list[EntryRow],
    recorder: Recorder,
    now: datetime,
) -> ExamRecord:
    """Add the entries of one write under the exam's next revision; without any nothing changes.

    before: every entry that the exam has, read since it was locked.
    """
    if rows:
        exam.revision += 1
        session.add_all(rows)
        session.flush()
        note(
            session,
            recorder,
            "record",
            at=now,
            patient_id=exam.patient_id,
            exam_id=exam.id,
            detail={"revision": exam.revision, "entries": len(rows)},
            rows=tuple(rows),
        )
    return record_of(session, exam, [*before, *map(kept_entry, rows)])


def _entry_record(row: KeptEntry) -> EntryRecord:
    finding_id, side = cell_of(row)
    value: Recorded | tuple[str, ...] | None = None
    if row.value is not None and finding_id == MEDICINES:
        value = lines_from_text(row.value)
    elif row.value is not None:
        value = from_text(finding_id, side, row.value)
    return EntryRecord(
        entry_id=row.id,
        finding=finding_id,
        side=side,
        value=value,
        by=row.by,
        role=row.role,
        at=row.at,
        replaces=row.replaces,
        bulk=row.bulk,
        revision=row.revision,
    )
