"""Emergency access: charts opened for an hour, with a reason and a mark in the audit."""

from collections.abc import Callable
from datetime import datetime, timedelta

import pytest
from sqlalchemy import Engine
from sqlmodel import Session, select

from app.store.accounts import Account
from app.store.audit_tables import EmergencyAccessRow
from app.store.emergency_access import (
    BY_HAND,
    emergency_until,
    end_emergency_access,
    open_emergency_access,
)
from app.store.engine import reading, writing
from app.store.proofs import set_password
from app.store.refusals import BadForm, NotFound
from app.store.sign_ins import end, lock, renew
from app.store.verify import verify
from tests.store.clinic import MINUTE, NOW
from tests.store.people import (
    ADMINISTRATOR,
    an_account,
    as_actor,
    audited,
    one_after_the_other,
    signed_in,
)
from tests.store.test_accounts import change

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


def test_it_ends_before_the_hour_and_stays_ended(engine: Engine) -> None:
    """A clock that goes back does not open it again; a new reason does. All of it is kept."""
    whose = an_account(engine, "admin", "administrator")
    open_for(engine, whose, "a call from the ward")
    for _ in range(2):
        with writing(engine) as session:
            end_emergency_access(
                session, whose.id, BY_HAND, actor=as_actor(whose), now=NOW + 10 * MINUTE
            )
    with reading(engine) as session:
        verified = verify(session)
    ended = [until(engine, whose.id, NOW + minutes * MINUTE) for minutes in (5, 10, 30)]
    told = ("emergency_access_end", whose.printed_name, {"account": whose.id})

    assert [None, None, None] == ended
    assert [told] == [each for each in audited(engine) if each[0] == told[0]]
    assert (2, ()) == (verified.rows, verified.alterations)
    again = open_for(engine, whose, "another call", NOW + 20 * MINUTE)
    assert again == until(engine, whose.id, NOW + 30 * MINUTE)


@pytest.mark.parametrize("changed", [{"role": "physician"}, {"is_active": False}])
def test_another_role_does_not_keep_it(engine: Engine, changed: dict[str, object]) -> None:
    """What a physician reads afterwards is their work, and no emergency; who did it is told."""
    whose = an_account(engine, "admin", "administrator")
    an_account(engine, "other", "administrator")
    open_for(engine, whose, "a call from the ward")
    with writing(engine) as session:
        change(session, whose, **changed)
    ends = [each for each in audited(engine) if each[0] == "emergency_access_end"]

    assert until(engine, whose.id, NOW + 2 * MINUTE) is None
    assert [("emergency_access_end", ADMINISTRATOR.name, {"account": whose.id})] == ends


def test_who_is_given_another_role_at_the_same_moment_does_not_open_it(engine: Engine) -> None:
    """The request came from a page of the old role."""
    whose = an_account(engine, "admin", "administrator")
    an_account(engine, "other", "administrator")
    refused = one_after_the_other(
        engine,
        lambda session: change(session, whose, role="physician"),
        lambda session: open_emergency_access(
            session, "a call from the ward", actor=as_actor(whose), now=NOW
        ),
    )

    assert [NotFound] == [type(each) for each in refused]
    assert until(engine, whose.id, NOW) is None


def test_it_ends_with_a_sign_out_and_not_with_a_lock(engine: Engine) -> None:
    """In whichever browser; a screen that is opened again goes on as it was."""
    whose = an_account(engine, "admin", "administrator")
    for token in ("one", "two"):
        signed_in(engine, whose, token)
    open_for(engine, whose, "a call from the ward")
    actor, open_still = as_actor(whose), []
    steps: tuple[Callable[[Session], object], ...] = (
        lambda session: lock(session, "one", actor=actor, now=NOW),
        lambda session: renew(session, "one", "three", actor=actor, now=NOW),
        lambda session: set_password(session, whose.id, "n", actor=actor, now=NOW, keep="three"),
        lambda session: end(session, "three", actor=actor, now=NOW),
    )
    for step in steps:
        with writing(engine) as session:
            step(session)
        open_still.append(until(engine, whose.id, NOW) is not None)

    assert [True, True, True, False] == open_still
    assert ["sign_out", "emergency_access_end"] == [each[0] for each in audited(engine)][-2:]


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
