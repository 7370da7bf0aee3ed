"""An export of signed exams: from the database into files, all of them or none, and noted."""

import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from sqlalchemy import Engine

from app.knowledge.load import Knowledge, knowledge
from app.language.words import ENGLISH, speaking
from app.report.data.columns import Form, tables
from app.report.data.dictionary import dictionary_rows, dictionary_table, readme
from app.report.data.files import CsvSink, sinks
from app.report.data.rows import BadContent, Naming, Row, Signed, rows_of
from app.store.actor import Actor
from app.store.audit import note
from app.store.engine import reading, writing
from app.store.export_key import export_key
from app.store.new_folder import check_free
from app.store.refusals import Unreadable
from app.store.signed_pieces import signed_exams

README = "README.txt"
SHORTEST_KEY = 32


@dataclass(frozen=True)
class Asked:
    """What is to be exported. format_: csv or parquet. key: instead of the one of the database."""

    form: Form
    format_: str
    key: bytes | None = None


@dataclass(frozen=True)
class Exported:
    """How many signed exams there were, and how many rows of each table."""

    exams: int
    rows: dict[str, int]

    def __str__(self) -> str:
        """One line."""
        rows = ", ".join(f"{count} rows of {table}" for table, count in self.rows.items())
        return f"{self.exams} signed exams: {rows}"


@contextmanager
def exported(
    engine: Engine, asked: Asked, actor: Actor, beside: Path | None = None
) -> Iterator[tuple[Path, Exported]]:
    """A new folder with the export, which the audit has noted; it is gone at the end if it was not
    moved away.

    beside: where the folder is made; None for the system's place for temporary files.
    Raises: OSError, Unreadable; the refusals of the database.
    """
    try:
        folder = Path(tempfile.mkdtemp(prefix=".evenhand-export-", dir=beside))
    except OSError as error:
        raise OSError(f"{beside or tempfile.gettempdir()}: {error.strerror}") from error
    try:
        done = _write(engine, folder, asked)
        with writing(engine) as session:
            note(
                session,
                actor,
                "export",
                at=datetime.now(UTC),
                detail={"kind": asked.form.value, "format": asked.format_, **done.rows},
            )
        yield folder, done
    finally:
        shutil.rmtree(folder, ignore_errors=True)


def export_to(engine: Engine, folder: Path, asked: Asked, actor: Actor) -> Exported:
    """Write an export into a folder that is empty or not there yet: all of it or nothing.

    Raises: OSError, FileExistsError among them; Unreadable; the refusals of the database.
    """
    folder = folder.resolve()
    check_free(folder)
    with exported(engine, asked, actor, folder.parent) as (made, done):
        # Refused by the system where anything was put there meanwhile.
        made.rename(folder)
    return done


def read_key(file: Path) -> bytes:
    """A key for made-up names, from a file that somebody keeps.

    Raises: OSError; ValueError, where it is too short to be one.
    """
    key = file.read_bytes().strip()
    if len(key) < SHORTEST_KEY:
        raise ValueError(f"{file}: a key has at least {SHORTEST_KEY} characters")
    return key


@speaking(ENGLISH)
def _write(engine: Engine, folder: Path, asked: Asked) -> Exported:
    naming, known = Naming(_key(engine, asked)), knowledge()
    shown = tables(known, asked.form)
    counts = {table.name: 0 for table in shown}
    with reading(engine) as session, sinks(folder, shown, asked.format_) as into:
        for each in signed_exams(session):
            signed = Signed(each.exam_id, each.contents, each.hashes)
            for table, rows in _rows(signed, naming, known).items():
                counts[table] += len(rows)
                for row in rows:
                    into[table].write(row)
    done = Exported(counts["exams"], counts)
    # Always for people, so in CSV beside Parquet, too.
    dictionary = CsvSink(folder / "dictionary.csv", dictionary_table())
    for row in dictionary_rows(known, asked.form):
        dictionary.write(row)
    dictionary.close()
    (folder / README).write_text(readme(known, asked.form, f"{done}."), encoding="utf-8")
    return done


def _rows(signed: Signed, naming: Naming, known: Knowledge) -> dict[str, list[Row]]:
    try:
        return rows_of(signed, naming, known)
    except BadContent as bad:
        raise Unreadable(str(bad)) from bad


def _key(engine: Engine, asked: Asked) -> bytes | None:
    if asked.form is Form.IDENTIFIED:
        return None
    if asked.key is not None:
        return asked.key
    with writing(engine) as session:
        return export_key(session, datetime.now(UTC))
