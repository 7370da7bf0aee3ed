"""Sign-ins that are on their way to the identity provider and back."""

from dataclasses import replace
from datetime import datetime, timedelta

import pytest
from sqlalchemy import Engine
from sqlmodel import Session, select

from app.store.engine import reading, writing
from app.store.people_tables import ProviderRequestRow
from app.store.provider_requests import KEPT_FOR, ProviderRequest, keep_request, take_request
from app.store.refusals import NotFound
from tests.store.clinic import MINUTE, NOW
from tests.store.people import one_after_the_other

SENT = ProviderRequest("state", "nonce", "verifier", "sign", "/exams/1/review", NOW, "token")
TICK = timedelta(microseconds=1)


def take(engine: Engine, state_hash: str = "state", now: datetime = NOW) -> ProviderRequest:
    """What comes back, in a transaction of its own."""
    with writing(engine) as session:
        return take_request(session, state_hash, now)


def test_a_request_is_taken_once(engine: Engine) -> None:
    """An answer that was seen on its way cannot be used again."""
    for each in (SENT, replace(SENT, state_hash="other", token_hash=None)):
        with writing(engine) as session:
            keep_request(session, each)

    assert SENT == take(engine)
    with pytest.raises(NotFound, match="start again"):
        take(engine)
    assert replace(SENT, state_hash="other", token_hash=None) == take(engine, "other")


def test_an_answer_that_nobody_asked_for_is_refused(engine: Engine) -> None:
    """Somebody else's link must not sign anybody in."""
    with pytest.raises(NotFound, match="start again"):
        take(engine)


@pytest.mark.parametrize("now", [NOW - TICK, NOW + KEPT_FOR])
def test_an_answer_has_its_time(engine: Engine, now: datetime) -> None:
    """A clock that went back makes it no longer."""
    with writing(engine) as session:
        keep_request(session, SENT)
    with pytest.raises(NotFound, match="start again"):
        take(engine, now=now)


def test_of_two_who_take_it_at_once_one_does(engine: Engine) -> None:
    """The answer was copied, or the browser sent it twice."""
    with writing(engine) as session:
        keep_request(session, SENT)

    def taking(session: Session) -> None:
        take_request(session, "state", NOW + MINUTE)

    assert [NotFound] == [type(each) for each in one_after_the_other(engine, taking, taking)]


def test_what_never_came_back_is_forgotten(engine: Engine) -> None:
    """Anybody can begin to sign in; the table must not grow from it."""
    with writing(engine) as session:
        keep_request(session, SENT)
        keep_request(session, replace(SENT, state_hash="younger", made_at=NOW + TICK))
    with writing(engine) as session:
        keep_request(session, replace(SENT, state_hash="new", made_at=NOW + KEPT_FOR))
    with reading(engine) as session:
        kept = {row.state_hash for row in session.exec(select(ProviderRequestRow))}

    assert {"younger", "new"} == kept


def test_the_secret_of_a_request_stays_out_of_logs() -> None:
    """Whoever reads it could finish the sign-in."""
    assert "verifier" not in repr(SENT)
