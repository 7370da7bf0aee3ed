"""Wrong passwords are counted for each name and each address."""

import threading
from concurrent.futures import ThreadPoolExecutor
from datetime import datetime, timedelta

from sqlalchemy import Engine
from sqlmodel import select

from app.store.engine import reading, writing
from app.store.guesses import (
    KEPT_FOR,
    failures,
    failures_everywhere,
    forget_failures,
    note_failure,
)
from app.store.people_tables import GuessRow
from tests.store.clinic import MINUTE, NOW

HERE, THERE = "192.0.2.7", "192.0.2.8"
AT_ONCE = 6


def guess(engine: Engine, name: str, source: str, now: datetime = NOW) -> None:
    """A wrong password, in a transaction of its own."""
    with writing(engine) as session:
        note_failure(session, name, source, now)


def counted(engine: Engine, name: str, source: str) -> tuple[int, datetime | None]:
    """What the next try from there would have to wait for."""
    with writing(engine) as session:
        return failures(session, name, source)


def test_nothing_was_wrong_at_the_beginning(engine: Engine) -> None:
    """Nobody waits for nothing."""
    assert (0, None) == counted(engine, "ngozi", HERE)
    with reading(engine) as session:
        assert 0 == failures_everywhere(session, "ngozi")


def test_each_address_counts_for_itself(engine: Engine) -> None:
    """Who guesses at a colleague's password does not lock the colleague out."""
    for minute in range(3):
        guess(engine, "ngozi", HERE, NOW + minute * MINUTE)
    guess(engine, "ngozi", THERE)

    assert (3, NOW + 2 * MINUTE) == counted(engine, "ngozi", HERE)
    assert (1, NOW) == counted(engine, "ngozi", THERE)
    assert (0, None) == counted(engine, "per", HERE)
    with reading(engine) as session:
        assert 4 == failures_everywhere(session, "ngozi")


def test_the_right_one_begins_anew_where_it_was_typed(engine: Engine) -> None:
    """What somebody else guesses elsewhere still counts there."""
    for source in (HERE, THERE):
        guess(engine, "ngozi", source)
    with writing(engine) as session:
        forget_failures(session, "ngozi", HERE)

    assert (0, None) == counted(engine, "ngozi", HERE)
    assert (1, NOW) == counted(engine, "ngozi", THERE)


def test_many_at_once_are_all_counted(engine: Engine) -> None:
    """Sending guesses side by side is no way around the wait."""
    start = threading.Barrier(AT_ONCE)

    def send(_: int) -> None:
        start.wait()
        guess(engine, "ngozi", HERE)

    with ThreadPoolExecutor(AT_ONCE) as pool:
        list(pool.map(send, range(AT_ONCE)))

    assert (AT_ONCE, NOW) == counted(engine, "ngozi", HERE)


def test_who_asks_at_the_same_time_waits_for_the_count(engine: Engine) -> None:
    """Otherwise two would be let through on one count."""
    guess(engine, "ngozi", HERE)
    seen: list[int] = []

    def ask_and_guess() -> None:
        with writing(engine) as session:
            seen.append(failures(session, "ngozi", HERE)[0])
            note_failure(session, "ngozi", HERE, NOW)

    with ThreadPoolExecutor(AT_ONCE) as pool:
        for done in [pool.submit(ask_and_guess) for _ in range(AT_ONCE)]:
            done.result()

    assert list(range(1, AT_ONCE + 1)) == sorted(seen)


def test_a_name_is_not_kept_as_it_was_typed(engine: Engine) -> None:
    """Now and then it is a password that went into the wrong field."""
    guess(engine, "correct horse battery", HERE)
    with reading(engine) as session:
        row = session.exec(select(GuessRow)).one()

    assert "horse" not in repr(row)


def test_what_is_long_ago_is_forgotten(engine: Engine) -> None:
    """Names that nobody has would fill the table; who was wrong yesterday begins anew."""
    guess(engine, "nobody", HERE)
    guess(engine, "ngozi", HERE)
    guess(engine, "ngozi", HERE, NOW + KEPT_FOR)
    kept = counted(engine, "ngozi", HERE)
    guess(engine, "ngozi", HERE, NOW + 2 * KEPT_FOR + timedelta(microseconds=1))

    assert (2, NOW + KEPT_FOR) == kept
    assert 1 == counted(engine, "ngozi", HERE)[0]
    with reading(engine) as session:
        assert 1 == len(session.exec(select(GuessRow)).all())
