"""A SQLite database as one file: copied while others write, and put in its place."""

import os
import sqlite3
from contextlib import closing, suppress
from pathlib import Path

from sqlalchemy import Engine

from app.store.new_folder import to_disk
from app.store.refusals import Unreadable

# What SQLite keeps beside a database; a stray one would be read into another database.
BESIDE = ("-wal", "-shm", "-journal")


def copy(engine: Engine, into: Path) -> None:
    """Copy the database as it is at one moment; in WAL mode nobody waits for it."""
    os.close(os.open(into, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600))
    # A connection of its own, without the wait that only a program that writes needs.
    database = str(engine.url.database)
    with closing(sqlite3.connect(database)) as source, closing(sqlite3.connect(into)) as target:
        # All pages in one step: between two steps another process's write would begin it anew.
        source.backup(target, pages=-1)
    make_single(into)


def make_single(file: Path) -> None:
    """Bring everything of a database that nobody uses into its one file.

    Raises: Unreadable, where its pages do not fit together or somebody uses it.
    """
    with closing(sqlite3.connect(file, isolation_level=None)) as opened:
        try:
            mode = opened.execute("PRAGMA journal_mode = DELETE").fetchone()[0]
            faults = [row[0] for row in opened.execute("PRAGMA quick_check(1)")]
        except sqlite3.Error as error:
            raise Unreadable(f"the SQLite database {file.name} is damaged: {error}") from error
    if mode != "delete":
        raise Unreadable(f"the SQLite database {file.name} is in use")
    if faults != ["ok"]:
        raise Unreadable(f"the SQLite database {file.name} is damaged: {faults[0]}")


def check_place(file: Path) -> None:
    """Refuse a place where a database is, or where one has left something.

    Raises: FileExistsError.
    """
    for each in (file, *(file.with_name(file.name + end) for end in BESIDE)):
        if each.exists():
            raise FileExistsError(
                f"{each} is there: a backup is restored beside nothing; move it away first"
            )


def put_in_place(made: Path, file: Path) -> None:
    """Give a finished database its name, over nothing and at once.

    Raises: FileExistsError.
    """
    to_disk(made)
    try:
        os.link(made, file)
    except FileExistsError:
        raise FileExistsError(f"{file} was put there meanwhile; nothing was restored") from None
    with suppress(FileNotFoundError):
        made.unlink()
    to_disk(file.parent)
