"""Invented people and exams, loaded through the same functions as real ones."""

from collections.abc import Callable
from datetime import datetime, timedelta
from pathlib import Path

from sqlalchemy import Engine
from sqlmodel import Session, col, select

from app.exam.record import Cell, Exam, Recorded
from app.exam.vocabulary import vocabulary
from app.store.account_changes import add_account
from app.store.accounts import account_named, has_accounts
from app.store.actor import PROGRAM, Recorder
from app.store.demo_files import BadDemo, Demo, DemoExam, read_demo
from app.store.engine import one_at_a_time, writing
from app.store.entries import mark_rest_normal, record, record_medicines
from app.store.exams import OPEN_STATES, ExamRecord, start_exam
from app.store.free_text import exact_key
from app.store.patients import add_patient
from app.store.proofs import set_password
from app.store.refusals import BadForm
from app.store.signing import hand_over
from app.store.tables import ROLES, ExamRow, PatientRow

MINUTE = timedelta(minutes=1)


def load_demo(
    engine: Engine, folder: Path, now: datetime, password_hash: Callable[[str], str]
) -> int:
    """Add the invented accounts and patients with their exams, where nobody real is.

    The accounts are added where there are none, and either no patients or those of the
    demonstration; the patients where there are none, and no other accounts. All dates are moved so
    that the newest is recent. password_hash: what is kept of a password.
    Returns how many patients were added.
    Raises: BadDemo, with nothing loaded.
    """
    demo = read_demo(folder, now)
    with writing(engine) as session:
        one_at_a_time(session.connection())
        has_patients = session.exec(select(PatientRow.id).limit(1)).first() is not None
        if not has_accounts(session) and (not has_patients or _has_its_patients(session, demo)):
            _add_accounts(session, demo, password_hash)
        nurse, physician = (demo_recorder(session, demo, role) for role in ROLES)
        if has_patients or nurse is None or physician is None:
            return 0
        for person in demo.patients:
            began = person.exams[0].started_at
            try:
                patient_id = add_patient(session, person.new, began, actor=nurse).id
            except BadForm as fault:
                raise BadDemo(f"clinic.toml: {fault}") from fault
            for exam in person.exams:
                _load_exam(session, patient_id, exam, nurse, physician)
    return len(demo.patients)


def unsigned(session: Session, demo: Demo) -> list[tuple[str, DemoExam]]:
    """The exams of the demonstration that are not signed, with their ids, in the files' order."""
    written = {
        (exact_key(person.new.chart_number), exam.started_at): exam
        for person in demo.patients
        for exam in person.exams
    }
    open_ones = col(ExamRow.state).in_(OPEN_STATES)
    asked = select(ExamRow, PatientRow.chart_key).join(PatientRow).where(open_ones)
    held = {(key, row.started_at): row.id for row, key in session.exec(asked)}
    return [(held[place], exam) for place, exam in written.items() if place in held]


def demo_recorder(session: Session, demo: Demo, role: str) -> Recorder | None:
    """Who records in this role; None where the demonstration's account is not there."""
    name = next(each.sign_in_name for each in demo.accounts if each.role == role)
    found = account_named(session, name)
    return None if found is None else Recorder(found.printed_name, role, found.id)


def _has_its_patients(session: Session, demo: Demo) -> bool:
    keys = [exact_key(person.new.chart_number) for person in demo.patients]
    asked = select(PatientRow.id).where(col(PatientRow.chart_key).in_(keys)).limit(1)
    return session.exec(asked).first() is not None


def _add_accounts(session: Session, demo: Demo, password_hash: Callable[[str], str]) -> None:
    # Before anything that they record.
    began = min(exam.started_at for person in demo.patients for exam in person.exams)
    for each in demo.accounts:
        try:
            added = add_account(
                session,
                each.sign_in_name,
                each.printed_name,
                each.role,
                actor=PROGRAM,
                now=began,
                is_demo=True,
            )
        except BadForm as fault:
            raise BadDemo(f"clinic.toml: {fault}") from fault
        set_password(session, added.id, password_hash(each.password), actor=PROGRAM, now=began)


def _load_exam(
    session: Session,
    patient_id: str,
    demo_exam: DemoExam,
    nurse: Recorder,
    physician: Recorder,
) -> None:
    """Record an exam station by station: first the nurse's part, then the physician's."""
    exam = demo_exam.exam
    began = demo_exam.started_at
    kept = start_exam(session, patient_id, nurse, demo_exam.reason, began, demo_exam.on_paper)
    kept = _record_part(session, kept, demo_exam, nurse, began)
    if exam.medicines is not None:
        kept = record_medicines(
            session,
            kept.id,
            exam.medicines,
            at_revision=kept.revision,
            recorder=nurse,
            now=began + 10 * MINUTE,
        )
    if demo_exam.handed_over:
        hand_over(session, kept.id, actor=nurse, now=began + 12 * MINUTE)
    _record_part(session, kept, demo_exam, physician, began + 15 * MINUTE)


def _record_part(
    session: Session, kept: ExamRecord, demo_exam: DemoExam, recorder: Recorder, began: datetime
) -> ExamRecord:
    for place, station in enumerate(vocabulary().stations, start=1):
        part = _part(demo_exam.exam, station.id, recorder.role)
        if not part:
            continue
        now = began + place * MINUTE
        is_bulk = station.id in demo_exam.bulk
        if is_bulk:
            # What the rest of the station is not.
            part = {cell: value for cell, value in part.items() if not _is_rest(cell, value)}
        kept = record(session, kept.id, part, at_revision=kept.revision, recorder=recorder, now=now)
        if is_bulk:
            kept = mark_rest_normal(
                session,
                kept.id,
                station.id,
                at_revision=kept.revision,
                recorder=recorder,
                now=now,
            )
    return kept


def _part(exam: Exam, station: str, role: str) -> dict[Cell, Recorded]:
    """What somebody of this role records at a station."""
    words = vocabulary()
    return {
        cell: value
        for cell, value in exam.cells.items()
        if words[cell[0]].station == station and words[cell[0]].nurse == (role == "nurse")
    }


def _is_rest(cell: Cell, value: Recorded) -> bool:
    finding = vocabulary()[cell[0]]
    return finding.core and finding.detail_of is None and value == finding.normal_value()
