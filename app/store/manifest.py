"""The manifest of a backup: what lies in it, and what the database was when it was made.

It is written last, so that a folder without one is no backup. It names no patient.
"""

from pathlib import Path
from typing import Literal

from pydantic import AwareDatetime, BaseModel, ConfigDict, Field, ValidationError
from sqlalchemy import Connection, func, inspect, select, table, text

from app.store.new_folder import file_sha256
from app.store.refusals import Unreadable

MANIFEST = "manifest.json"
# Alembic's own table: its one row is told as the version of the tables.
VERSION_TABLE = "alembic_version"
Kind = Literal["sqlite", "postgresql"]
# The copy of the database, by its kind.
COPIES: dict[Kind, str] = {"sqlite": "evenhand.sqlite3", "postgresql": "evenhand.pgdump"}
SHOWN = {"sqlite": "SQLite", "postgresql": "PostgreSQL"}


class _Part(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


class KeptFile(_Part):
    """A file of the backup."""

    sha256: str = Field(pattern="^[0-9a-f]{64}$")
    bytes: int = Field(ge=0)


class Contents(_Part):
    """What a database holds. rows: of each table; audit_head: number and hash of the newest row."""

    rows: dict[str, int]
    audit_rows: int
    audit_head: str


class Manifest(_Part):
    """All that a backup says of itself.

    tables: the version of the tables. written_by: the database's own program, with its version.
    altered: how many alterations `evenhand verify` would have named then.
    """

    backup: Literal[1] = 1
    made_at: AwareDatetime
    program: str
    knowledge: str
    tables: str
    database: Kind
    written_by: str
    files: dict[str, KeptFile]
    contents: Contents
    altered: int

    @property
    def copy_name(self) -> str:
        """The file with the database."""
        return COPIES[self.database]


def contents_of(connection: Connection) -> Contents:
    """Count what a database holds, whatever the version of its tables."""
    names = sorted(set(inspect(connection).get_table_names()) - {VERSION_TABLE})
    rows = {
        name: connection.execute(select(func.count()).select_from(table(name))).scalar_one()
        for name in names
    }
    head = "0"
    if "audit" in rows:
        newest = connection.execute(
            text("SELECT number, hash FROM audit ORDER BY number DESC LIMIT 1")
        ).first()
        head = "0" if newest is None else f"{newest.number}:{newest.hash}"
    return Contents(rows=rows, audit_rows=rows.get("audit", 0), audit_head=head)


def kept_files(folder: Path) -> dict[str, KeptFile]:
    """The files of a backup that is being made."""
    return {
        each.name: KeptFile(sha256=file_sha256(each), bytes=each.stat().st_size)
        for each in sorted(folder.iterdir())
    }


def read_manifest(folder: Path) -> Manifest:
    """Read a backup's manifest.

    Raises: OSError; Unreadable, where there is none or this version does not know what it says.
    """
    if not folder.is_dir():
        raise FileNotFoundError(f"there is no folder {folder}")
    file = folder / MANIFEST
    if not file.is_file():
        raise Unreadable(f"{folder} is no backup: it has no {MANIFEST}, which is written last")
    try:
        return Manifest.model_validate_json(file.read_bytes())
    except ValidationError as bad:
        fault = bad.errors(include_input=False)[0]
        place = ".".join(map(str, fault["loc"]))
        raise Unreadable(f"{file} cannot be read: {place}: {fault['msg']}") from None


def check_files(folder: Path, manifest: Manifest) -> None:
    """Compare every file of a backup with what its manifest says.

    Raises: Unreadable, which names the file.
    """
    if manifest.copy_name not in manifest.files:
        raise Unreadable(f"{folder / MANIFEST} names no {manifest.copy_name}")
    for name, told in manifest.files.items():
        check_file(folder / name, told)


def check_file(file: Path, told: KeptFile) -> None:
    """Compare one file, or a copy of it, with what the manifest says.

    Raises: Unreadable.
    """
    if not file.is_file():
        raise Unreadable(f"{file} is missing from the backup")
    if file.stat().st_size != told.bytes:
        raise Unreadable(f"{file} is damaged: {file.stat().st_size} bytes, and {told.bytes} then")
    if file_sha256(file) != told.sha256:
        raise Unreadable(f"{file} is damaged: its SHA-256 is not that of the manifest")
