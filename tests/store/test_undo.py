"""Taking back what one entered: what stood there before stands there again, and nothing is lost."""

import itertools

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from sqlalchemy import Engine

from app.exam.record import Cell, Recorded
from app.exam.vocabulary import Side
from app.store.actor import Recorder
from app.store.engine import reading, writing
from app.store.entries import history, record_medicines
from app.store.exams import ExamRecord
from app.store.refusals import Collision, MedicinesCollision, NotYours
from app.store.undo import findings_at, undo
from tests.store.clinic import NOW, an_exam, rest_normal, stored, write

charts = itertools.count(100)
DRIFT = ("drift", Side.RIGHT)
FLAP = ("flap", Side.LEFT)
ME = Recorder("Dr Per Prøve", "physician", account_id="a" * 32)
COLLEAGUE = Recorder("Ngozi Testwell", "nurse", account_id="b" * 32)


def take_back(
    engine: Engine, exam_id: str, revision: int, at: int, who: Recorder = ME
) -> ExamRecord:
    """Take one write back in a transaction of its own."""
    with writing(engine) as session:
        return undo(session, exam_id, revision, at_revision=at, recorder=who, now=NOW)


def test_what_stood_before_stands_again(engine: Engine, exam: ExamRecord) -> None:
    """Every cell of the write, by a new entry each: the slip and its mending stay readable."""
    write(engine, exam.id, {DRIFT: 1}, 0, COLLEAGUE)
    write(engine, exam.id, {DRIFT: 3, FLAP: 2}, 1, ME)
    kept = take_back(engine, exam.id, 2, 2)

    assert {DRIFT: 1} == dict(kept.exam.cells)
    assert (3, ME.name) == (kept.revision, kept.cells[DRIFT].by)
    with reading(engine) as session:
        assert [1, 3, 2, 1, None] == [each.value for each in history(session, exam.id)]
        assert {"drift", "flap"} == findings_at(session, exam.id, 2)


def test_a_station_marked_normal_is_taken_back_whole_and_can_be_marked_again(
    engine: Engine, exam: ExamRecord
) -> None:
    """The key was pressed at the wrong station; pressed at the right time it must still work."""
    write(engine, exam.id, {("dysmetria", Side.LEFT): 2}, 0, ME)
    marked = rest_normal(engine, exam.id, "reach", 1, ME)
    kept = take_back(engine, exam.id, 2, 2)
    again = rest_normal(engine, exam.id, "reach", 3, ME)

    assert {("dysmetria", Side.LEFT): 2} == dict(kept.exam.cells)
    assert not any(held.bulk for held in kept.cells.values())
    assert marked.exam.cells == again.exam.cells
    assert {cell for cell, held in marked.cells.items() if held.bulk} == {
        cell for cell, held in again.cells.items() if held.bulk
    }


def test_a_value_that_was_cleared_by_hand_before_is_cleared_again_and_stays_decided(
    engine: Engine, exam: ExamRecord
) -> None:
    """Somebody took the value out; that the rest of the station is normal says nothing of it."""
    write(engine, exam.id, {DRIFT: 1}, 0, ME)
    write(engine, exam.id, {DRIFT: None}, 1, ME)
    write(engine, exam.id, {DRIFT: 2}, 2, ME)
    take_back(engine, exam.id, 3, 3)
    marked = rest_normal(engine, exam.id, "posture", 4, ME)

    assert DRIFT not in marked.exam.cells


def test_a_mark_in_bulk_comes_back_as_one(engine: Engine, exam: ExamRecord) -> None:
    """The review lists what nobody graded by itself."""
    rest_normal(engine, exam.id, "posture", 0, ME)
    write(engine, exam.id, {DRIFT: 2}, 1, ME)
    kept = take_back(engine, exam.id, 2, 2)

    assert (0, True) == (kept.cells[DRIFT].value, kept.cells[DRIFT].bulk)


def test_nothing_is_taken_back_where_a_cell_was_written_since(
    engine: Engine, exam: ExamRecord
) -> None:
    """All of it or none: a colleague's value is not ours to take away."""
    write(engine, exam.id, {DRIFT: 3, FLAP: 2}, 0, ME)
    write(engine, exam.id, {FLAP: 1}, 1, COLLEAGUE)
    with pytest.raises(Collision) as refused:
        take_back(engine, exam.id, 1, 2)

    assert {FLAP: (1, None)} == {
        cell: (theirs.value, mine) for cell, (theirs, mine) in refused.value.cells.items()
    }
    assert {DRIFT: 3, FLAP: 1} == dict(stored(engine, exam.id).exam.cells)


@pytest.mark.parametrize("revision", [1, 2, 9])
def test_only_ones_own_write_can_be_taken_back(
    engine: Engine, exam: ExamRecord, revision: int
) -> None:
    """Neither a colleague's, nor one that nobody made."""
    write(engine, exam.id, {DRIFT: 3}, 0, COLLEAGUE)
    write(engine, exam.id, {FLAP: 3}, 1, Recorder(ME.name, ME.role))
    with pytest.raises(NotYours):
        take_back(engine, exam.id, revision, 2)

    assert 2 == stored(engine, exam.id).revision


def test_medicines_are_taken_back_too(engine: Engine, exam: ExamRecord) -> None:
    """Back to what was there, or to nobody asked; and not over a colleague's list."""

    def medicines(lines: tuple[str, ...], at: int, who: Recorder = ME) -> None:
        with writing(engine) as session:
            record_medicines(session, exam.id, lines, at_revision=at, recorder=who, now=NOW)

    medicines(("aspirin",), 0)
    assert take_back(engine, exam.id, 1, 1).exam.medicines is None
    medicines((), 2)
    medicines(("aspirin", "levodopa"), 3)
    assert () == take_back(engine, exam.id, 4, 4).exam.medicines
    medicines(("digoxin",), 5)
    medicines(("digoxin", "aspirin"), 6, COLLEAGUE)
    with pytest.raises(MedicinesCollision) as refused:
        take_back(engine, exam.id, 6, 7)

    assert () == refused.value.mine
    assert ("digoxin", "aspirin") == stored(engine, exam.id).exam.medicines


@settings(max_examples=8, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.lists(st.sampled_from([0, 2, 3, None, "normal"]), min_size=1, max_size=6))
def test_taking_back_every_write_leads_back_to_the_beginning(
    engine: Engine, steps: list[int | str | None]
) -> None:
    """Whatever was entered: step by step, the newest first."""
    exam_id = an_exam(engine, chart_number=f"T-{next(charts)}").id
    states: list[dict[Cell, Recorded]] = [{}]
    made: list[int] = []
    for step in steps:
        at = stored(engine, exam_id).revision
        if isinstance(step, str):
            kept = rest_normal(engine, exam_id, "posture", at, ME)
        else:
            kept = write(engine, exam_id, {DRIFT: step}, at, ME)
        if kept.revision > at:
            made.append(kept.revision)
            states.append(dict(kept.exam.cells))
    for revision in reversed(made):
        states.pop()
        kept = take_back(engine, exam_id, revision, stored(engine, exam_id).revision)
        assert states[-1] == dict(kept.exam.cells)
