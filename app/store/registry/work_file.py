"""What a reassessment has found so far, in a file of its own that it can go on from.

A SQLite file: the exams that read differently, and the last exam that was looked at. Both are
written in one transaction a batch, so that a run that is killed leaves whole batches.
"""

import json
import sqlite3
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import asdict, dataclass
from pathlib import Path

from app.assess.reassessed import Change


class OtherWork(ValueError):
    """The file holds something else; the message says what."""


@dataclass(frozen=True)
class Differs:
    """A signed exam that reads differently, with what does, worst first."""

    exam_id: str
    signed_on: str
    knowledge: str
    changes: tuple[Change, ...]


class WorkFile:
    """The file of one reassessment, open."""

    def __init__(self, database: sqlite3.Connection) -> None:
        self._database = database

    @property
    def seen(self) -> tuple[str, int]:
        """The id of the last exam that was looked at, "" before the first; how many were."""
        after, seen = self._database.execute("SELECT after, seen FROM progress").fetchone()
        return str(after), int(seen)

    @property
    def differing(self) -> int:
        """How many exams read differently."""
        return int(self._database.execute("SELECT count(*) FROM differs").fetchone()[0])

    def keep(self, found: Iterable[Differs], after: str, count: int) -> None:
        """Write down a batch: what reads differently in it, its last exam, how many it had."""
        with self._database:
            self._database.executemany(
                "INSERT INTO differs VALUES (?, ?, ?, ?, ?)",
                (
                    (
                        each.changes[0].rank,
                        each.exam_id,
                        each.signed_on,
                        each.knowledge,
                        json.dumps([asdict(change) for change in each.changes]),
                    )
                    for each in found
                ),
            )
            self._database.execute("UPDATE progress SET after = ?, seen = seen + ?", (after, count))

    def worst_first(self) -> Iterator[Differs]:
        """What was found, from new emergencies down."""
        asked = "SELECT exam, signed_on, knowledge, changes FROM differs ORDER BY rank, exam"
        for exam_id, signed_on, knowledge, listed in self._database.execute(asked):
            changes = tuple(Change(**each) for each in json.loads(listed))
            yield Differs(exam_id, signed_on, knowledge, changes)


@contextmanager
def work_file(file: Path | None, about: str) -> Iterator[WorkFile]:
    """Open a file, or make it. None: a temporary one. about: what the work is about, word for word.

    Raises: OtherWork, where the file is about something else.
    """
    if file is not None:
        try:
            # For its owner alone.
            file.touch(0o600)
        except OSError as error:
            raise OtherWork(f"{file}: {error.strerror}") from error
    # Without a name SQLite keeps it in a temporary file, not in memory.
    database = sqlite3.connect("" if file is None else str(file))
    try:
        try:
            _prepare(database, about)
        except sqlite3.DatabaseError as error:
            raise OtherWork(f"{file}: not a file that a reassessment wrote: {error}") from error
        held = database.execute("SELECT about FROM progress").fetchone()[0]
        if held != about:
            raise OtherWork(f"{file}: begun for {held}, and this is {about}; name another file")
        yield WorkFile(database)
    finally:
        database.close()


def _prepare(database: sqlite3.Connection, about: str) -> None:
    tables = {name for (name,) in database.execute("SELECT name FROM sqlite_master")}
    if tables and "progress" not in tables:
        raise sqlite3.DatabaseError("it has other tables")
    with database:
        database.execute(
            "CREATE TABLE IF NOT EXISTS differs (rank INTEGER NOT NULL, exam TEXT NOT NULL, "
            "signed_on TEXT NOT NULL, knowledge TEXT NOT NULL, changes TEXT NOT NULL, "
            "PRIMARY KEY (rank, exam)) WITHOUT ROWID"
        )
        database.execute(
            "CREATE TABLE IF NOT EXISTS progress (about TEXT, after TEXT, seen INTEGER)"
        )
        if database.execute("SELECT count(*) FROM progress").fetchone() == (0,):
            database.execute("INSERT INTO progress VALUES (?, '', 0)", (about,))
