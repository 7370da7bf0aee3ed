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
import signal
import subprocess
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path

import psycopg
import pytest
from sqlalchemy import Engine

from app.store.engine import make_engine, migrate

# Nothing here has to survive a power cut.
FAST = "-c fsync=off -c synchronous_commit=off -c full_page_writes=off -c max_wal_size=64MB"
TEMPLATE = "evenhand_template"
# The tests were seen to use less than a quarter of it.
ROOM_BYTES = 1_000_000_000
# Longer than a start takes on a busy machine, in seconds.
PATIENCE_S = 60
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


@dataclass(frozen=True)
class LastingCluster(Cluster):
    """A PostgreSQL that keeps what it acknowledged, as a clinic's does, and that can be killed.

    program: `postgres`; started: its processes, the newest last, which are our own children so that
    the dead are gone at once.
    """

    program: Path = field(kw_only=True)
    started: list[subprocess.Popen[bytes]] = field(default_factory=list)

    def start(self) -> None:
        """Start it; it recovers by itself from how it ended."""
        words = f"-D {self.folder}/data -k {self.folder} -c listen_addresses="
        # After a crash it syncs its folder, file by file unless told otherwise.
        words += " -c recovery_init_sync_method=syncfs"
        with (self.folder / "log").open("ab") as log:
            self.started.append(
                subprocess.Popen(
                    [str(self.program), *words.split()],
                    cwd=self.folder,
                    stdin=subprocess.DEVNULL,
                    stdout=log,
                    stderr=log,
                    user=somebody_else() if os.geteuid() == 0 else None,
                    start_new_session=True,
                )
            )
        self._wait_until_it_answers()

    def kill(self) -> None:
        """End every one of its processes at once; none has time for anything."""
        head = self.started[-1]
        if head.poll() is not None:
            return
        # Stopped first, so that it starts no more while we look.
        head.send_signal(signal.SIGSTOP)
        below = Path(f"/proc/{head.pid}/task/{head.pid}/children").read_text().split()
        for process in map(int, below):
            with suppress(ProcessLookupError):
                os.kill(process, signal.SIGKILL)
        head.kill()
        head.wait()
        # One that waits for the disk is gone a moment later, and until then its memory is in use.
        until = time.monotonic() + PATIENCE_S
        while any(map(_is_running, below)):
            assert time.monotonic() < until, "a killed process of PostgreSQL does not end"
            time.sleep(0.005)

    def _wait_until_it_answers(self) -> None:
        until = time.monotonic() + PATIENCE_S
        while time.monotonic() < until:
            assert self.started[-1].poll() is None, (self.folder / "log").read_text()
            with suppress(psycopg.OperationalError):
                self.execute("SELECT 1")
                return
            time.sleep(0.02)
        raise AssertionError((self.folder / "log").read_text())


def _is_running(process: str) -> bool:
    """Whether a process still is more than an entry in the table."""
    try:
        state = Path(f"/proc/{process}/stat").read_text().rpartition(")")[2].split()[0]
    except (FileNotFoundError, ProcessLookupError):
        return False
    return state not in ("Z", "X")


@contextmanager
def fresh_database(
    *, migrated: bool = True, fill: Callable[[Engine], None] | None = None
) -> Iterator[str]:
    """The address of a new database, with its tables or empty, that is dropped afterwards.

    fill: writes what every one of them holds; it is called once.
    """
    running = cluster_or_skip()
    name = f"test_{os.getpid()}_{next(_numbers)}"
    template = _template(fill) if migrated else "template1"
    running.execute(f"CREATE DATABASE {name} TEMPLATE {template} {running.copying}")
    try:
        yield running.url(name)
    finally:
        running.execute(f"DROP DATABASE {name} WITH (FORCE)")


def cluster_or_skip() -> Cluster:
    """The one PostgreSQL of this test run, started when first asked for."""
    _programs_or_skip()
    return cluster()


def _programs_or_skip() -> Path:
    programs = find_programs()
    if programs is None:
        missing = "PostgreSQL is not installed; script/bootstrap --test installs it"
        if os.environ.get("EVENHAND_REQUIRE_ALL") == "1":
            pytest.fail(missing)
        pytest.skip(missing)
    return programs


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
    pg_ctl = _new_data(folder, programs)
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
def lasting_cluster() -> Iterator[LastingCluster]:
    """A PostgreSQL of its own on a disk, set up as it comes; it runs until it is left."""
    programs = _programs_or_skip()
    folder = Path(tempfile.mkdtemp(prefix="evenhand-lasting-"))
    try:
        _new_data(folder, programs)
        made = LastingCluster(folder, "", program=programs / "postgres")
        made.start()
        try:
            yield made
        finally:
            made.kill()
    finally:
        shutil.rmtree(folder, ignore_errors=True)


def _as_somebody(folder: Path) -> list[str]:
    """What stands before a command of PostgreSQL's, which refuses to run as root."""
    if os.geteuid() != 0:
        return []
    user = somebody_else()
    shutil.chown(folder, user)
    return ["runuser", "-u", user, "--"]


def _new_data(folder: Path, programs: Path) -> list[str]:
    """Lay down what a new PostgreSQL starts from; the command that starts and stops it."""
    as_user, initdb = _as_somebody(folder), str(programs / "initdb")
    words = "--username=evenhand --auth=trust --encoding=UTF8 --no-sync --locale=C.UTF-8"
    data = f"--pgdata={folder / 'data'}"
    _run([*as_user, initdb, *words.split(), *_sorting(initdb), data], folder)
    return [*as_user, str(programs / "pg_ctl"), data]


@contextmanager
def replica() -> Iterator[Cluster]:
    """A second PostgreSQL that follows the one of this test run, and takes no writes."""
    leader, programs = cluster_or_skip(), find_programs()
    assert programs is not None
    folder = Path(tempfile.mkdtemp(prefix="evenhand-replica-", dir=_roomy_memory()))
    as_user, data = _as_somebody(folder), folder / "data"
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
def _template(fill: Callable[[Engine], None] | None) -> str:
    name = f"{TEMPLATE}_{fill.__name__}" if fill else TEMPLATE
    cluster().execute(f"CREATE DATABASE {name}")
    engine = make_engine(cluster().url(name))
    migrate(engine)
    if fill:
        fill(engine)
    # A database that somebody is connected to cannot be copied.
    engine.dispose()
    return name


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
