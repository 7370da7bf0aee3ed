"""What breaks under a running server: what a person sees, that nothing is half done, that it mends.

Faults of the database's own are in tests/store/test_faults.py, a database that is away and a proxy
that lost an answer in tests/cluster, a clock that jumps in tests/web/test_clock.py.
"""

import os
import resource
import shutil
import subprocess
import sys
import time
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any, cast

import pytest
from sqlalchemy import Engine, text

from app.settings import ROOT
from app.store.engine import make_engine, reading
from app.store.signatures import signatures
from tests.cluster.machines import PATIENCE_S, AppServer, free_port
from tests.cluster.people import Person
from tests.postgres import fresh_database
from tests.soak.judge import half_written
from tests.soak.servers import Forked, Nursery
from tests.web.clinic import HTMX, PHYSICIAN, Clinic, add_members
from tests.web.test_review import settled

# More than the console's log, less than the database's.
LIMIT_BYTES = 50_000
# A file system of its own in memory, with the database on it, for one program.
ON_A_SMALL_DISK = 'mount -t tmpfs -o size=4m none "$0" && cp "$0.db" "$0/evenhand.db" && exec "$@"'
ON_A_READ_ONLY_DISK = 'mount --bind "$0" "$0" && mount -o remount,bind,ro "$0" && exec "$@"'


@pytest.fixture(scope="module")
def own_mounts() -> tuple[str, ...]:
    """The command under which a program mounts for itself.

    Many containers let none, whatever is installed: there it is skipped, also where everything is
    required.
    """
    command = ("unshare", "--map-root-user", "--mount")
    may = (
        shutil.which("unshare")
        and not subprocess.run([*command, "true"], capture_output=True, check=False).returncode
    )
    if not may:
        pytest.skip("this machine lets no program mount a file system of its own")
    return command


def environment(url: str, folder: Path, **more: str) -> dict[str, str]:
    """A server's."""
    return os.environ | {
        "EVENHAND_DATABASE_URL": url,
        "EVENHAND_SEAL_FOLDER": os.environ.get("EVENHAND_SEAL_FOLDER", str(folder)),
        "EVENHAND_DEMO": "false",
        "EVENHAND_PLAIN_HTTP": "true",
        **more,
    }


def with_members(url: str) -> None:
    """Give everybody an account."""
    engine = make_engine(url)
    add_members(engine)
    engine.dispose()


def test_a_disk_that_is_full_or_refuses_to_be_written_is_said_and_mends(
    own_mounts: tuple[str, ...], migrated_file: Path, tmp_path: Path
) -> None:
    """503 and when to try again, nothing half done; with room again the same entry is saved.

    The second refuses what goes past a limit on the size of files. SQLite answers it as it answers
    every write that fails, as on a file system that turned read-only.
    """
    small = tmp_path / "small"
    small.mkdir()
    shutil.copy(migrated_file, f"{small}.db")
    with_members(f"sqlite:///{small}.db")
    server = AppServer(
        "app",
        free_port(),
        environment(f"sqlite:///{small}/evenhand.db", tmp_path),
        tmp_path / "log",
        (*own_mounts, "sh", "-c", ON_A_SMALL_DISK, str(small)),
    )
    server.start()
    try:
        server.wait_until_ready()
        assert server.running
        process = server.running.pid
        inside = Path(f"/proc/{process}/root{small}")
        with Person.at(server.address, PHYSICIAN) as person:
            person.start_exam()
            person.enter("drift", "right", "1")
            answers = {}
            for fault, value, lasts in (
                ("full", "2", full(inside)),
                ("refuses", "3", refusing(process)),
            ):
                with lasts:
                    answers[fault] = tried(person, value), tried(person, value)
                person.enter("drift", "right", value)
        for file in inside.glob("evenhand.db*"):
            shutil.copy(file, tmp_path)
    finally:
        server.kill()

    for answer in (*answers["full"], *answers["refuses"]):
        assert (503, "3") == (answer.status_code, answer.headers["Retry-After"])
        assert "Nothing was recorded" in answer.text
    assert "has no room left: database or disk is full" in server.said()
    assert "cannot be reached: disk I/O error" in server.said()
    assert "Traceback" not in server.said()
    assert [1, 2, 3] == [each.made for each in person.acknowledged]
    engine = make_engine(f"sqlite:///{tmp_path / 'evenhand.db'}")
    with reading(engine) as session:
        assert [] == half_written(session)
    engine.dispose()


def tried(person: Person, value: str) -> Any:
    """One entry, sent once."""
    seen = str(person.revision)
    form = {"finding": "drift", "side": "right", "value": value, "revision": seen, "seen": seen}
    return person.client.post(f"/exams/{person.exam_id}/cells", data=form, headers=HTMX)


@contextmanager
def full(folder: Path) -> Iterator[None]:
    """No room is left on the disk."""
    filler = folder / "filler"
    with filler.open("wb", buffering=0) as filling, suppress(OSError):
        while True:
            filling.write(bytes(4096))
    yield
    filler.unlink()


@contextmanager
def refusing(process: int) -> Iterator[None]:
    """Writes of this process to the database are refused, and those to its small log are not."""
    before = resource.prlimit(process, resource.RLIMIT_FSIZE)
    resource.prlimit(process, resource.RLIMIT_FSIZE, (LIMIT_BYTES, before[1]))
    yield
    resource.prlimit(process, resource.RLIMIT_FSIZE, before)


def test_a_server_does_not_start_on_a_disk_that_cannot_be_written(
    own_mounts: tuple[str, ...], migrated_file: Path, tmp_path: Path
) -> None:
    """It would show exams and refuse every entry; one line says which file."""
    fixed = tmp_path / "fixed"
    fixed.mkdir()
    shutil.copy(migrated_file, fixed / "evenhand.db")
    serve = (sys.executable, "-m", "app", "serve", "--port", str(free_port()))
    refused = subprocess.run(
        [*own_mounts, "sh", "-c", ON_A_READ_ONLY_DISK, str(fixed), *serve],
        cwd=ROOT,
        env=environment(f"sqlite:///{fixed}/evenhand.db", tmp_path),
        capture_output=True,
        text=True,
        check=False,
    )

    assert (2, 1) == (refused.returncode, len(refused.stderr.splitlines())), refused.stderr
    assert f"Read-only file system: '{fixed}/evenhand.db'" in refused.stderr


def test_a_process_that_dies_while_it_signs_signs_nothing_and_the_next_one_does(
    nursery: Nursery, tmp_path: Path
) -> None:
    """The page was drawn already; what is sent again is signed once.

    What draws pages is the process that answers, so this is what the death of either looks like.
    """
    with fresh_database() as url:
        with_members(url)
        ours = environment(url, tmp_path)
        server = Forked("app", free_port(), ours, tmp_path / "log", nursery=nursery)
        engine = make_engine(url)
        server.start()
        try:
            server.wait_until_ready()
            with Person.at(server.address, PHYSICIAN) as person:
                person.start_exam()
                person.enter("drift", "right", "1")
                _die_while_signing(server, person, engine)
        finally:
            server.stop()
            engine.dispose()


def _die_while_signing(server: Forked, person: Person, engine: Engine) -> None:
    exam_id = person.exam_id
    form = settled(cast(Clinic, person), exam_id)
    with ThreadPoolExecutor(1) as pool:
        with engine.execution_options(evenhand_writes=True).connect() as holding:
            # The signature waits in the middle of its transaction, its page drawn.
            holding.execute(text("LOCK TABLE document IN SHARE MODE"))
            signing = pool.submit(person.send, f"/exams/{exam_id}/sign", form)
            wait_for_the_lock(engine)
            server.kill()
            holding.rollback()
        with reading(engine) as session:
            before = signatures(session, exam_id), half_written(session)
        server.start()
        answer = signing.result()
    with reading(engine) as session:
        after = [each.number for each in signatures(session, exam_id)], half_written(session)

    assert ([], []) == before
    assert (303, ([0], [])) == (answer.status_code, after)
    assert person.retries > 0


def wait_for_the_lock(engine: Engine) -> None:
    """Wait until somebody waits for it."""
    asked = text(
        "SELECT count(*) FROM pg_locks WHERE NOT granted AND relation = 'document'::regclass"
    )
    until = time.monotonic() + PATIENCE_S
    while time.monotonic() < until:
        with engine.connect() as looking:
            if looking.scalar(asked):
                return
        time.sleep(0.02)
    raise AssertionError("nobody signs")


def test_the_processes_of_a_server_end_when_the_one_that_started_them_is_killed() -> None:
    """They went on answering, with nobody to stop them, and a new start found the port taken."""
    with subprocess.Popen(
        [sys.executable, "-m", "tests.soak.supervisor"], cwd=ROOT, stdout=subprocess.PIPE, text=True
    ) as head:
        assert head.stdout
        assert "working\n" == head.stdout.readline()
        head.kill()

        # It ends once nobody is left who could write to it.
        assert "" == head.stdout.read()
