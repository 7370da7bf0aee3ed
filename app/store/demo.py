"""Invented people and exams, loaded through the same functions as real ones."""

import tomllib
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from pathlib import Path
from typing import Any

from sqlalchemy import Engine
from sqlmodel import Session, col, select

from app.exam.reading import BadExam, parse_exam
from app.exam.record import Exam
from app.exam.vocabulary import vocabulary
from app.store.account_changes import add_account
from app.store.accounts import DEMO_PREFIX, account_named, has_accounts, sign_in_key
from app.store.actor import PROGRAM, Recorder
from app.store.engine import one_at_a_time, writing
from app.store.entries import record, record_medicines
from app.store.exams import ExamRecord, start_exam
from app.store.free_text import exact_key
from app.store.patients import NewPatient, add_patient, check_patient
from app.store.proofs import set_password
from app.store.refusals import BadForm
from app.store.tables import ROLES, ExamRow, PatientRow

MINUTE = timedelta(minutes=1)


class BadDemo(ValueError):
    """The demonstration cannot be loaded; the message names the file."""


@dataclass(frozen=True)
class DemoExam:
    """One exam of the demonstration, with the moment at which it began.

    impression, plan: of the physician; with an impression the exam is one to be signed.
    """

    exam: Exam
    started_at: datetime
    reason: str
    impression: str = ""
    plan: str = ""


@dataclass(frozen=True)
class DemoPatient:
    """One person of the demonstration and their exams, oldest first."""

    new: NewPatient
    exams: tuple[DemoExam, ...]


@dataclass(frozen=True)
class DemoAccount:
    """An account of the demonstration; its password is told to everybody."""

    sign_in_name: str
    printed_name: str
    role: str
    password: str


@dataclass(frozen=True)
class Demo:
    """An invented clinic. Among its accounts are a nurse and a physician."""

    clinic: str
    accounts: tuple[DemoAccount, ...]
    patients: tuple[DemoPatient, ...]


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


def read_demo(folder: Path, now: datetime) -> Demo:
    """Read the demonstration from its files, moved in time so that it ends by now.

    Raises: BadDemo.
    """
    file = folder / "clinic.toml"
    try:
        tables = tomllib.loads(file.read_text(encoding="utf-8"))
        as_of = _moment(tables["as_of"])
        # Whole days, so that the exams keep their time of day.
        moved = timedelta(days=(now - as_of).days)
        return Demo(
            clinic=tables["clinic"],
            accounts=_accounts(tables["account"]),
            patients=tuple(
                _patient(folder, table, moved, now.date()) for table in tables["patient"]
            ),
        )
    except BadDemo:
        raise
    except KeyError as missing:
        raise BadDemo(f"{file.name}: {missing} is missing") from missing
    except (OSError, ValueError) as fault:
        raise BadDemo(f"{file.name}: {fault}") from fault


def to_be_signed(session: Session, demo: Demo) -> list[tuple[str, DemoExam]]:
    """The exams of the demonstration that have an impression and are not signed, with their ids."""
    wanted = {
        (exact_key(person.new.chart_number), exam.started_at): exam
        for person in demo.patients
        for exam in person.exams
        if exam.impression
    }
    asked = select(ExamRow, PatientRow.chart_key).join(PatientRow).where(ExamRow.state == "open")
    return [
        (row.id, wanted[chart_key, row.started_at])
        for row, chart_key in session.exec(asked)
        if (chart_key, row.started_at) in wanted
    ]


def demo_recorder(session: Session, demo: Demo, role: str) -> Recorder | None:
    """Who records in this role; None where the demonstration's account is not there."""
    name = next(each.sign_in_name for each in demo.accounts if each.role == role)
    found = account_named(session, name)
    return None if found is None else Recorder(found.printed_name, role, found.id)


def _accounts(tables: list[Mapping[str, Any]]) -> tuple[DemoAccount, ...]:
    listed = tuple(
        DemoAccount(each["sign_in_name"], each["printed_name"], each["role"], each["password"])
        for each in tables
    )
    if not set(ROLES) <= {each.role for each in listed}:
        raise ValueError(f"there must be an account for each of {', '.join(ROLES)}")
    for each in listed:
        if not sign_in_key(each.sign_in_name).startswith(DEMO_PREFIX):
            # Otherwise nobody would know it again outside the demonstration.
            raise ValueError(f"{each.sign_in_name} does not begin with {DEMO_PREFIX}")
    return listed


def _patient(folder: Path, table: Mapping[str, Any], moved: timedelta, today: date) -> DemoPatient:
    raw = {key: value for key, value in table.items() if key != "exam"}
    raw["birth_date"] = (date.fromisoformat(raw["birth_date"]) + moved).isoformat()
    exams = tuple(
        DemoExam(
            exam=_exam(folder / "exams" / written["file"]),
            started_at=_moment(written["started_at"]) + moved,
            reason=written["reason"],
            impression=written.get("impression", ""),
            plan=written.get("plan", ""),
        )
        for written in table["exam"]
    )
    return DemoPatient(check_patient(raw, today), exams)


def _moment(written: datetime) -> datetime:
    if written.tzinfo is None:
        raise ValueError(f"{written} has no offset from UTC")
    return written


def _exam(file: Path) -> Exam:
    try:
        return parse_exam(file.read_bytes())
    except (OSError, BadExam) as fault:
        raise BadDemo(f"{file.name}: {fault}") from fault


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
    kept = start_exam(session, patient_id, nurse, demo_exam.reason, began)
    kept = _record_part(session, kept, exam, nurse, began)
    if exam.medicines is not None:
        kept = record_medicines(
            session,
            kept.id,
            exam.medicines,
            at_revision=kept.revision,
            recorder=nurse,
            now=began + 10 * MINUTE,
        )
    _record_part(session, kept, exam, physician, began + 15 * MINUTE)


def _record_part(
    session: Session, kept: ExamRecord, exam: Exam, recorder: Recorder, began: datetime
) -> ExamRecord:
    words = vocabulary()
    for place, station in enumerate(words.stations, start=1):
        part = {
            cell: value
            for cell, value in exam.cells.items()
            if words[cell[0]].station == station.id
            and words[cell[0]].nurse == (recorder.role == "nurse")
        }
        kept = record(
            session,
            kept.id,
            part,
            at_revision=kept.revision,
            recorder=recorder,
            now=began + place * MINUTE,
        )
    return kept
