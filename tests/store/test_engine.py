"""How the database is opened, and what a transaction promises."""

import os
import sqlite3
import stat
from contextlib import ExitStack
from pathlib import Path

import psycopg
import pytest
from sqlalchemy import Engine, text
from sqlalchemy.exc import DBAPIError
from sqlmodel import Session, select

import app.store.engine
from app.store.engine import close, make_engine, migrate, reading, writing
from app.store.exams import start_exam, worklist
from app.store.lasting import not_lasting
from app.store.patients import add_patient, check_patient, find_patients
from app.store.refusals import Busy
from app.store.tables import ExamRow
from tests.store.clinic import NOW, NURSE, TODAY, a_patient, an_exam, form, stored, write

# https://www.sqlite.org/pragma.html: synchronous 2 is FULL, the others are on or off.
PRAGMAS = {
    "busy_timeout": 10_000,
    "journal_mode": "wal",
    "synchronous": 2,
    "foreign_keys": 1,
    "recursive_triggers": 1,
}


@pytest.fixture
def file_engine(tmp_path: Path) -> Engine:
    """A SQLite file in a folder that does not exist yet."""
    return make_engine(f"sqlite:///{tmp_path / 'new' / 'evenhand.db'}")


def test_every_sqlite_connection_is_set_up_alike(file_engine: Engine) -> None:
    """PRAGMAs belong to a connection; one that lacks them would lose data in silence."""
    with ExitStack() as opened:
        connections = [opened.enter_context(file_engine.connect()) for _ in range(12)]
        seen = [
            {name: each.exec_driver_sql(f"PRAGMA {name}").scalar() for name in PRAGMAS}
            for each in connections
        ]

    assert [PRAGMAS] * 12 == seen


def test_the_sqlite_file_is_for_its_owner_alone(file_engine: Engine, tmp_path: Path) -> None:
    """It holds patients; the side files of WAL mode hold them too."""
    migrate(file_engine)
    with file_engine.connect() as connection:
        connection.execute(text("SELECT 1 FROM patient"))
        modes = {
            entry.name: stat.S_IMODE(entry.stat().st_mode) for entry in os.scandir(tmp_path / "new")
        }

    assert {"evenhand.db": 0o600, "evenhand.db-wal": 0o600, "evenhand.db-shm": 0o600} == modes


@pytest.mark.parametrize(
    ("url", "says"),
    [
        ("mysql://clinic", "mysql databases are not supported"),
        ("sqlite+aiosqlite:///clinic.db", "sqlite+aiosqlite databases are not supported"),
        ("clinic.db", "not the address of a database"),
        ("", "not the address of a database"),
        ("sqlite://", "sqlite needs a file"),
        ("sqlite:///:memory:", "sqlite needs a file"),
    ],
)
def test_an_address_of_another_kind_is_refused(url: str, says: str) -> None:
    """A memory database would forget everything at the end, another product is untested."""
    with pytest.raises(ValueError, match=says.replace("+", r"\+")):
        make_engine(url)


def test_the_short_address_of_postgresql_means_the_same() -> None:
    """Hosting services hand out postgresql://, which would load a driver that is not here."""
    assert "psycopg" == make_engine("postgresql://nobody@localhost/none").driver


def test_a_write_that_fails_leaves_nothing(engine: Engine) -> None:
    """Half a write would be an exam that nobody did."""

    def fail_half_way() -> None:
        with writing(engine) as session:
            new = add_patient(session, check_patient(form(), TODAY), NOW)
            start_exam(session, new.id, NURSE, "", NOW)
            raise ZeroDivisionError

    with pytest.raises(ZeroDivisionError):
        fail_half_way()

    with reading(engine) as session:
        assert [] == find_patients(session, "")
        assert [] == worklist(session)


def test_a_reading_session_cannot_write(engine: Engine) -> None:
    """It takes no lock, so what it wrote could overwrite somebody."""
    exam = an_exam(engine)
    with reading(engine) as session:
        row = session.exec(select(ExamRow)).one()
        row.reason = "changed"
        session.add(row)
        with pytest.raises(DBAPIError, match=r"read-?only"):
            session.flush()

    assert exam == stored(engine, exam.id)


def test_a_connection_that_read_can_write_again(engine: Engine) -> None:
    """Connections go back to a pool; what a reader set must not stay behind."""
    for number in range(3):
        with reading(engine) as session:
            find_patients(session, "")
        a_patient(engine, chart_number=f"T-{number}")

    with reading(engine) as session:
        assert 3 == len(find_patients(session, ""))


def test_a_reader_holds_up_no_write_and_sees_one_moment(engine: Engine) -> None:
    """A page is built from several questions; all are answered as of the first."""
    exam = an_exam(engine)
    with reading(engine) as session:
        before = worklist(session)
        after = write(engine, exam.id, {("tug_s", None): 9}, at_revision=0)

        assert before == worklist(session)
    assert after == stored(engine, exam.id)


def test_a_write_that_waits_too_long_says_that_nothing_was_saved(
    url: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The user learns it and can try again, instead of an error without words."""
    monkeypatch.setattr(app.store.engine, "WAIT_MS", 20)
    engine = make_engine(url)
    exam = an_exam(engine)
    with writing(engine) as session:
        lock = select(ExamRow).where(ExamRow.id == exam.id).with_for_update()
        session.exec(lock).one()
        with pytest.raises(Busy, match="nothing was saved"):
            write(engine, exam.id, {("tug_s", None): 9}, at_revision=0)

    assert exam == stored(engine, exam.id)
    engine.dispose()


def test_a_session_that_is_not_for_writing_cannot_write_to_sqlite(file_engine: Engine) -> None:
    """Every write goes through `writing`, which takes the lock first."""
    migrate(file_engine)
    new = check_patient(form(), TODAY)
    with Session(file_engine) as session, pytest.raises(DBAPIError, match="readonly"):
        add_patient(session, new, NOW)
    file_engine.dispose()


def test_a_commit_that_fails_leaves_the_database_free(file_engine: Engine) -> None:
    """A transaction left open on a pooled connection would keep every other write out."""
    migrate(file_engine)
    with pytest.raises(DBAPIError, match="FOREIGN KEY"):
        alert_of_no_exam(file_engine)

    assert [] == a_worklist(file_engine)
    assert "Erika" == a_patient(file_engine).given_name


def alert_of_no_exam(engine: Engine) -> None:
    """Write a row whose exam is missing, which is found at the commit and not at the statement."""
    orphan = (
        "INSERT INTO alert (exam_id, warnings, since) "
        "VALUES ('none', '[]', '2026-03-04 09:30:00.000000')"
    )
    with writing(engine) as session:
        session.connection().execute(text("PRAGMA defer_foreign_keys = ON"))
        session.connection().execute(text(orphan))


def a_worklist(engine: Engine) -> list[str]:
    """The ids of the exams, as the next request reads them."""
    with reading(engine) as session:
        return [row.exam_id for row in worklist(session)]


def test_a_connection_that_a_request_still_holds_is_closed_when_it_comes_back(
    engine: Engine,
) -> None:
    """A server that stops while somebody is answered left it to chance when it was closed."""
    with engine.connect() as held:
        theirs = held.connection.dbapi_connection
        close(engine)
        # The answer is still finished.
        assert 1 == held.scalar(text("SELECT 1"))
    assert theirs

    with pytest.raises((sqlite3.ProgrammingError, psycopg.OperationalError), match="closed"):
        theirs.cursor().execute("SELECT 1")


def test_a_database_that_may_lose_what_it_acknowledged_is_named(url: str) -> None:
    """Whoever runs it reads so on the console; the tests' own PostgreSQL need not survive."""
    engine = make_engine(url)
    risks = not_lasting(engine)
    engine.dispose()
    if engine.dialect.name == "sqlite":
        assert [] == risks
        return
    settings = ("fsync", "full_page_writes", "synchronous_commit")
    assert [True] * 3 == [
        f"{name} = off" in risk for name, risk in zip(settings, risks, strict=True)
    ]
