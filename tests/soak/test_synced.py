"""An entry is on the disk before it is said to be saved: read from the system calls of a server."""

import os
import re
import shutil
import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest

from app.store.engine import make_engine
from tests.cluster.machines import AppServer, free_port
from tests.cluster.people import Person
from tests.web.clinic import PHYSICIAN, add_members

SYNCS = ("fdatasync", "fsync")
WRITES = ("write", "writev", "pwrite64", "pwritev")
HEARS, SAYS = ("recvfrom", "read"), ("sendto", "sendmsg", "write", "writev")
# A thread may be interrupted between the two halves of a call.
BEGINS = re.compile(r"^(\d+) +(\w+)\(")
ENDS = re.compile(r"^(\d+) +<\.\.\. (\w+) resumed>.* = (-?\d+)")
WHOLE = re.compile(r"^(\d+) +(\w+)\(.* = (-?\d+)")
SAVED, SENT = '"HTTP/1.1 200', '"POST /exams/'


@pytest.fixture
def strace() -> tuple[str, ...]:
    """The command that writes down system calls; not everywhere may one process watch another."""
    program, calls = shutil.which("strace"), ",".join({*SYNCS, *WRITES, *HEARS, *SAYS})
    command = (str(program), "-f", "-y", "--seccomp-bpf", "-s", "64", "-e", f"trace={calls}")
    missing = "strace is not installed; script/bootstrap --test installs it"
    if program:
        tried = subprocess.run([*command, "true"], capture_output=True, text=True, check=False)
        missing = f"this machine lets no process watch another: {tried.stderr[-200:]}"
        if tried.returncode == 0:
            return command
    if os.environ.get("EVENHAND_REQUIRE_ALL") == "1":
        pytest.fail(missing)
    pytest.skip(missing)


def test_every_entry_is_synced_before_it_is_said_to_be_saved(
    strace: tuple[str, ...], tmp_path: Path
) -> None:
    """A power cut after “saved” finds it in the file, as far as the disk keeps its word."""
    trace, file = tmp_path / "trace", tmp_path / "evenhand.db"
    ours = {
        "EVENHAND_DATABASE_URL": f"sqlite:///{file}",
        "EVENHAND_DEMO": "false",
        "EVENHAND_PLAIN_HTTP": "true",
    }
    server = AppServer(
        "app", free_port(), os.environ | ours, tmp_path / "log", (*strace, "-o", str(trace))
    )
    server.start()
    try:
        server.wait_until_ready()
        engine = make_engine(ours["EVENHAND_DATABASE_URL"])
        add_members(engine)
        with Person.at(server.address, PHYSICIAN) as person:
            person.start_exam()
            for value in "0123":
                person.enter("drift", "right", value)
        engine.dispose()
    finally:
        server.kill()
    lines = trace.read_text("utf-8", errors="replace").splitlines()

    assert 4 == len(person.acknowledged)
    assert ["written, synced"] * 4 == list(before_each_answer(lines, f"{file}-wal"))


def before_each_answer(lines: list[str], log: str) -> Iterator[str]:
    """What became of the database's log between an entry and the answer that it is saved.

    lines: of strace, in the order of time.
    """
    state, syncing = "", set()
    for line in lines:
        begins, ends = BEGINS.match(line), ENDS.match(line) or WHOLE.match(line)
        call = ends or begins
        if call and call[2] in HEARS and SENT in line and "/cells" in line:
            state = "nothing written"
        if begins and log in line:
            if begins[2] in WRITES and state:
                state = "written, not synced"
            if begins[2] in SYNCS:
                syncing.add(begins[1])
        if ends and ends[2] in SYNCS and ends[1] in syncing:
            syncing.discard(ends[1])
            if ends[3] == "0" and state == "written, not synced":
                state = "written, synced"
        if begins and begins[2] in SAYS and SAVED in line and state:
            yield state
            state = ""
