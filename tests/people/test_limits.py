"""A sign-in locks and ends in time, whatever the clock does."""

from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.people.limits import Limits, Standing, standing

LIMITS = Limits()
START = datetime(2026, 3, 4, 7, 30, tzinfo=UTC)
SECOND = timedelta(seconds=1)
# Worst first: what a sign-in has lost does not come back by itself.
ORDER = (Standing.ENDED, Standing.LOCKED, Standing.ACTIVE)
spans = st.timedeltas(timedelta(0), timedelta(hours=26))
any_spans = st.timedeltas(timedelta(hours=-26), timedelta(hours=26))


def at(
    now: timedelta,
    *,
    active: timedelta = timedelta(0),
    locked: timedelta | None = None,
    ended: timedelta | None = None,
) -> Standing:
    """The standing, with every time counted from the start of the sign-in."""
    return standing(
        started_at=START,
        active_at=START + active,
        locked_at=None if locked is None else START + locked,
        ended_at=None if ended is None else START + ended,
        now=START + now,
        limits=LIMITS,
    )


def test_the_defaults_are_ten_minutes_twelve_hours_and_thirty_seconds() -> None:
    """The decision and the administrator's page name these figures."""
    assert Limits(timedelta(minutes=10), timedelta(hours=12), timedelta(seconds=30)) == Limits()


def test_it_locks_when_it_was_not_used_for_ten_minutes() -> None:
    """A room stands open between two patients."""
    used, idle = timedelta(hours=1), LIMITS.idle

    assert Standing.ACTIVE == at(used + idle - SECOND, active=used)
    assert Standing.LOCKED == at(used + idle, active=used)


def test_it_ends_after_twelve_hours_though_it_is_used() -> None:
    """A token that was stolen is of no use on the next day."""
    last = LIMITS.absolute - SECOND

    assert Standing.ACTIVE == at(last, active=last)
    assert Standing.ENDED == at(LIMITS.absolute, active=last)


def test_what_was_locked_stays_locked_though_it_was_used_since() -> None:
    """The lock was pressed; a page that still asks by itself does not undo it."""
    assert Standing.LOCKED == at(timedelta(minutes=3), active=timedelta(minutes=3), locked=SECOND)


def test_what_was_ended_stays_ended_though_it_was_locked() -> None:
    """Signing out leaves nothing that a password could open again."""
    assert Standing.ENDED == at(timedelta(minutes=3), locked=SECOND, ended=SECOND)


def test_a_clock_set_back_locks() -> None:
    """How long nobody was there is not known then."""
    used = timedelta(hours=2)

    assert Standing.LOCKED == at(timedelta(hours=1), active=used)


def test_a_clock_set_back_before_the_start_ends() -> None:
    """How long ago the person proved who they are is not known then."""
    assert Standing.ENDED == at(timedelta(hours=-1))


def test_two_servers_whose_clocks_differ_by_seconds_agree() -> None:
    """Somebody whose requests are answered by two servers must not be locked out by that."""
    assert Standing.ACTIVE == at(timedelta(seconds=-4))
    assert Standing.ACTIVE == at(timedelta(minutes=1), active=timedelta(seconds=64))


@given(spans, spans, spans)
def test_as_time_passes_it_only_gets_worse(
    active: timedelta, now: timedelta, later: timedelta
) -> None:
    """Nothing but a person makes a sign-in good again."""
    active = min(active, now)

    assert ORDER.index(at(now + later, active=active)) <= ORDER.index(at(now, active=active))


@given(spans, any_spans)
def test_no_clock_makes_it_last_longer(active: timedelta, moved: timedelta) -> None:
    """Wherever the clock is set, it is active only within the limits of what is written down."""
    found = at(active + moved, active=active)

    assert found is not Standing.ACTIVE or -timedelta(seconds=5) <= moved < LIMITS.idle
    assert found is Standing.ENDED or active + moved < LIMITS.absolute


@given(any_spans, any_spans, st.none() | any_spans, st.none() | any_spans)
def test_every_sign_in_has_a_standing(
    active: timedelta, now: timedelta, locked: timedelta | None, ended: timedelta | None
) -> None:
    """No order of the times that a database can hold is an error."""
    found = at(now, active=active, locked=locked, ended=ended)

    assert ended is None or found is Standing.ENDED
    assert locked is None or found is not Standing.ACTIVE


@pytest.mark.parametrize(
    ("idle", "absolute", "warning"),
    [
        (timedelta(minutes=10), timedelta(hours=12), timedelta(seconds=19)),
        (timedelta(seconds=30), timedelta(hours=12), timedelta(seconds=30)),
        (timedelta(hours=13), timedelta(hours=12), timedelta(seconds=30)),
        (timedelta(0), timedelta(0), timedelta(0)),
    ],
)
def test_limits_that_cannot_be_kept_together_are_refused(
    idle: timedelta, absolute: timedelta, warning: timedelta
) -> None:
    """A warning comes 20 seconds ahead at least (WCAG 2.2, SC 2.2.1), and before the lock."""
    with pytest.raises(ValueError, match="expected a warning of at least 20 seconds"):
        Limits(idle, absolute, warning)
