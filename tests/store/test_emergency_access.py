"""Emergency access: charts opened for an hour, with a reason and a mark in the audit."""

from datetime import datetime, timedelta

import pytest
from sqlalchemy import Engine
from sqlmodel import select

from app.store.accounts import Account
from app.store.audit_tables import EmergencyAccessRow
from app.store.emergency_access import emergency_until, open_emergency_access
from app.store.engine import reading, writing
from app.store.refusals import BadForm
from app.store.verify import verify
from tests.store.clinic import MINUTE, NOW
from tests.store.people import an_account, as_actor, audited

TICK = timedelta(microseconds=1)
HOUR = timedelta(hours=1)


def open_for(engine: Engine, whose: Account, reason: str, now: datetime = NOW) -> datetime:
    """Open the charts, in a transaction of its own."""
    with writing(engine) as session:
        return open_emergency_access(session, reason, actor=as_actor(whose), now=now)


def until(engine: Engine, account_id: str, now: datetime) -> datetime | None:
    """Until when charts are open."""
    with reading(engine) as session:
        return emergency_until(session, account_id, now)


def test_it_lasts_an_hour_for_the_one_who_said_why(engine: Engine) -> None:
    """From the moment on, to the moment that was said; a clock that went back opens nothing."""
    whose = an_account(engine, "admin", "administrator")
    other = an_account(engine, "other", "administrator")
    before = until(engine, whose.id, NOW)
    end = open_for(engine, whose, "a call from the ward")
    moments = (NOW - TICK, NOW, end - TICK, end)

    assert (None, NOW + HOUR) == (before, end)
    assert [None, end, end, None] == [until(engine, whose.id, now) for now in moments]
    assert until(engine, other.id, NOW) is None


def test_opening_again_makes_it_longer(engine: Engine) -> None:
    """Each with its own reason."""
    whose = an_account(engine, "admin", "administrator")
    open_for(engine, whose, "first")
    open_for(engine, whose, "second", NOW + 30 * MINUTE)

    assert NOW + 90 * MINUTE == until(engine, whose.id, NOW + 70 * MINUTE)


def test_it_is_marked_for_ever(engine: Engine) -> None:
    """The audit tells it; the reason stands in a row that nobody can change unseen."""
    whose = an_account(engine, "admin", "administrator")
    open_for(engine, whose, " a call  from the ward ")
    with reading(engine) as session:
        row = session.exec(select(EmergencyAccessRow)).one()
        told = (row.account_id, row.reason, row.at, row.until)
        verified = verify(session)

    assert (whose.id, "a call from the ward", NOW, NOW + HOUR) == told
    assert ("emergency_access", whose.printed_name, {"minutes": 60}) == audited(engine)[-1]
    assert (1, ()) == (verified.rows, verified.alterations)


@pytest.mark.parametrize(
    ("reason", "says"),
    [
        ("", "the reason is missing"),
        (" . ", "the reason has no letter or digit"),
        ("x" * 501, "the reason is longer than 500 characters"),
    ],
)
def test_without_a_reason_nothing_opens(engine: Engine, reason: str, says: str) -> None:
    """Somebody will ask for it."""
    whose = an_account(engine, "admin", "administrator")
    with pytest.raises(BadForm) as fault:
        open_for(engine, whose, reason)

    assert {"reason": says} == fault.value.faults
    assert until(engine, whose.id, NOW) is None
