"""Guessing takes ever longer, and only for those who guess."""

from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.people.throttle import FREE, LONGEST_WAIT, MANY, wait_before

NOW = datetime(2026, 3, 4, 12, 0, tzinfo=UTC)
NO_WAIT = timedelta(0)
DAY = timedelta(days=1)
counts = st.integers(0, 10**6)
spans = st.timedeltas(NO_WAIT, DAY)


@pytest.mark.parametrize(
    ("failures", "seconds"),
    [
        (0, 0),
        (4, 0),
        (5, 2),
        (6, 4),
        (7, 8),
        (8, 16),
        (13, 512),
        (14, 900),
        (20, 900),
        (10**6, 900),
    ],
)
def test_the_first_five_tries_are_free_and_then_the_wait_doubles(
    failures: int, seconds: int
) -> None:
    """Typing mistakes cost nothing; who guesses gets fewer than a hundred tries a day."""
    assert timedelta(seconds=seconds) == wait_before(failures, NOW, NOW)


def test_a_colleague_at_another_address_does_not_wait() -> None:
    """Somebody who guesses must not be able to lock the owner of the account out."""
    assert NO_WAIT == wait_before(0, None, NOW)
    assert NO_WAIT == wait_before(0, None, NOW, everywhere=10**9)


def test_when_many_guess_each_address_has_one_free_try() -> None:
    """An attack from many addresses is slowed; no address waits before its first try."""
    assert [timedelta(seconds=each) for each in (0, 2, 4)] == [
        wait_before(failures, NOW, NOW, everywhere=MANY) for failures in (0, 1, 2)
    ]
    assert NO_WAIT == wait_before(FREE - 1, NOW, NOW, everywhere=MANY - 1)


def test_the_wait_runs_down() -> None:
    """The page says how long it still takes."""
    assert timedelta(seconds=10) == wait_before(8, NOW, NOW + timedelta(seconds=6))
    assert NO_WAIT == wait_before(8, NOW, NOW + timedelta(seconds=16))


def test_a_clock_set_back_by_hours_does_not_lock_anybody_out() -> None:
    """The next try goes through, and a wrong one is counted at the clock's new time."""
    assert NO_WAIT == wait_before(20, NOW, NOW - timedelta(hours=3))
    assert LONGEST_WAIT == wait_before(21, NOW - timedelta(hours=3), NOW - timedelta(hours=3))


def test_a_clock_that_is_a_second_behind_gives_no_free_tries() -> None:
    """Of two servers one is always a little behind; guessing there must not be quicker."""
    assert timedelta(seconds=15) == wait_before(8, NOW, NOW - timedelta(seconds=1))


@given(counts, counts, spans, counts, counts)
def test_more_wrong_passwords_never_wait_less(
    failures: int, more: int, since: timedelta, everywhere: int, more_everywhere: int
) -> None:
    """Neither one's own nor those from elsewhere."""
    before = wait_before(failures, NOW, NOW + since, everywhere=everywhere)
    after = wait_before(failures + more, NOW, NOW + since, everywhere=everywhere + more_everywhere)

    assert before <= after


@given(counts, spans, spans, counts)
def test_the_wait_never_grows_as_time_passes(
    failures: int, since: timedelta, later: timedelta, everywhere: int
) -> None:
    """Who waits as long as the page said is let through."""
    wait = wait_before(failures, NOW, NOW + since, everywhere=everywhere)

    assert wait_before(failures, NOW, NOW + since + later, everywhere=everywhere) <= wait
    assert NO_WAIT == wait_before(failures, NOW, NOW + since + wait, everywhere=everywhere)


@given(counts, st.timedeltas(-DAY, DAY), counts)
def test_no_wait_is_negative_or_over_a_quarter_of_an_hour(
    failures: int, moved: timedelta, everywhere: int
) -> None:
    """Nothing is locked for good, wherever the clock is set."""
    assert NO_WAIT <= wait_before(failures, NOW, NOW + moved, everywhere=everywhere) <= LONGEST_WAIT


@given(counts, st.timedeltas(-DAY, NO_WAIT), counts)
def test_after_twice_the_longest_wait_everybody_gets_a_try(
    failures: int, moved: timedelta, everywhere: int
) -> None:
    """Also after the clock was set back between the wrong password and the next try."""
    first = wait_before(failures, NOW, NOW + moved, everywhere=everywhere)
    later = NOW + moved + 2 * LONGEST_WAIT

    assert first == NO_WAIT or NO_WAIT == wait_before(failures, NOW, later, everywhere=everywhere)
