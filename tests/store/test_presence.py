"""Who else is at an exam, and where."""

import threading
from concurrent.futures import ThreadPoolExecutor
from datetime import datetime, timedelta

import pytest
from sqlalchemy import Engine
from sqlmodel import select

from app.store.engine import reading, writing
from app.store.exams import ExamRecord
from app.store.presence import GONE_AFTER, WRITTEN_EVERY, Present, here, here_in, is_due, seen
from app.store.tables import PresenceRow
from tests.store.clinic import NOW, an_exam

TICK = timedelta(microseconds=1)
NGOZI, PER = Present("Ngozi", "nurse", "rest"), Present("Per", "physician", "gait")


def at(engine: Engine, exam_id: str, token: str, who: Present, now: datetime = NOW) -> None:
    """Somebody's page asks for what is new."""
    with writing(engine) as session:
        seen(session, exam_id, token, who.name, who.role, who.station, now)


def others(engine: Engine, exam_id: str, now: datetime = NOW, but: str = "") -> list[Present]:
    """Who is there but for the browser that asks."""
    with reading(engine) as session:
        return here(session, exam_id, now, but)


def test_each_sees_the_other_and_not_themselves(engine: Engine, exam: ExamRecord) -> None:
    """And nobody at another patient's exam."""
    elsewhere = an_exam(engine, chart_number="T-2")
    at(engine, exam.id, "n", NGOZI)
    at(engine, exam.id, "p", PER)
    at(engine, elsewhere.id, "n", NGOZI)

    assert [PER] == others(engine, exam.id, but="n")
    assert [NGOZI] == others(engine, exam.id, but="p")
    assert [NGOZI, PER] == others(engine, exam.id)


def test_who_is_at_which_exam_of_many(engine: Engine, exam: ExamRecord) -> None:
    """The worklist asks once for all of them; one at which nobody is is not named."""
    second, third = (an_exam(engine, chart_number=f"T-{n}") for n in (2, 3))
    at(engine, exam.id, "n", NGOZI)
    at(engine, exam.id, "p", PER)
    at(engine, second.id, "p", PER, NOW - GONE_AFTER)
    at(engine, third.id, "p", PER)
    with reading(engine) as session:
        asked = [exam.id, second.id]

        assert {exam.id: [NGOZI, PER]} == here_in(session, asked, NOW, "")
        assert {exam.id: [PER]} == here_in(session, asked, NOW, "n")
        assert {} == here_in(session, [], NOW, "")


def test_who_goes_on_is_seen_there(engine: Engine, exam: ExamRecord) -> None:
    """At once, also when the last write was just before."""
    moved = Present("Ngozi", "nurse", "gait")
    at(engine, exam.id, "n", NGOZI)
    at(engine, exam.id, "n", moved, NOW + TICK)

    assert [moved] == others(engine, exam.id)


@pytest.mark.parametrize(
    ("now", "is_here"),
    [(GONE_AFTER - TICK, True), (GONE_AFTER, False), (-GONE_AFTER, False), (-TICK, True)],
)
def test_who_is_not_heard_of_is_gone(
    engine: Engine, exam: ExamRecord, now: timedelta, is_here: bool
) -> None:
    """A closed window leaves nobody standing there, nor does a clock that went back."""
    at(engine, exam.id, "n", NGOZI)

    assert ([NGOZI] if is_here else []) == others(engine, exam.id, NOW + now)


@pytest.mark.parametrize(
    ("later", "station", "due"),
    [
        (WRITTEN_EVERY - TICK, "rest", False),
        (WRITTEN_EVERY, "rest", True),
        (-WRITTEN_EVERY, "rest", True),
        (TICK, "gait", True),
    ],
)
def test_it_is_written_now_and_then_only(
    engine: Engine, exam: ExamRecord, later: timedelta, station: str, due: bool
) -> None:
    """A page asks every two seconds; a write holds up others."""
    at(engine, exam.id, "n", NGOZI)
    with reading(engine) as session:
        asked = is_due(session, exam.id, "n", station, NOW + later)
    at(engine, exam.id, "n", Present("Ngozi", "nurse", station), NOW + later)
    with reading(engine) as session:
        written = session.exec(select(PresenceRow.at)).one()

    assert (due, NOW + later if due else NOW) == (asked, written)


def test_two_windows_of_one_browser_do_not_trip_each_other(
    engine: Engine, exam: ExamRecord
) -> None:
    """They share a token and may ask for the first time at once."""
    start = threading.Barrier(4)

    def ask(_: int) -> None:
        start.wait()
        at(engine, exam.id, "n", NGOZI)

    with ThreadPoolExecutor(4) as pool:
        list(pool.map(ask, range(4)))

    assert [NGOZI] == others(engine, exam.id)
