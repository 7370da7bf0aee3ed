"""Exams: started, read as they stand or stood, and listed."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from decimal import Decimal
from types import MappingProxyType
from uuid import uuid4

from sqlalchemy import func
from sqlmodel import Session, col, select

from app.exam.record import Cell, Exam, Patient
from app.store.actor import Recorder
from app.store.audit import note
from app.store.cells import CellRecord, MedicinesRecord, entry_rows, newest
from app.store.free_text import BadText, check_lines
from app.store.patients import PatientCard, age_on, card, is_id, patient
from app.store.refusals import BadForm, NotFound, StaleRevision
from app.store.tables import EntryRow, ExamRow, PatientRow

LONGEST_REASON = 500


@dataclass(frozen=True)
class ExamRecord:
    """An exam at one revision.

    cells: every cell that has an entry, cleared ones too, in the order of the vocabulary.
    exam: what the rules may know of it; cleared cells are not in it.
    """

    id: str
    patient: PatientCard
    state: str
    reason: str
    started_at: datetime
    started_by: str
    revision: int
    exam: Exam
    cells: Mapping[Cell, CellRecord]
    medicines_record: MedicinesRecord | None


@dataclass(frozen=True)
class WorklistRow:
    """One exam in a list. The last recorder and time are None while it has no entry."""

    exam_id: str
    patient: PatientCard
    state: str
    reason: str
    started_at: datetime
    started_by: str
    last_recorded_by: str | None
    last_recorded_at: datetime | None
    entry_count: int


def start_exam(
    session: Session, patient_id: str, recorder: Recorder, reason: str, now: datetime
) -> ExamRecord:
    """Start an exam of a patient.

    reason: why it is done, in words; may be empty.
    Raises: NotFound, BadForm.
    """
    try:
        reason = check_lines(reason, longest=LONGEST_REASON)
    except BadText as fault:
        raise BadForm({"reason": f"the reason {fault}"}) from None
    row = ExamRow(
        id=uuid4().hex,
        patient_id=patient(session, patient_id).id,
        state="open",
        reason=reason,
        started_at=now,
        started_by=recorder.name,
        started_role=recorder.role,
        revision=0,
    )
    session.add(row)
    session.flush()
    note(
        session,
        recorder,
        "start",
        at=now,
        patient_id=row.patient_id,
        exam_id=row.id,
    )
    return exam_record(session, row.id)


def exam_record(session: Session, exam_id: str, *, at_revision: int | None = None) -> ExamRecord:
    """An exam as it stands, or as it stood at a revision.

    Raises: NotFound, StaleRevision, Unreadable.
    """
    exam = exam_row(session, exam_id)
    revision = exam.revision if at_revision is None else at_revision
    check_revision(exam, revision)
    who = patient(session, exam.patient_id)
    cells, medicines = newest(
        row for row in entry_rows(session, exam_id) if row.revision <= revision
    )
    age = age_on(who.birth_date, exam.started_at.astimezone(UTC).date())
    values = {cell: held.value for cell, held in cells.items() if held.value is not None}
    return ExamRecord(
        id=exam.id,
        patient=who,
        state=exam.state,
        reason=exam.reason,
        started_at=exam.started_at,
        started_by=exam.started_by,
        revision=revision,
        exam=Exam(
            Patient(Decimal(age), who.sex),
            MappingProxyType(values),
            None if medicines is None else medicines.lines,
        ),
        cells=MappingProxyType(cells),
        medicines_record=medicines,
    )


def revision_and_state(session: Session, exam_id: str) -> tuple[int, str]:
    """How far an exam is, without reading what is in it.

    Raises: NotFound.
    """
    exam = exam_row(session, exam_id)
    return exam.revision, exam.state


def worklist(session: Session, *, limit: int = 100) -> list[WorklistRow]:
    """The newest exams of all patients, newest first."""
    return _list(session, None, limit)


def exams_of(session: Session, patient_id: str) -> list[WorklistRow]:
    """Every exam of one patient, newest first.

    Raises: NotFound.
    """
    return _list(session, patient(session, patient_id).id, None)


def exam_row(session: Session, exam_id: str, *, lock: bool = False) -> ExamRow:
    """The row of an exam; locked, no other write of this exam goes on until ours has ended.

    Raises: NotFound.
    """
    if not is_id(exam_id):
        raise NotFound("there is no such exam")
    asked = select(ExamRow).where(ExamRow.id == exam_id).execution_options(populate_existing=True)
    row = session.exec(asked.with_for_update() if lock else asked).one_or_none()
    if row is None:
        raise NotFound("there is no such exam")
    return row


def check_revision(exam: ExamRow, revision: int) -> None:
    """Refuse a revision that the exam has not reached.

    Raises: StaleRevision.
    """
    if not 0 <= revision <= exam.revision:
        raise StaleRevision(
            f"the exam is at revision {exam.revision}; it has no revision {revision}"
        )


def _list(session: Session, patient_id: str | None, limit: int | None) -> list[WorklistRow]:
    asked = select(ExamRow, PatientRow).where(ExamRow.patient_id == PatientRow.id)
    if patient_id is not None:
        asked = asked.where(ExamRow.patient_id == patient_id)
    asked = asked.order_by(col(ExamRow.started_at).desc(), col(ExamRow.id)).limit(limit)
    listed = list(session.exec(asked))
    counts = _counts(session, [exam.id for exam, _ in listed])
    last_ids = [last for _, last in counts.values()]
    last_rows = session.exec(select(EntryRow).where(col(EntryRow.id).in_(last_ids)))
    last_of = {row.exam_id: row for row in last_rows}
    rows = []
    for exam, who in listed:
        last = last_of.get(exam.id)
        rows.append(
            WorklistRow(
                exam_id=exam.id,
                patient=card(who),
                state=exam.state,
                reason=exam.reason,
                started_at=exam.started_at,
                started_by=exam.started_by,
                last_recorded_by=None if last is None else last.by,
                last_recorded_at=None if last is None else last.at,
                entry_count=counts[exam.id][0] if exam.id in counts else 0,
            )
        )
    return rows


def _counts(session: Session, exam_ids: list[str]) -> dict[str, tuple[int, int]]:
    """For each exam that has entries: how many, and the number of the last."""
    asked = (
        select(EntryRow.exam_id, func.count(), func.max(EntryRow.id))
        .where(col(EntryRow.exam_id).in_(exam_ids))
        .group_by(EntryRow.exam_id)
    )
    return {exam_id: (count, last or 0) for exam_id, count, last in session.exec(asked)}
