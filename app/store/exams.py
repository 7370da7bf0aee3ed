"""Exams: started, read as they stand or stood, and listed."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from decimal import Decimal
from types import MappingProxyType
from uuid import uuid4

from sqlalchemy import func
from sqlmodel import Session, col, select
from sqlmodel.sql.expression import Select

from app.exam.record import Cell, Exam, Patient
from app.language.words import N_, Spoken, _
from app.store.actor import Recorder
from app.store.audit import note
from app.store.cells import CellRecord, KeptEntry, MedicinesRecord, entry_rows, newest
from app.store.free_text import BadText, check_lines
from app.store.on_paper import Examined, OnPaper, keep_on_paper, on_paper, those_on_paper
from app.store.patients import PatientCard, age_on, card, is_id, patient
from app.store.refusals import BadForm, NotFound, StaleRevision
from app.store.tables import STATES, EntryRow, ExamRow, PatientRow

LONGEST_REASON = 500
# While an exam is in one of these it takes entries, and waits for somebody.
OPEN_STATES = ("open", "ready")
# As a sentence says them.
STATE_WORDS = Spoken(
    {
        "open": N_("open"),
        "ready": N_("ready"),
        "signed": N_("signed"),
        "amended": N_("amended"),
    }
)
# How many exams of earlier days that wait for nobody the worklist shows.
EARLIER_CLOSED = 10
_LOCKED = "evenhand_locked"


@dataclass(frozen=True)
class ExamRecord(Examined):
    """An exam at one revision.

    cells: every cell that has an entry, cleared ones too, in the order of the vocabulary.
    exam: what the rules may know of it; cleared cells are not in it. on_paper: where it was done on
    paper, when and by whom; started_at is then when it was begun to be entered.
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
    on_paper: OnPaper | None = None


@dataclass(frozen=True)
class WorklistRow(Examined):
    """One exam in a list.

    recorders: everybody with an entry, in the order of their first; last_recorded_by and
    last_recorded_at are None while there is none.
    """

    exam_id: str
    patient: PatientCard
    state: str
    reason: str
    started_at: datetime
    started_by: str
    recorders: tuple[str, ...]
    last_recorded_by: str | None
    last_recorded_at: datetime | None
    entry_count: int
    on_paper: OnPaper | None = None


@dataclass(frozen=True)
class _Entered:
    """How many entries of one exam somebody made, and the number of their last."""

    by: str
    count: int
    last: int


def start_exam(
    session: Session,
    patient_id: str,
    recorder: Recorder,
    reason: str,
    now: datetime,
    paper: OnPaper | None = None,
) -> ExamRecord:
    """Start an exam of a patient.

    reason: why it is done, in words; may be empty. paper: from check_on_paper, where it was done on
    paper; it stays so.
    Raises: NotFound, BadForm.
    """
    who, faults = patient(session, patient_id), {}
    try:
        reason = check_lines(reason, longest=LONGEST_REASON)
    except BadText as fault:
        faults["reason"] = _("the reason {fault}").format(fault=fault)
    if paper is not None and paper.examined_at.astimezone().date() < who.birth_date:
        faults["examined_on"] = _("the exam lies before the birth of the patient")
    if faults:
        raise BadForm(faults)
    row = ExamRow(
        id=uuid4().hex,
        patient_id=who.id,
        state="open",
        reason=reason,
        started_at=now,
        started_by=recorder.name,
        started_role=recorder.role,
        revision=0,
    )
    session.add(row)
    session.flush()
    kept = () if paper is None else (keep_on_paper(session, row.id, paper),)
    note(
        session,
        recorder,
        "start",
        at=now,
        patient_id=row.patient_id,
        exam_id=row.id,
        detail={} if paper is None else paper.told(),
        rows=kept,
    )
    return exam_record(session, row.id)


def exam_record(session: Session, exam_id: str, *, at_revision: int | None = None) -> ExamRecord:
    """An exam as it stands, or as it stood at a revision.

    Raises: NotFound, StaleRevision, Unreadable.
    """
    exam = exam_row(session, exam_id)
    revision = exam.revision if at_revision is None else at_revision
    check_revision(exam, revision)
    kept = [row for row in entry_rows(session, exam_id) if row.revision <= revision]
    return record_of(session, exam, kept, revision)


def record_of(
    session: Session, exam: ExamRow, kept: list[KeptEntry], revision: int | None = None
) -> ExamRecord:
    """An exam whose row and entries were read; revision: of the last of them, if not its own.

    Raises: NotFound, Unreadable.
    """
    who = patient(session, exam.patient_id)
    cells, medicines = newest(kept)
    paper = on_paper(session, exam.id)
    examined_at = exam.started_at if paper is None else paper.examined_at
    age = age_on(who.birth_date, examined_at.astimezone(UTC).date())
    values = {cell: held.value for cell, held in cells.items() if held.value is not None}
    return ExamRecord(
        id=exam.id,
        patient=who,
        state=exam.state,
        reason=exam.reason,
        started_at=exam.started_at,
        started_by=exam.started_by,
        revision=exam.revision if revision is None else revision,
        exam=Exam(
            Patient(Decimal(age), who.sex),
            MappingProxyType(values),
            None if medicines is None else medicines.lines,
        ),
        cells=MappingProxyType(cells),
        medicines_record=medicines,
        on_paper=paper,
    )


def revision_and_state(session: Session, exam_id: str) -> tuple[int, str]:
    """How far an exam is, without reading what is in it.

    Raises: NotFound.
    """
    asked = select(ExamRow.revision, ExamRow.state).where(ExamRow.id == exam_id)
    found = session.exec(asked).one_or_none() if is_id(exam_id) else None
    if found is None:
        raise NotFound(_("there is no such exam"))
    return found


def worklist(
    session: Session, *, today_since: datetime | None = None, limit: int = EARLIER_CLOSED
) -> list[WorklistRow]:
    """The exams that wait for somebody, those of today and the newest others; newest first.

    today_since: when today began; None: no day is today. limit: how many of the others, which are
    signed and of earlier days.
    """
    state, started_at = col(ExamRow.state), col(ExamRow.started_at)
    # Each database reads each of these by an index, and one of them with OR by none.
    listed = [*session.exec(_newest_first().where(state.in_(OPEN_STATES)))]
    closed = _newest_first().where(state.not_in(OPEN_STATES))
    if today_since is not None:
        listed += session.exec(closed.where(started_at >= today_since))
        closed = closed.where(started_at < today_since)
    listed += session.exec(closed.limit(limit))
    listed.sort(key=lambda each: each[0].started_at, reverse=True)
    return _rows(session, listed)


def closed_before(session: Session, today_since: datetime) -> dict[str, int]:
    """How many exams of earlier days there are in each state in which they wait for nobody."""
    asked = (
        select(ExamRow.state, func.count())
        # Named one by one: an index finds what is, and not what is not.
        .where(
            col(ExamRow.state).in_([each for each in STATES if each not in OPEN_STATES]),
            col(ExamRow.started_at) < today_since,
        )
        .group_by(col(ExamRow.state))
    )
    return dict(session.exec(asked).all())


def exams_of(session: Session, patient_id: str) -> list[WorklistRow]:
    """Every exam of one patient, the one that was done last first.

    Raises: NotFound.
    """
    asked = _newest_first().where(ExamRow.patient_id == patient(session, patient_id).id)
    rows = _rows(session, session.exec(asked).all())
    return sorted(rows, key=lambda row: row.examined_at, reverse=True)


def exam_row(session: Session, exam_id: str, *, lock: bool = False) -> ExamRow:
    """The row of an exam; locked, no other write of this exam goes on until ours has ended.

    Raises: NotFound.
    """
    if not is_id(exam_id):
        raise NotFound(_("there is no such exam"))
    if lock and (held := session.info.get(_LOCKED, {}).get(exam_id)):
        # Ours already, so that nobody else has changed it since.
        return held
    asked = select(ExamRow).where(ExamRow.id == exam_id).execution_options(populate_existing=True)
    row = session.exec(asked.with_for_update() if lock else asked).one_or_none()
    if row is None:
        raise NotFound(_("there is no such exam"))
    if lock:
        session.info.setdefault(_LOCKED, {})[exam_id] = row
    return row


def check_revision(exam: ExamRow, revision: int) -> None:
    """Refuse a revision that the exam has not reached.

    Raises: StaleRevision.
    """
    if not 0 <= revision <= exam.revision:
        raise StaleRevision(
            _("the exam is at revision {revision}; it has no revision {revision2}").format(
                revision=exam.revision, revision2=revision
            )
        )


def _newest_first() -> Select[ExamRow, PatientRow]:
    return (
        select(ExamRow, PatientRow)
        .where(ExamRow.patient_id == PatientRow.id)
        .order_by(col(ExamRow.started_at).desc(), col(ExamRow.id))
    )


def _rows(session: Session, listed: Sequence[tuple[ExamRow, PatientRow]]) -> list[WorklistRow]:
    entered = _entered(session, [exam.id for exam, _ in listed])
    last_ids = [max(each.last for each in entries) for entries in entered.values()]
    last_rows = session.exec(select(EntryRow).where(col(EntryRow.id).in_(last_ids)))
    last_of = {row.exam_id: row for row in last_rows}
    paper = those_on_paper(session, [exam.id for exam, _ in listed])
    rows = []
    for exam, who in listed:
        entries, last = entered.get(exam.id, []), last_of.get(exam.id)
        rows.append(
            WorklistRow(
                exam_id=exam.id,
                patient=card(who),
                state=exam.state,
                reason=exam.reason,
                started_at=exam.started_at,
                started_by=exam.started_by,
                recorders=tuple(each.by for each in entries),
                last_recorded_by=None if last is None else last.by,
                last_recorded_at=None if last is None else last.at,
                entry_count=sum(each.count for each in entries),
                on_paper=paper.get(exam.id),
            )
        )
    return rows


def _entered(session: Session, exam_ids: list[str]) -> dict[str, list[_Entered]]:
    """For each exam that has entries: what each person entered, in the order of their first."""
    asked = (
        select(EntryRow.exam_id, EntryRow.by, func.count(), func.max(EntryRow.id))
        .where(col(EntryRow.exam_id).in_(exam_ids))
        .group_by(EntryRow.exam_id, EntryRow.by)
        .order_by(func.min(EntryRow.id))
    )
    entered: dict[str, list[_Entered]] = {}
    for exam_id, by, count, last in session.exec(asked):
        entered.setdefault(exam_id, []).append(_Entered(by, count, last or 0))
    return entered
