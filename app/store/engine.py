"""The database: how it is opened, brought up to date, and read and written in transactions."""

import os
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path
from threading import Lock
from typing import Any

from alembic import command
from alembic.config import Config
from alembic.migration import MigrationContext
from alembic.script import ScriptDirectory
from alembic.util import CommandError
from sqlalchemy import URL, Connection, Engine, create_engine, event, make_url, text
from sqlalchemy.exc import ArgumentError, OperationalError
from sqlmodel import Session

from app.store.audit import begin_chain, seal
from app.store.refusals import Busy, Unreadable

# How long a write waits for another one before it gives up with Busy.
WAIT_MS = 10_000
MIGRATIONS = Path(__file__).parent / "migrations"
# Any number will do, as long as every server takes the same one.
ONE_AT_A_TIME = 7_302_211
# Alembic keeps the running migration in a module, so one process migrates once at a time.
_migrating = Lock()


def make_engine(url: str) -> Engine:
    """Open a database: `sqlite:///file` or `postgresql+psycopg://…`.

    A missing SQLite file is made, readable for its owner alone.
    Raises: ValueError, where the address is neither.
    """
    address = parse_address(url)
    return _sqlite(address) if address.drivername == "sqlite" else _postgresql(address)


def parse_address(url: str) -> URL:
    """The address of a database, before anything is opened or made.

    Raises: ValueError, where it is none that the program can use.
    """
    try:
        address = make_url(url)
    except ArgumentError:
        raise ValueError("not the address of a database: use sqlite:///file") from None
    if address.drivername in ("postgresql", "postgresql+psycopg"):
        return address.set(drivername="postgresql+psycopg")
    if address.drivername != "sqlite":
        raise ValueError(
            f"{address.drivername} databases are not supported: "
            "use sqlite:///file or postgresql+psycopg://…"
        )
    if address.database in (None, "", ":memory:"):
        raise ValueError("sqlite needs a file, as in sqlite:///evenhand.db")
    return address


def migrate(engine: Engine) -> None:
    """Bring the tables up to date; several servers may do so at the same time.

    Raises: Unreadable, where a newer version of the program has already changed the tables.
    """
    config = Config()
    config.set_main_option("script_location", str(MIGRATIONS).replace("%", "%%"))
    with _migrating, _writing(engine).connect() as connection, connection.begin():
        one_at_a_time(connection)
        config.attributes["connection"] = connection
        try:
            command.upgrade(config, "head")
        except CommandError as error:
            raise Unreadable(
                f"the tables of this database do not belong to this version: {error}"
            ) from error
        with Session(connection) as session:
            begin_chain(session, datetime.now(UTC))


def check_current(engine: Engine) -> None:
    """Refuse a database whose tables are not those of this version, without changing it.

    Raises: Unreadable.
    """
    with engine.connect() as connection:
        found = MigrationContext.configure(connection).get_current_heads()
    if found != tuple(ScriptDirectory(str(MIGRATIONS)).get_heads()):
        raise Unreadable(
            "the tables of this database are not those of this version: start the server once"
        )


@contextmanager
def writing(engine: Engine) -> Iterator[Session]:
    """A session that is committed at the end, or undone whole where anything goes wrong.

    What was noted for the audit is sealed into it in the same transaction.

    Raises: Busy, where another write held what this one needs for too long.
    """
    with Session(_writing(engine)) as session:
        try:
            # Taken at once: a transaction that begins by reading cannot always go on to write.
            session.connection()
            yield session
            seal(session)
            session.commit()
        except BaseException as error:
            # Closing is not enough: where a commit fails, SQLAlchemy hands the connection back to
            # the others with its transaction open, and on SQLite nobody else could write.
            session.rollback()
            if isinstance(error, OperationalError) and _is_busy(error):
                raise Busy("the database is busy; nothing was saved, try again") from error
            raise


@contextmanager
def reading(engine: Engine) -> Iterator[Session]:
    """A session that sees one moment of the database, holds up no write and cannot write."""
    if engine.dialect.name == "postgresql":
        engine = engine.execution_options(
            isolation_level="REPEATABLE READ", postgresql_readonly=True
        )
    with Session(engine) as session:
        yield session


def one_at_a_time(connection: Connection) -> None:
    """Wait until no other transaction is past this call; hold it up to the end of this one.

    On SQLite every writing transaction is alone already.
    """
    if connection.dialect.name == "postgresql":
        connection.execute(text("SELECT pg_advisory_xact_lock(:key)"), {"key": ONE_AT_A_TIME})


def _writing(engine: Engine) -> Engine:
    return engine.execution_options(evenhand_writes=True)


def _postgresql(address: URL) -> Engine:
    return create_engine(
        address,
        pool_pre_ping=True,
        pool_size=10,
        max_overflow=10,
        connect_args={"options": f"-c lock_timeout={WAIT_MS}"},
    )


def _sqlite(address: URL) -> Engine:
    path = Path(str(address.database))
    path.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
    # SQLite gives its side files the permissions of this one.
    os.close(os.open(path, os.O_RDWR | os.O_CREAT, 0o600))
    engine = create_engine(
        address,
        # A request may be served by more than one thread in turn; never by two at once.
        connect_args={"check_same_thread": False},
        # Connections are cheap here, and there is one for each of the server's 40 threads.
        pool_size=10,
        max_overflow=30,
    )
    event.listen(engine, "connect", _prepare_sqlite)
    event.listen(engine, "begin", _begin_sqlite)
    return engine


def _prepare_sqlite(connection: sqlite3.Connection, _record: Any) -> None:
    # Python's own transactions begin too late and would end before a change of tables.
    connection.isolation_level = None
    # The wait comes first, because changing the journal may have to wait.
    connection.execute(f"PRAGMA busy_timeout = {WAIT_MS}")
    connection.execute("PRAGMA journal_mode = WAL")
    connection.execute("PRAGMA synchronous = FULL")
    connection.execute("PRAGMA foreign_keys = ON")
    # Without it INSERT OR REPLACE deletes a row and its trigger is never asked.
    connection.execute("PRAGMA recursive_triggers = ON")


def _begin_sqlite(connection: Connection) -> None:
    writes = connection.get_execution_options().get("evenhand_writes", False)
    connection.exec_driver_sql(f"PRAGMA query_only = {'OFF' if writes else 'ON'}")
    connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")


def _is_busy(error: OperationalError) -> bool:
    if isinstance(error.orig, sqlite3.OperationalError):
        # The lower byte is the kind of fault, the rest its details.
        return error.orig.sqlite_errorcode & 0xFF == sqlite3.SQLITE_BUSY
    # lock_not_available, deadlock_detected
    return getattr(error.orig, "sqlstate", None) in ("55P03", "40P01")
