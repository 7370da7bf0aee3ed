"""Invented people and exams, loaded through the same functions as real ones."""

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from pathlib import Path
from typing import Any

from sqlalchemy import Engine
from sqlmodel import Session, col, func, select

from app.exam.reading import BadExam, parse_exam
from app.exam.record import Exam
from app.exam.vocabulary import vocabulary
from app.store.actor import Recorder
from app.store.engine import one_at_a_time, writing
from app.store.entries import record, record_medicines
from app.store.exams import ExamRecord, start_exam
from app.store.patients import NewPatient, add_patient, check_patient
from app.store.refusals import BadForm
from app.store.tables import PatientRow

MINUTE = timedelta(minutes=1)


class BadDemo(ValueError):
    """The demonstration cannot be loaded; the message names the file."""


@dataclass(frozen=True)
class DemoExam:
    """One exam of the demonstration, with the moment at which it began."""

    exam: Exam
    started_at: datetime
    reason: str


@dataclass(frozen=True)
class DemoPatient:
    """One person of the demonstration and their exams, oldest first."""

    new: NewPatient
    exams: tuple[DemoExam, ...]


@dataclass(frozen=True)
class Demo:
    """An invented clinic."""

    clinic: str
    nurse: Recorder
    physician: Recorder
    patients: tuple[DemoPatient, ...]


def load_demo(engine: Engine, folder: Path, now: datetime) -> int:
    """Add the invented patients with their exams; nothing where there are patients already.

    Returns how many patients were added. All dates are moved so that the newest is recent.
    Raises: BadDemo, with nothing loaded.
    """
    demo = read_demo(folder, now)
    with writing(engine) as session:
        one_at_a_time(session.connection())
        if session.exec(select(func.count(col(PatientRow.id)))).one() > 0:
            return 0
        for person in demo.patients:
            try:
                patient_id = add_patient(session, person.new, person.exams[0].started_at).id
            except BadForm as fault:
                raise BadDemo(f"clinic.toml: {fault}") from fault
            for exam in person.exams:
                _load_exam(session, patient_id, exam, demo)
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
            nurse=Recorder(tables["nurse"], "nurse"),
            physician=Recorder(tables["physician"], "physician"),
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


def _patient(folder: Path, table: Mapping[str, Any], moved: timedelta, today: date) -> DemoPatient:
    raw = {key: value for key, value in table.items() if key != "exam"}
    raw["birth_date"] = (date.fromisoformat(raw["birth_date"]) + moved).isoformat()
    exams = tuple(
        DemoExam(
            exam=_exam(folder / "exams" / written["file"]),
            started_at=_moment(written["started_at"]) + moved,
            reason=written["reason"],
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


def _load_exam(session: Session, patient_id: str, demo_exam: DemoExam, demo: Demo) -> None:
    """Record an exam station by station: first the nurse's part, then the physician's."""
    exam = demo_exam.exam
    began = demo_exam.started_at
    kept = start_exam(session, patient_id, demo.nurse, demo_exam.reason, began)
    kept = _record_part(session, kept, exam, demo.nurse, began)
    if exam.medicines is not None:
        kept = record_medicines(
            session,
            kept.id,
            exam.medicines,
            at_revision=kept.revision,
            recorder=demo.nurse,
            now=began + 10 * MINUTE,
        )
    _record_part(session, kept, exam, demo.physician, began + 15 * MINUTE)


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
