"""A PostgreSQL of the tests' own: in a temporary folder, on a unix socket, thrown away at the end.

    with fresh_database() as url: ...

It needs PostgreSQL's programs: in the folder EVENHAND_TEST_PG_BIN, where Debian puts them, or on
the PATH. Where they are missing the test is skipped; with EVENHAND_REQUIRE_ALL=1 it fails.
"""

import atexit
import itertools
import os
import pwd
import re
import shutil
import subprocess
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import psycopg
import pytest

from app.store.engine import make_engine, migrate

# Nothing here has to survive a power cut.
FAST = "-c fsync=off -c synchronous_commit=off -c full_page_writes=off -c max_wal_size=64MB"
TEMPLATE = "evenhand_template"
# The tests were seen to use less than a quarter of it.
ROOM_BYTES = 1_000_000_000
_numbers = itertools.count(1)


@dataclass(frozen=True)
class Cluster:
    """A running PostgreSQL; its folder holds the socket."""

    folder: Path
    copying: str

    def url(self, database: str) -> str:
        """The address of one of its databases."""
        return f"postgresql+psycopg://evenhand@/{database}?host={self.folder}"

    def execute(self, statement: str) -> None:
        """Run a statement of administration."""
        with psycopg.connect(
            host=str(self.folder), dbname="postgres", user="evenhand", autocommit=True
        ) as connection:
            connection.execute(statement)


@contextmanager
def fresh_database(*, migrated: bool = True) -> Iterator[str]:
    """The address of a new database, with its tables or empty, that is dropped afterwards."""
    running = cluster_or_skip()
    name = f"test_{os.getpid()}_{next(_numbers)}"
    template = _template() if migrated else "template1"
    running.execute(f"CREATE DATABASE {name} TEMPLATE {template} {running.copying}")
    try:
        yield running.url(name)
    finally:
        running.execute(f"DROP DATABASE {name} WITH (FORCE)")


def cluster_or_skip() -> Cluster:
    """The one PostgreSQL of this test run, started when first asked for."""
    if find_programs() is None:
        missing = "PostgreSQL is not installed; script/bootstrap --test installs it"
        if os.environ.get("EVENHAND_REQUIRE_ALL") == "1":
            pytest.fail(missing)
        pytest.skip(missing)
    return cluster()


@cache
def find_programs() -> Path | None:
    """The folder with initdb and pg_ctl, the newest version where there are several."""
    named = os.environ.get("EVENHAND_TEST_PG_BIN")
    if named:
        return Path(named) if Path(named, "initdb").exists() else None
    versions = [
        folder
        for folder in Path("/usr/lib/postgresql").glob("*/bin")
        if folder.parent.name.isdigit() and (folder / "initdb").exists()
    ]
    if versions:
        return max(versions, key=lambda folder: int(folder.parent.name))
    on_path = shutil.which("initdb")
    return Path(on_path).resolve().parent if on_path else None


@cache
def cluster() -> Cluster:
    """Start the PostgreSQL of this test run; it stops when the run ends."""
    programs = find_programs()
    assert programs is not None
    folder = Path(tempfile.mkdtemp(prefix="evenhand-pg-", dir=_roomy_memory()))
    atexit.register(shutil.rmtree, folder, ignore_errors=True)
    as_user: list[str] = []
    if os.geteuid() == 0:
        # PostgreSQL refuses to run as root.
        user = somebody_else()
        shutil.chown(folder, user)
        as_user = ["runuser", "-u", user, "--"]
    data = folder / "data"
    initdb = str(programs / "initdb")
    words = "--username=evenhand --auth=trust --encoding=UTF8 --no-sync --locale=C.UTF-8"
    _run([*as_user, initdb, *words.split(), *_sorting(initdb), f"--pgdata={data}"], folder)
    pg_ctl = [*as_user, str(programs / "pg_ctl"), f"--pgdata={data}"]
    # A server far from UTC, so that no test leans on the place where it runs.
    far = "-c timezone=Asia/Kolkata"
    options = f"{FAST} {far} -c listen_addresses='' -c unix_socket_directories='{folder}'"
    _run([*pg_ctl, "start", "--wait", f"--log={folder}/log", f"--options={options}"], folder)
    atexit.register(_run, [*pg_ctl, "stop", "--mode=immediate"], folder)
    version = subprocess.run(
        [str(programs / "postgres"), "--version"], capture_output=True, text=True, check=True
    ).stdout
    # From version 15 on, a database is copied through the log unless one asks for the fast way.
    major = int(re.findall(r"\d+", version)[0])
    return Cluster(folder, "STRATEGY FILE_COPY" if major >= 15 else "")


@contextmanager
def replica() -> Iterator[Cluster]:
    """A second PostgreSQL that follows the one of this test run, and takes no writes."""
    leader, programs = cluster_or_skip(), find_programs()
    assert programs is not None
    folder = Path(tempfile.mkdtemp(prefix="evenhand-replica-", dir=_roomy_memory()))
    as_user: list[str] = []
    if os.geteuid() == 0:
        user = somebody_else()
        shutil.chown(folder, user)
        as_user = ["runuser", "-u", user, "--"]
    data = folder / "data"
    copy = f"--pgdata={data} --host={leader.folder} --username=evenhand --write-recovery-conf"
    options = f"{FAST} -c listen_addresses='' -c unix_socket_directories='{folder}'"
    pg_ctl = [*as_user, str(programs / "pg_ctl"), f"--pgdata={data}"]
    backup = str(programs / "pg_basebackup")
    try:
        _run([*as_user, backup, *copy.split(), "--checkpoint=fast", "--no-sync"], folder)
        _run([*pg_ctl, "start", "--wait", f"--log={folder}/log", f"--options={options}"], folder)
        yield Cluster(folder, "")
        _run([*pg_ctl, "stop", "--mode=immediate"], folder)
    finally:
        shutil.rmtree(folder, ignore_errors=True)


@cache
def _template() -> str:
    cluster().execute(f"CREATE DATABASE {TEMPLATE}")
    engine = make_engine(cluster().url(TEMPLATE))
    migrate(engine)
    # A database that somebody is connected to cannot be copied.
    engine.dispose()
    return TEMPLATE


def _roomy_memory() -> Path | None:
    """A folder in memory where Linux offers one with room: a new database is six times faster."""
    memory = Path("/dev/shm")
    roomy = memory.is_dir() and shutil.disk_usage(memory).free > ROOM_BYTES
    return memory if roomy else None


def somebody_else() -> str:
    known = {entry.pw_name for entry in pwd.getpwall()}
    return next(user for user in ("postgres", "nobody") if user in known)


def _sorting(initdb: str) -> list[str]:
    """Sort as people expect where this version can, so that no test leans on code points."""
    offered = subprocess.run([initdb, "--help"], capture_output=True, text=True, check=True).stdout
    return ["--locale-provider=icu", "--icu-locale=en"] if "--icu-locale" in offered else []


def _run(command: list[str], folder: Path) -> None:
    done = subprocess.run(
        command,
        cwd=folder,
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stdout
