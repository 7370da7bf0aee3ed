"""Two people at one exam, on two connections, at the same time."""

import threading
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from contextlib import suppress

import pytest
from sqlalchemy import Engine

from app.exam.record import Recorded
from app.exam.vocabulary import Side, vocabulary
from app.store.actor import Recorder
from app.store.engine import reading, writing
from app.store.entries import history, record, record_medicines
from app.store.exams import ExamRecord
from app.store.refusals import Collision, MedicinesCollision
from tests.store.clinic import NOW, NURSE, PHYSICIAN, an_exam, stored, wait_until_blocked, write

WRITERS = 4
WRITES = 12
GRADED = [f.id for f in vocabulary().at("repeat") if f.core]


def together(job: Callable[[int], None]) -> None:
    """Run the job in every writer's thread, all let go at the same moment."""
    start = threading.Barrier(WRITERS)

    def run(number: int) -> None:
        start.wait()
        job(number)

    with ThreadPoolExecutor(WRITERS) as pool:
        list(pool.map(run, range(WRITERS)))


def test_writers_on_cells_of_their_own_lose_nothing(engine: Engine) -> None:
    """None of them has seen the others' entries; all are kept, each write in a revision."""
    exam = an_exam(engine)

    def grade(number: int) -> None:
        seen = 0
        for turn in range(WRITES):
            cell = (GRADED[number], Side.RIGHT)
            seen = write(engine, exam.id, {cell: turn % 3}, seen).revision

    together(grade)
    kept = stored(engine, exam.id)
    with reading(engine) as session:
        made = history(session, exam.id)

    assert WRITERS * WRITES == kept.revision == len(made)
    assert list(range(1, kept.revision + 1)) == [entry.revision for entry in made]
    for finding in GRADED[:WRITERS]:
        values = [entry.value for entry in made if entry.finding == finding]
        assert [turn % 3 for turn in range(WRITES)] == values
    assert {(f, Side.RIGHT): (WRITES - 1) % 3 for f in GRADED[:WRITERS]} == dict(kept.exam.cells)


def test_lines_that_all_of_them_add_to_one_list_are_all_there(engine: Engine) -> None:
    """Who comes too late is told, looks again and writes again; no line is written over."""
    exam = an_exam(engine)

    def add(line: str, recorder: Recorder) -> None:
        seen = stored(engine, exam.id)
        lines = (*(seen.exam.medicines or ()), line)
        with writing(engine) as session:
            record_medicines(
                session, exam.id, lines, at_revision=seen.revision, recorder=recorder, now=NOW
            )

    def add_all(number: int) -> None:
        waiting = [f"medicine {number}-{turn}" for turn in range(WRITES)]
        while waiting:
            with suppress(MedicinesCollision):
                add(waiting[0], Recorder(f"Writer {number}", "nurse"))
                waiting.pop(0)

    together(add_all)
    with reading(engine) as session:
        made = history(session, exam.id)

    lines = stored(engine, exam.id).exam.medicines or ()
    expected = {f"medicine {number}-{turn}" for number in range(WRITERS) for turn in range(WRITES)}
    assert (expected, WRITERS * WRITES) == (set(lines), len(lines))
    assert [lines[:count] for count in range(1, len(lines) + 1)] == [each.value for each in made]
    assert [None, *(each.entry_id for each in made[:-1])] == [each.replaces for each in made]


@pytest.mark.parametrize(("value", "collides"), [(1, False), (2, True)])
def test_a_writer_waits_for_the_other_and_then_looks(
    engine: Engine, value: Recorded, collides: bool
) -> None:
    """It decides by what is there when its turn comes, not by what was there when it came."""
    exam = an_exam(engine)
    cell = ("drift", Side.RIGHT)
    ended: list[ExamRecord | Collision] = []

    def late() -> None:
        try:
            ended.append(write(engine, exam.id, {cell: value}, 0, PHYSICIAN))
        except Collision as collision:
            ended.append(collision)

    second = threading.Thread(target=late)
    with writing(engine) as session:
        first = record(session, exam.id, {cell: 1}, at_revision=0, recorder=NURSE, now=NOW)
        second.start()
        wait_until_blocked(engine, second)
    second.join()

    assert [collides] == [isinstance(end, Collision) for end in ended]
    assert first == stored(engine, exam.id)
