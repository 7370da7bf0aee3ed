"""The limit: one bare durable commit; and a PostgreSQL that is as durable as a clinic's."""

import os
import shutil
import sqlite3
import subprocess
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from tempfile import mkdtemp

import psycopg

from tests.postgres import find_programs, somebody_else

USER = "evenhand"


def sqlite_commits(file: Path, journal: str) -> Callable[[float], list[float]]:
    """Insert and commit for some seconds, as durable as the program's file: milliseconds each.

    journal: WAL, as the program has it, or DELETE, as SQLite comes.
    """
    connection = sqlite3.connect(file, isolation_level=None)
    connection.execute(f"PRAGMA journal_mode = {journal}")
    connection.execute("PRAGMA synchronous = FULL")
    connection.execute("CREATE TABLE entry (id INTEGER PRIMARY KEY, says TEXT)")

    def one() -> None:
        connection.execute("BEGIN IMMEDIATE")
        connection.execute("INSERT INTO entry (says) VALUES (?)", ("x" * 100,))
        connection.execute("COMMIT")

    return lambda seconds: _timed(one, seconds)


def postgresql_commits(conninfo: str) -> Callable[[float], list[float]]:
    """The same on PostgreSQL."""
    connection = psycopg.connect(conninfo)
    connection.execute("CREATE TABLE bare (id BIGSERIAL PRIMARY KEY, says TEXT)")
    connection.commit()

    def one() -> None:
        connection.execute("INSERT INTO bare (says) VALUES (%s)", ("x" * 100,))
        connection.commit()

    return lambda seconds: _timed(one, seconds)


def _timed(one: Callable[[], None], seconds: float) -> list[float]:
    took, until = [], time.perf_counter() + seconds
    while (started := time.perf_counter()) < until:
        one()
        took.append((time.perf_counter() - started) * 1000)
    return took


@contextmanager
def postgresql(folder: Path) -> Iterator[Path | None]:
    """A PostgreSQL with its own settings, on the same disk: the folder of its socket.

    None where PostgreSQL is not installed. That of the tests does not wait for the disk.
    """
    programs = find_programs()
    if programs is None:
        yield None
        return
    home = Path(mkdtemp(prefix="pg-", dir=folder))
    as_user: list[str] = []
    if os.geteuid() == 0:
        # PostgreSQL refuses to run as root.
        user = somebody_else()
        shutil.chown(home, user)
        as_user = ["runuser", "-u", user, "--"]
    data = home / "data"

    def run(program: str, *words: str) -> None:
        subprocess.run(
            [*as_user, str(programs / program), f"--pgdata={data}", *words],
            cwd=home,
            check=True,
            stdout=subprocess.DEVNULL,
        )

    run("initdb", f"--username={USER}", "--auth=trust", "--encoding=UTF8", "--locale=C.UTF-8")
    options = f"-c listen_addresses='' -c unix_socket_directories='{home}'"
    run("pg_ctl", "start", "--wait", f"--log={home}/log", f"--options={options}")
    try:
        yield home
    finally:
        run("pg_ctl", "stop", "--mode=fast")
