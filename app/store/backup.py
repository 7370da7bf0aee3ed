"""A backup: the whole database at one moment, with a manifest, while others go on writing."""

import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from sqlalchemy import Engine, text
from sqlmodel import Session

from app.store import postgresql_tools, sqlite_file
from app.store.actor import Actor
from app.store.audit import note
from app.store.engine import heads, make_engine, reading, writing
from app.store.manifest import COPIES, MANIFEST, Kind, Manifest, contents_of, kept_files
from app.store.new_folder import new_folder
from app.store.refusals import Busy
from app.store.verify import verify

SEAL = "evenhand-seal.p12"


@dataclass(frozen=True)
class Versions:
    """Of the program and of what it knows."""

    program: str
    knowledge: str


def back_up(
    engine: Engine, folder: Path, versions: Versions, actor: Actor, seal: Path | None = None
) -> tuple[Manifest, Busy | None]:
    """Write a backup into a folder that is new or empty: all of it or nothing.

    seal: the file with the seal's key, where it is to lie in the backup as well.
    The second: why the audit does not tell of it. A database that cannot be written, because it is
    full or a replica, is the one of which a backup is wanted most.
    Raises: OSError, FileExistsError among them; Unreadable; the refusals of the database.
    """
    with new_folder(folder) as made:
        unnoted = None
        try:
            with writing(engine) as session:
                note(session, actor, "backup", at=datetime.now(UTC), detail={"seal": bool(seal)})
        except Busy as busy:
            unnoted = busy
        made_at = datetime.now(UTC)
        kind: Kind = "sqlite" if engine.dialect.name == "sqlite" else "postgresql"
        with _copied(engine, made / COPIES[kind]) as (session, written_by):
            contents = contents_of(session.connection())
            altered = len(verify(session).alterations)
        if kind == "sqlite":
            # Whoever reads a database in WAL mode makes files beside it.
            sqlite_file.make_single(made / COPIES[kind])
        if seal is not None:
            shutil.copyfile(seal, made / SEAL)
        manifest = Manifest(
            made_at=made_at,
            program=versions.program,
            knowledge=versions.knowledge,
            tables=", ".join(heads()),
            database=kind,
            written_by=written_by,
            files=kept_files(made),
            contents=contents,
            altered=altered,
        )
        (made / MANIFEST).write_text(manifest.model_dump_json(indent=2) + "\n", encoding="utf-8")
    return manifest, unnoted


@contextmanager
def _copied(engine: Engine, into: Path) -> Iterator[tuple[Session, str]]:
    """Copy, and read the very moment that was copied. The second: the program that copied."""
    if engine.dialect.name == "sqlite":
        sqlite_file.copy(engine, into)
        copied = make_engine(f"sqlite:///{into}")
        try:
            with reading(copied) as session:
                version = session.connection().execute(text("SELECT sqlite_version()"))
                yield session, f"SQLite {version.scalar_one()}"
        finally:
            copied.dispose()
        return
    written_by = postgresql_tools.version_of("pg_dump")
    with reading(engine) as session:
        exported = session.connection().execute(text("SELECT pg_export_snapshot()"))
        postgresql_tools.dump(engine, exported.scalar_one(), into)
        yield session, written_by
