"""A small invented clinic for the tests of the store."""

from collections.abc import Mapping
from datetime import UTC, datetime, timedelta
from threading import Thread

from sqlalchemy import Engine, text

from app.exam.record import Cell, Recorded
from app.store.actor import Recorder
from app.store.engine import reading, writing
from app.store.entries import mark_rest_normal, record
from app.store.exams import ExamRecord, exam_record, start_exam
from app.store.patients import PatientCard, add_patient, check_patient

NURSE = Recorder("Ngozi Testwell", "nurse")
PHYSICIAN = Recorder("Dr Per Prøve", "physician")
NOW = datetime(2026, 3, 4, 9, 30, 15, 123456, tzinfo=UTC)
TODAY = NOW.date()
MINUTE = timedelta(minutes=1)


def form(**changed: str) -> dict[str, str]:
    """A form for a new patient as a browser sends it."""
    typed = {
        "chart_number": "T-1",
        "family_name": "Mustermann",
        "given_name": "Erika",
        "birth_date": "1950-05-06",
        "sex": "female",
    }
    return typed | changed


def a_patient(engine: Engine, **changed: str) -> PatientCard:
    """Add a patient."""
    with writing(engine) as session:
        return add_patient(session, check_patient(form(**changed), TODAY), NOW)


def an_exam(engine: Engine, started_at: datetime = NOW, **changed: str) -> ExamRecord:
    """Start an exam of a new patient."""
    patient_id = a_patient(engine, **changed).id
    with writing(engine) as session:
        return start_exam(session, patient_id, NURSE, "shaky hands", started_at)


def write(
    engine: Engine,
    exam_id: str,
    changes: Mapping[Cell, Recorded | None],
    at_revision: int,
    recorder: Recorder = PHYSICIAN,
    now: datetime = NOW,
) -> ExamRecord:
    """Record in a transaction of its own, as one request does."""
    with writing(engine) as session:
        return record(
            session, exam_id, changes, at_revision=at_revision, recorder=recorder, now=now
        )


def rest_normal(
    engine: Engine,
    exam_id: str,
    station: str,
    at_revision: int,
    recorder: Recorder = PHYSICIAN,
) -> ExamRecord:
    """Mark the rest of a station normal in a transaction of its own."""
    with writing(engine) as session:
        return mark_rest_normal(
            session, exam_id, station, at_revision=at_revision, recorder=recorder, now=NOW
        )


def stored(engine: Engine, exam_id: str, at_revision: int | None = None) -> ExamRecord:
    """The exam as another request reads it."""
    with reading(engine) as session:
        return exam_record(session, exam_id, at_revision=at_revision)


def wait_until_blocked(engine: Engine, other: Thread) -> None:
    """Wait until the other thread waits for our transaction; SQLite cannot be asked."""
    if engine.dialect.name == "postgresql":
        waiting = text("SELECT count(*) FROM pg_locks WHERE NOT granted")
        with engine.connect().execution_options(isolation_level="AUTOCOMMIT") as connection:
            while other.is_alive() and connection.execute(waiting).scalar_one() == 0:
                pass
    assert other.is_alive()
