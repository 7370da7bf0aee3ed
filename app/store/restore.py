"""Restoring a backup into an empty place: all of it, checked, or nothing."""

import shutil
import tempfile
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from sqlalchemy import URL, Connection, Engine, inspect, text

from app.store import postgresql_tools, sqlite_file
from app.store.actor import Actor
from app.store.audit import Head, head, note
from app.store.engine import (
    known_versions,
    make_engine,
    one_at_a_time,
    parse_address,
    upgrade,
    writing,
)
from app.store.faults import place
from app.store.manifest import (
    SHOWN,
    VERSION_TABLE,
    Manifest,
    check_file,
    check_files,
    contents_of,
    read_manifest,
)
from app.store.refusals import Unreadable
from app.store.sign_ins import end_every_sign_in
from app.store.verify import verify


@dataclass(frozen=True)
class Restored:
    """What was restored. rows: those that the audit speaks of; head: the newest row now."""

    manifest: Manifest
    rows: int
    head: Head


def restore(folder: Path, url: str, actor: Actor) -> Restored:
    """Restore a backup into a SQLite file that is not there, or an empty PostgreSQL database.

    Its files have the hashes of the manifest, its rows are as many, its audit ends with the same
    head, and every row and signed page is what the audit says; otherwise nothing is restored.
    Tables of an older version are brought up to date. Everybody signs in anew.
    Raises: OSError, FileExistsError among them; Unreadable; the refusals of the database.
    """
    address, manifest = parse_address(url), read_manifest(folder)
    kind = "sqlite" if address.drivername == "sqlite" else "postgresql"
    if manifest.database != kind:
        raise Unreadable(
            f"{folder} is a backup of {SHOWN[manifest.database]}, and EVENHAND_DATABASE_URL names "
            f"{SHOWN[kind]}"
        )
    if not set(manifest.tables.split(", ")) <= known_versions():
        raise Unreadable(
            f"{folder} was made by a newer version of the program ({manifest.program}, tables "
            f"{manifest.tables}): install that one first"
        )
    if kind == "sqlite":
        return _into_file(folder, manifest, address, actor)
    return _into_database(folder, manifest, url, actor)


def _into_file(folder: Path, manifest: Manifest, address: URL, actor: Actor) -> Restored:
    file = Path(str(address.database)).resolve()
    sqlite_file.check_place(file)
    check_files(folder, manifest)
    file.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory(prefix=".evenhand-", dir=file.parent) as beside:
        made = Path(beside) / file.name
        made.touch(0o600)
        shutil.copyfile(folder / manifest.copy_name, made)
        check_file(made, manifest.files[manifest.copy_name])
        engine = make_engine(f"sqlite:///{made}")
        try:
            restored = _checked(engine, manifest, actor)
        finally:
            engine.dispose()
        sqlite_file.make_single(made)
        sqlite_file.put_in_place(made, file)
    return restored


def _into_database(folder: Path, manifest: Manifest, url: str, actor: Actor) -> Restored:
    engine = make_engine(url)
    try:
        with engine.connect() as connection:
            _refuse_filled(connection)
        check_files(folder, manifest)
        with tempfile.TemporaryDirectory(prefix="evenhand-") as beside:
            postgresql_tools.load(engine, folder / manifest.copy_name, Path(beside))
        try:
            return _checked(engine, manifest, actor)
        except BaseException:
            _empty(engine)
            raise
    finally:
        engine.dispose()


def _checked(engine: Engine, manifest: Manifest, actor: Actor) -> Restored:
    """Check what was copied and make it a database of this version, in one transaction."""
    with writing(engine) as session:
        connection = session.connection()
        one_at_a_time(connection)
        found = contents_of(connection)
        if found != manifest.contents:
            raise Unreadable(f"the copy is not what was copied: {_differs(manifest, found)}")
        _write_version(connection, manifest)
        upgrade(connection)
        checked = verify(session)
        if len(checked.alterations) != manifest.altered:
            raise Unreadable(
                f"the copy is not what was copied: {len(checked.alterations)} rows are not as the "
                f"audit has them, and {manifest.altered} were not then: "
                f"{next(iter(checked.alterations), 'none')}"
            )
        now = datetime.now(UTC)
        end_every_sign_in(session, now)
        made_at = manifest.made_at.astimezone(UTC).isoformat(timespec="seconds")
        note(session, actor, "restore", at=now, detail={"made_at": made_at})
    with writing(engine) as session:
        return Restored(manifest, checked.rows, head(session))


def _differs(manifest: Manifest, found: object) -> str:
    then, now = manifest.contents.model_dump(), dict(found)  # type: ignore[call-overload]
    return next(
        f"{name} was {then[name]} and is {now[name]}" for name in then if then[name] != now[name]
    )


def _write_version(connection: Connection, manifest: Manifest) -> None:
    """The version of the tables, without which no server takes the database for one of its own."""
    if connection.dialect.name == "postgresql":
        connection.execute(
            text(f"INSERT INTO {VERSION_TABLE} (version_num) VALUES (:version)"),  # noqa: S608
            [{"version": each} for each in manifest.tables.split(", ")],
        )


_ANYTHING = """
    SELECT count(*) FROM pg_class JOIN pg_namespace ON pg_namespace.oid = relnamespace
    WHERE nspname !~ '^pg_' AND nspname <> 'information_schema'
"""


def _refuse_filled(connection: Connection) -> None:
    if connection.execute(text(_ANYTHING)).scalar_one():
        raise FileExistsError(
            f"the database {place(connection.engine.url)} is not empty: a backup is restored into "
            "a new one, as createdb makes it"
        )


def _empty(engine: Engine) -> None:
    """Take away what was restored a moment ago into a database that was empty."""
    with engine.begin() as connection:
        for table in inspect(connection).get_table_names():
            connection.execute(text(f'DROP TABLE "{table}" CASCADE'))
        for function in ("entry_is_only_added", "row_is_only_added"):
            connection.execute(text(f"DROP FUNCTION IF EXISTS {function}()"))
