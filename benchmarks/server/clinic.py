"""The demonstration clinic served as a clinic would serve it, with fifty clinicians at work."""

import os
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from sqlalchemy import Engine, func
from sqlmodel import Session, col, select

from app.exam.record import Cell, Recorded
from app.exam.vocabulary import Scale, vocabulary
from app.people.tokens import form_token, hash_token, new_token
from app.places import DEMO
from app.settings import Settings
from app.store.account_changes import add_account
from app.store.actor import PROGRAM, Actor, Recorder
from app.store.demo_files import read_demo
from app.store.engine import reading, writing
from app.store.entries import record
from app.store.exams import start_exam
from app.store.patients import add_patient, check_patient
from app.store.sign_ins import start_sign_in
from app.store.tables import EntryRow
from benchmarks.serving import fill

HERE = "127.0.0.1"
PEOPLE = 50
# The first ten work in every run, and go on to another exam more often.
EXAMS_OF_MANY, EXAMS_OF_FEW = 8, 2
# An exam in the middle of being recorded.
CELLS = 60
START_S = 60


@contextmanager
def running(command: list[str], environment: dict[str, str], port: int) -> Iterator[int]:
    """A server as a process of its own, once it listens; the number of the process."""
    server = subprocess.Popen(
        [sys.executable, "-m", *command],
        env={**os.environ, **environment},
        # What it logs is written all the same, as it is where a clinic keeps it.
        stdout=subprocess.DEVNULL,
        stderr=subprocess.PIPE,
    )
    try:
        _wait_for(port, server)
        yield server.pid
    finally:
        server.terminate()
        server.communicate()


def free_port() -> int:
    """A port on which nobody listens."""
    with socket.socket() as listening:
        listening.bind((HERE, 0))
        port: int = listening.getsockname()[1]
        return port


def _wait_for(port: int, server: "subprocess.Popen[bytes]") -> None:
    deadline = time.monotonic() + START_S
    while time.monotonic() < deadline and server.poll() is None:
        with socket.socket() as asking:
            if asking.connect_ex((HERE, port)) == 0:
                return
        time.sleep(0.05)
    said = server.stderr.read().decode() if server.poll() is not None and server.stderr else ""
    raise RuntimeError(f"the server did not start: {said[-400:]}")


@contextmanager
def evenhand(url: str, folder: Path) -> Iterator[tuple[int, int]]:
    """`evenhand serve` on a demonstration database: the port and the number of the process."""
    fill(Settings(_env_file=None, database_url=url, demo=True))
    port = free_port()
    environment = {
        "EVENHAND_DATABASE_URL": url,
        "EVENHAND_DEMO": "true",
        "EVENHAND_PLAIN_HTTP": "true",
        "EVENHAND_SEAL_FOLDER": str(folder),
    }
    with running(["app", "serve", "--port", str(port)], environment, port) as process:
        yield port, process


@contextmanager
def naive(url: str) -> Iterator[int]:
    """The floor: the port."""
    port = free_port()
    command = ["uvicorn", "benchmarks.server.naive:app", "--port", str(port), "--no-access-log"]
    command += ["--log-level", "critical"]
    with running(command, {"NAIVE_DATABASE_URL": url}, port):
        yield port


def cpu_ms(process: int) -> float:
    """The CPU time that a process has used, all its threads together."""
    # The name in brackets may hold anything; user and system time are the 14th and 15th field.
    fields = Path(f"/proc/{process}/stat").read_text().rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) * 1000 / os.sysconf("SC_CLK_TCK")


def people_at_work(engine: Engine) -> list[dict[str, Any]]:
    """Physicians who are signed in, each with exams of their own, as the load takes them."""
    return [_clinician(engine, at, _half_an_exam()) for at in range(PEOPLE)]


def entries_of(engine: Engine, people: list[dict[str, Any]]) -> int:
    """How many entries their exams have beyond those that they began with."""
    exams = [exam["id"] for who in people for exam in who["exams"]]
    with reading(engine) as session:
        asked = select(func.count()).select_from(EntryRow).where(col(EntryRow.exam_id).in_(exams))
        return int(session.exec(asked).one()) - CELLS * len(exams)


def _half_an_exam() -> dict[Cell, Recorded]:
    exams = (exam for each in read_demo(DEMO, datetime.now(UTC)).patients for exam in each.exams)
    fullest = max(exams, key=lambda each: len(each.exam.cells))
    return dict(list(fullest.exam.cells.items())[:CELLS])


def _clinician(engine: Engine, at: int, cells: dict[Cell, Recorded]) -> dict[str, Any]:
    now, name, token = datetime.now(UTC), f"Dr. Bench {at}", new_token()
    with writing(engine) as session:
        held = add_account(session, f"bench.{at}", name, "physician", actor=PROGRAM, now=now)
        who = (name, "physician", held.id, HERE)
        start_sign_in(session, held.id, hash_token(token), actor=Actor(*who), now=now)
        exams = [
            _exam(session, f"B-{at}-{number}", Recorder(*who), cells, now)
            for number in range(EXAMS_OF_MANY if at < 10 else EXAMS_OF_FEW)
        ]
    return {"cookie": token, "form_token": form_token(token), "exams": exams}


def _exam(
    session: Session, chart: str, me: Recorder, cells: dict[Cell, Recorded], now: datetime
) -> dict[str, Any]:
    typed = {"chart_number": chart, "family_name": "Vzorek", "given_name": "Emil"}
    new = check_patient({**typed, "birth_date": "1951-03-09", "sex": "male"}, now.date())
    made = start_exam(session, add_patient(session, new, now).id, me, "tremor", now)
    held = record(session, made.id, cells, at_revision=0, recorder=me, now=now)
    graded = [
        [finding, side.value if side else "", int(str(value))]
        for (finding, side), value in held.exam.cells.items()
        if vocabulary()[finding].scale is Scale.GRADE and isinstance(value, int)
    ]
    return {"id": made.id, "revision": held.revision, "cells": graded}
