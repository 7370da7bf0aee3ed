"""A backup that is made while others write comes back whole, and a damaged one does not."""

import hashlib
import json
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path
from threading import Event, Thread
from typing import Any

import pytest
from sqlalchemy import Engine, inspect, text
from sqlalchemy.exc import DBAPIError
from sqlmodel import Session

from app.cli import main
from app.exam.vocabulary import Side
from app.store import postgresql_tools, sqlite_file
from app.store.engine import check_current, make_engine, migrate, reading, writing
from app.store.manifest import COPIES, Kind, Manifest, contents_of, kept_files
from app.store.refusals import Unreadable
from app.store.sign_ins import start_sign_in
from app.store.verify import parse_head, verify
from tests.postgres import find_programs, fresh_database
from tests.store.clinic import NOW, an_exam, write
from tests.store.desk import (
    SIGNER,
    a_reviewed_exam,
    amended,
    decide,
    signed,
    to_amend,
    to_sign,
)
from tests.store.past import filled
from tests.store.test_verify import tampered

Said = tuple[int, str, str]
Run = Callable[..., Said]


@pytest.fixture
def run(url: str, monkeypatch: pytest.MonkeyPatch, capfd: pytest.CaptureFixture[str]) -> Run:
    """Run a command on a database; its status, and what it said on both outputs."""
    programs = find_programs()
    if programs is not None:
        # Where the database is newer than what stands on the path of this machine.
        monkeypatch.setenv("PATH", str(programs), prepend=":")

    def run(*arguments: str | Path, on: str = url) -> Said:
        monkeypatch.setenv("EVENHAND_DATABASE_URL", on)
        capfd.readouterr()
        status = main([str(each) for each in arguments])
        told = capfd.readouterr()
        return status, told.out, told.err

    return run


@pytest.fixture
def place(kind: str, tmp_path: Path) -> Iterator[str]:
    """An empty place of the same kind."""
    with ExitStack() as stack:
        if kind == "sqlite":
            yield f"sqlite:///{tmp_path / 'restored' / 'evenhand.sqlite3'}"
        else:
            yield stack.enter_context(fresh_database(migrated=False))


def a_day(engine: Engine) -> None:
    """A signed exam with its amendment, and somebody who is signed in."""
    exam = a_reviewed_exam(engine)
    signed(engine, exam.id, to_sign(engine, exam.id))
    amended(engine, exam.id, to_amend(engine, exam.id))
    with writing(engine) as session:
        start_sign_in(session, str(SIGNER.account_id), "t", actor=SIGNER, now=NOW)


@contextmanager
def writers(engine: Engine) -> Iterator[list[tuple[str, int]]]:
    """Two that record and sign, one exam after the other, until the end of the block.

    Yields what they were told is kept: the exam and the revision.
    """
    stop, kept, failed = Event(), [], []
    first = Event()

    def day(number: int) -> None:
        try:
            exams = 0
            while not stop.is_set():
                exams += 1
                exam = an_exam(engine, chart_number=f"W{number}-{exams}")
                for revision in range(3):
                    write(engine, exam.id, {("drift", Side.RIGHT): revision}, revision)
                    kept.append((exam.id, revision + 1))
                decide(engine, exam.id, {("impression", ""): "A slow hand."}, 3)
                signed(engine, exam.id, to_sign(engine, exam.id))
                kept.append((exam.id, 4))
                first.set()
        except BaseException as error:
            failed.append(error)
            first.set()
            raise

    working = [Thread(target=day, args=(number,)) for number in (1, 2)]
    for each in working:
        each.start()
    first.wait()
    try:
        yield kept
    finally:
        stop.set()
        for each in working:
            each.join()
    assert [] == failed


def rows_of(session: Session) -> dict[str, int]:
    """How many rows each table has, counted here."""
    connection = session.connection()
    return {
        name: connection.execute(text(f"SELECT count(*) FROM {name}")).scalar_one()
        for name in inspect(connection).get_table_names()
        if name != "alembic_version"
    }


def manifest_of(folder: Path) -> dict[str, Any]:
    """What a backup says of itself."""
    told: dict[str, Any] = json.loads((folder / "manifest.json").read_bytes())
    return told


def left_by(url: str) -> list[str]:
    """What stands at a place where nothing should have been restored."""
    if url.startswith("sqlite"):
        folder = Path(url.removeprefix("sqlite:///")).parent
        return [each.name for each in folder.iterdir()] if folder.exists() else []
    engine = make_engine(url)
    with engine.connect() as connection:
        functions = connection.execute(
            text("SELECT proname FROM pg_proc WHERE pronamespace = 'public'::regnamespace")
        )
        found = [*inspect(connection).get_table_names(), *functions.scalars()]
    engine.dispose()
    return found


def test_a_backup_made_while_others_write_comes_back_whole(
    engine: Engine, run: Run, place: str, tmp_path: Path
) -> None:
    """The drill: all that was acknowledged before it began is there, and nothing half."""
    a_day(engine)
    folder = tmp_path / "backup"
    with writers(engine) as kept:
        before = list(kept)
        made = run("backup", folder)
        during = len(kept)
    told = manifest_of(folder)
    restored = run("restore", folder, on=place)

    assert (0, "") == (made[0], made[2])
    assert (0, "") == (restored[0], restored[2])
    again = make_engine(place)
    with reading(again) as session:
        checked = verify(session, [parse_head(told["contents"]["audit_head"])])
        rows = rows_of(session)
        pages = session.connection().execute(text("SELECT sha256, content FROM document")).all()
        revisions = dict(
            map(tuple, session.connection().execute(text("SELECT id, revision FROM exam")))
        )
        ended = session.connection().execute(text("SELECT ended_at FROM sign_in")).scalars()
        assert None not in list(ended)
    with reading(engine) as session:
        originals = dict(
            map(tuple, session.connection().execute(text("SELECT sha256, content FROM document")))
        )

    assert () == checked.alterations
    # The restoring itself is the one row that came since.
    told["contents"]["rows"]["audit"] += 1
    assert told["contents"]["rows"] == rows
    assert told["contents"]["audit_rows"] + 1 == checked.audit
    assert all(revisions[exam] >= revision for exam, revision in before)
    assert len(pages) >= 3
    for sha256, content in pages:
        assert sha256 == hashlib.sha256(content).hexdigest()
        assert originals[sha256] == content
    # Otherwise nobody wrote meanwhile, and nothing was shown.
    assert during > len(before)
    # It is a database that goes on.
    an_exam(again, chart_number="later")
    again.dispose()


def test_a_backup_says_what_it_is_and_names_nobody(
    engine: Engine, kind: str, run: Run, tmp_path: Path
) -> None:
    """Whoever finds it later knows which program reads it; whoever should not learns no name."""
    a_day(engine)
    folder = tmp_path / "backup"
    status, said, _ = run("backup", folder)
    manifest = (folder / "manifest.json").read_text()
    told = manifest_of(folder)

    name = {"sqlite": "evenhand.sqlite3", "postgresql": "evenhand.pgdump"}[kind]
    assert {name, "manifest.json"} == {each.name for each in folder.iterdir()}
    assert {name} == set(told["files"])
    assert 0o700 == folder.stat().st_mode & 0o777
    assert {0o600} == {each.stat().st_mode & 0o777 for each in folder.iterdir()}
    assert (kind, "0009", 0) == (told["database"], told["tables"], told["altered"])
    assert f"head {told['contents']['audit_head']}" in said
    assert [] == [each for each in ("Mustermann", "T-1", "Prøve", "slow") if each in manifest]
    with reading(engine) as session:
        actions = session.connection().execute(text("SELECT action FROM audit ORDER BY number"))
        assert "backup" == list(actions.scalars())[-1]
    # Neither over a backup, nor into anything else.
    assert (2, "") == run("backup", folder)[:2]
    assert manifest == (folder / "manifest.json").read_text()
    assert [] == [each.name for each in tmp_path.iterdir() if each.name.startswith(".")]
    assert 0 == status


def test_a_damaged_backup_is_refused_and_leaves_nothing(
    engine: Engine, run: Run, place: str, tmp_path: Path
) -> None:
    """A flipped byte, a cut end, a missing file, a manifest that is missing or says otherwise."""
    a_day(engine)
    engine.dispose()
    folder = tmp_path / "backup"
    run("backup", folder)
    told = manifest_of(folder)
    copy, manifest = folder / next(iter(told["files"])), folder / "manifest.json"
    whole, says = copy.read_bytes(), manifest.read_text()
    flipped = bytearray(whole)
    flipped[len(whole) // 2] ^= 1
    rows = told["contents"]["rows"]
    fewer = {**told, "contents": {**told["contents"], "rows": {**rows, "entry": 1}}}
    other = {**told, "contents": {**told["contents"], "audit_head": f"1:{'0' * 64}"}}

    def refused(message: str) -> None:
        status, said, fault = run("restore", folder, on=place)

        assert (2, "", 1) == (status, said, fault.count("\n"))
        assert message in fault
        assert [] == left_by(place)

    for content, message in ((bytes(flipped), "SHA-256"), (whole[:-1], "bytes, and")):
        copy.write_bytes(content)
        refused(message)
    copy.unlink()
    refused("is missing")
    copy.write_bytes(whole)
    for changed, message in (
        (json.dumps(fewer), "rows was"),
        (json.dumps(other), "audit_head was"),
        (json.dumps({**told, "altered": 1}), "0 rows are not as the audit has them"),
        (json.dumps({**told, "tables": "9999"}), "newer version"),
        (json.dumps({**told, "patients": "x"}), "patients"),
        ("", "Invalid JSON"),
    ):
        manifest.write_text(changed)
        refused(message)
    manifest.unlink()
    refused("is no backup")
    manifest.write_text(says)

    assert 0 == run("restore", folder, on=place)[0]


def test_nothing_is_restored_over_anything(
    engine: Engine, url: str, kind: str, run: Run, tmp_path: Path
) -> None:
    """The wrong address in the settings must not cost the database that runs."""
    a_day(engine)
    engine.dispose()
    folder = tmp_path / "backup"
    run("backup", folder)
    status, _, fault = run("restore", folder)
    other = "postgresql://x@127.0.0.1:1/x" if kind == "sqlite" else f"sqlite:///{tmp_path}/new.db"
    mixed, _, says = run("restore", folder, on=other)

    assert (2, 2) == (status, mixed)
    assert ("is there" if kind == "sqlite" else "is not empty") in fault
    assert "is a backup of" in says
    assert not (tmp_path / "new.db").exists()
    with reading(engine) as session:
        assert () == verify(session).alterations


def test_what_was_altered_before_is_said_and_comes_back_as_it_was(
    engine: Engine, run: Run, place: str, tmp_path: Path
) -> None:
    """A clinic must not be left without a backup because somebody once changed a row."""
    a_day(engine)
    tampered(engine, "entry", "UPDATE entry SET value = '3' WHERE id = 1")
    folder = tmp_path / "backup"
    made, restored = run("backup", folder), run("restore", folder, on=place)

    assert (1, 1) == (made[0], restored[0])
    assert "1 altered" in made[1]
    assert "1 altered" in restored[1]


@pytest.mark.parametrize("kind", ["sqlite"])
def test_the_key_of_the_seal_stays_apart_unless_asked(
    engine: Engine, kind: str, run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Whoever finds both can seal in the clinic's name; whoever has neither seals no more."""
    monkeypatch.setenv("EVENHAND_SEAL_FOLDER", str(tmp_path))
    key = tmp_path / "evenhand-seal.p12"
    a_day(engine)

    assert "no key of a seal at" in run("backup", tmp_path / "none", "--with-seal")[2]
    key.write_bytes(b"a key")
    assert f"keep a copy of {key} apart" in run("backup", tmp_path / "without")[1]
    assert not (tmp_path / "without" / key.name).exists()
    assert 0 == run("backup", tmp_path / "with", "--with-seal")[0]
    assert b"a key" == (tmp_path / "with" / key.name).read_bytes()
    assert key.name in manifest_of(tmp_path / "with")["files"]


def test_a_backup_of_an_older_version_is_brought_up_to_date(
    empty_engine: Engine, kind: Kind, run: Run, place: str, tmp_path: Path
) -> None:
    """Whoever lost the server installs the newest version, and has the backup of the last one."""
    rows = filled(empty_engine, "0008")
    folder = tmp_path / "backup"
    folder.mkdir()
    copy = folder / COPIES[kind]
    with reading(empty_engine) as session:
        # As the version of then did, whose command cannot be run any more.
        if kind == "sqlite":
            sqlite_file.copy(empty_engine, copy)
        else:
            asked = session.connection().execute(text("SELECT pg_export_snapshot()"))
            postgresql_tools.dump(empty_engine, asked.scalar_one(), copy)
        manifest = Manifest(
            made_at=NOW, program="0", knowledge="0", tables="0008", database=kind, written_by="",
            files=kept_files(folder), contents=contents_of(session.connection()), altered=0,
        )  # fmt: skip
    (folder / "manifest.json").write_text(manifest.model_dump_json())

    assert (0, "") == run("restore", folder, on=place)[::2]
    again = make_engine(place)
    check_current(again)
    with reading(again) as session:
        counted = rows_of(session)
        assert () == verify(session).alterations
    again.dispose()
    assert len(rows["signature"]) == counted["signature"]
    assert len(rows["conclusion"]) == counted["conclusion"]


@pytest.mark.parametrize("kind", ["postgresql"])
def test_what_is_missing_is_said_in_a_line(
    engine: Engine, kind: str, run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The program's machine need not have the database's programs."""
    monkeypatch.setenv("PATH", str(tmp_path))
    monkeypatch.setattr("app.store.postgresql_tools.DEBIAN", tmp_path)
    status, said, fault = run("backup", tmp_path / "backup")

    assert (2, "", 1) == (status, said, fault.count("\n"))
    assert "pg_dump is not installed" in fault
    assert not (tmp_path / "backup").exists()


@pytest.mark.parametrize("kind", ["postgresql"])
def test_a_database_that_takes_no_writes_is_backed_up_all_the_same(
    engine: Engine, kind: str, run: Run, tmp_path: Path
) -> None:
    """A replica, and on the day the disk is full; that the audit does not tell of it is said."""
    a_day(engine)
    name = engine.url.database
    with engine.connect().execution_options(isolation_level="AUTOCOMMIT") as connection:
        connection.execute(text(f"ALTER DATABASE {name} SET default_transaction_read_only = on"))
    status, said, fault = run("backup", tmp_path / "backup")

    assert (0, 1) == (status, fault.count("\n"))
    assert "nothing altered" in said
    assert "the audit does not tell of this backup" in fault
    assert "read-only" in fault


@pytest.mark.parametrize("kind", ["postgresql"])
def test_a_restore_that_is_killed_leaves_a_database_that_no_server_opens(
    engine: Engine, kind: str, run: Run, place: str, tmp_path: Path
) -> None:
    """What nobody has checked must not be taken for the clinic's record."""
    a_day(engine)
    run("backup", tmp_path / "backup")
    halfway = make_engine(place)
    # As far as it comes before the checks, which end with the version of the tables.
    postgresql_tools.load(halfway, tmp_path / "backup" / "evenhand.pgdump", tmp_path)

    with pytest.raises(Unreadable, match="has no tables of this program"):
        check_current(halfway)
    with pytest.raises(DBAPIError, match="already exists"):
        migrate(halfway)
    halfway.dispose()
    assert "is not empty" in run("restore", tmp_path / "backup", on=place)[2]
