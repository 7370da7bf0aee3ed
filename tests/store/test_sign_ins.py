"""Sign-ins: one for each browser, which can be locked, renewed and ended."""

from dataclasses import replace
from datetime import datetime

import pytest
from sqlalchemy import Engine, event
from sqlmodel import Session

from app.store.account_changes import change_account
from app.store.engine import reading, writing
from app.store.exams import ExamRecord
from app.store.presence import here, seen
from app.store.refusals import NotFound
from app.store.sign_ins import (
    SignIn,
    end,
    end_sign_ins,
    lock,
    renew,
    sign_in,
    start_sign_in,
    touch,
    use_signing_proof,
)
from tests.store.clinic import MINUTE, NOW
from tests.store.people import (
    ADMINISTRATOR,
    an_account,
    as_actor,
    audited,
    one_after_the_other,
    signed_in,
    stored_sign_in,
)

LATER = NOW + MINUTE


def test_a_sign_in_is_kept_with_whose_it_is(engine: Engine) -> None:
    """Started, proved and active at one moment, from one address."""
    whose = an_account(engine)
    started = signed_in(engine, whose, "one")

    assert SignIn("one", whose.id, NOW, NOW, NOW, None, None, "192.0.2.7") == started
    with reading(engine) as session:
        assert (started, whose) == sign_in(session, "one")
        assert sign_in(session, "two") is None
    assert ("sign_in", whose.printed_name, {}) == audited(engine)[-1]


def test_who_signed_in_is_one_question(engine: Engine) -> None:
    """It is asked for every request."""
    signed_in(engine, an_account(engine), "one")
    asked: list[str] = []
    event.listen(
        engine, "before_cursor_execute", lambda *seen: asked.append(seen[2].split()[0].upper())
    )
    with reading(engine) as session:
        sign_in(session, "one")

    assert 1 == asked.count("SELECT")


def test_activity_only_goes_forward(engine: Engine) -> None:
    """A clock that goes back and forth never makes a sign-in last longer."""
    signed_in(engine, an_account(engine), "one")
    seen = []
    for now in (LATER, NOW, LATER + MINUTE):
        with writing(engine) as session:
            touch(session, "one", now)
        seen.append(stored_sign_in(engine, "one").active_at)

    assert [LATER, LATER, LATER + MINUTE] == seen


def test_two_browsers_of_one_account_are_independent(engine: Engine) -> None:
    """The one in the other room stays open when this one is locked or left."""
    whose = an_account(engine)
    first, second = signed_in(engine, whose, "one"), signed_in(engine, whose, "two")
    with writing(engine) as session:
        lock(session, "one", actor=as_actor(whose), now=LATER)
    locked = stored_sign_in(engine, "one")
    with writing(engine) as session:
        end(session, "one", actor=as_actor(whose), now=LATER + MINUTE)

    assert replace(first, locked_at=LATER) == locked
    assert replace(locked, ended_at=LATER + MINUTE) == stored_sign_in(engine, "one")
    assert second == stored_sign_in(engine, "two")


def test_nothing_moves_what_is_locked_or_over(engine: Engine) -> None:
    """Activity does not open a lock, nothing ends twice, and the audit tells it once."""
    whose = an_account(engine)
    signed_in(engine, whose, "one")
    steps = [
        lambda session, now: lock(session, "one", actor=as_actor(whose), now=now),
        lambda session, now: touch(session, "one", now),
        lambda session, now: lock(session, "one", actor=as_actor(whose), now=now),
        lambda session, now: end(session, "one", actor=as_actor(whose), now=now, action="switch"),
        lambda session, now: end(session, "one", actor=as_actor(whose), now=now),
        lambda session, now: touch(session, "one", now),
    ]
    for count, step in enumerate(steps, start=1):
        with writing(engine) as session:
            step(session, NOW + count * MINUTE)
    held = stored_sign_in(engine, "one")

    assert (NOW, NOW + MINUTE, NOW + 4 * MINUTE) == (held.active_at, held.locked_at, held.ended_at)
    assert ["lock", "switch"] == [action for action, _, _ in audited(engine)][-2:]


def test_a_token_that_nobody_has_is_neither_locked_nor_ended(engine: Engine) -> None:
    """A browser may come back with a cookie from another server."""
    before = audited(engine)
    with writing(engine) as session:
        lock(session, "none", actor=ADMINISTRATOR, now=NOW)
        end(session, "none", actor=ADMINISTRATOR, now=NOW)
        touch(session, "none", NOW)

    assert before == audited(engine)


def test_a_fresh_proof_takes_a_new_token(engine: Engine) -> None:
    """The old one is over; the time since the first proof goes on; the screen is open again."""
    whose = an_account(engine)
    old = signed_in(engine, whose, "one")
    with writing(engine) as session:
        lock(session, "one", actor=as_actor(whose), now=NOW)
        new = renew(session, "one", "two", actor=as_actor(whose), now=LATER)

    assert replace(old, token_hash="two", proved_at=LATER, active_at=LATER) == new
    assert new == stored_sign_in(engine, "two")
    assert LATER == stored_sign_in(engine, "one").ended_at
    assert "unlock" == audited(engine)[-1][0]


def test_a_sign_in_that_is_over_is_not_renewed(engine: Engine) -> None:
    """Somebody else may sit there by now; they sign in anew."""
    whose = an_account(engine)
    signed_in(engine, whose, "one")
    with writing(engine) as session:
        end(session, "one", actor=as_actor(whose), now=NOW)
    for gone in ("one", "none"):
        with pytest.raises(NotFound, match="has ended"), writing(engine) as session:
            renew(session, gone, "two", actor=as_actor(whose), now=LATER)
    with reading(engine) as session:
        assert sign_in(session, "two") is None


def test_of_two_who_renew_at_once_one_does(engine: Engine) -> None:
    """A token that was copied opens nothing beside the one that it was copied from."""
    whose = an_account(engine)
    signed_in(engine, whose, "one")

    def renewing(session: Session, new: str) -> None:
        renew(session, "one", new, actor=as_actor(whose), now=LATER)

    refused = one_after_the_other(
        engine, lambda session: renewing(session, "two"), lambda session: renewing(session, "three")
    )

    assert [NotFound] == [type(each) for each in refused]
    assert stored_sign_in(engine, "two").ended_at is None


def close(session: Session, account_id: str) -> None:
    """Let somebody in no longer."""
    change_account(
        session,
        account_id,
        printed_name="X",
        role="nurse",
        is_active=False,
        at_revision=None,
        actor=ADMINISTRATOR,
        now=LATER,
    )


@pytest.mark.parametrize("is_first", [True, False])
def test_an_account_that_is_closed_meanwhile_lets_nobody_in(engine: Engine, is_first: bool) -> None:
    """Between the password and the sign-in the administrator was faster, or a moment slower."""
    whose = an_account(engine)

    def start(session: Session) -> None:
        start_sign_in(session, whose.id, "one", actor=as_actor(whose), now=NOW)

    def shut(session: Session) -> None:
        close(session, whose.id)

    refused = one_after_the_other(engine, *((shut, start) if is_first else (start, shut)))
    with reading(engine) as session:
        found = sign_in(session, "one")

    assert ([NotFound] if is_first else []) == [type(each) for each in refused]
    assert found is None or found[0].ended_at == LATER


def test_of_two_signatures_at_once_one_uses_the_proof(engine: Engine) -> None:
    """The provider was asked for one; and a sign-in without a proof, or an ended one, has none."""
    whose = an_account(engine)
    signed_in(engine, whose, "old")
    with writing(engine) as session:
        renew(session, "old", "new", actor=as_actor(whose), now=NOW, signing_proof_at=NOW)
    used: list[bool] = []

    def use(session: Session) -> None:
        used.append(use_signing_proof(session, "new"))

    assert [] == one_after_the_other(engine, use, use)
    assert [False, True] == sorted(used)
    assert stored_sign_in(engine, "new").signing_proof_at is None
    with writing(engine) as session:
        renew(session, "new", "newest", actor=as_actor(whose), now=NOW, signing_proof_at=NOW)
        end(session, "newest", actor=as_actor(whose), now=NOW)
        assert not use_signing_proof(session, "newest")


def test_everything_of_an_account_can_be_ended(engine: Engine) -> None:
    """When a computer is lost. What was over already keeps its time."""
    whose, other = an_account(engine), an_account(engine, "other")
    for token, each in (("one", whose), ("two", whose), ("three", other)):
        signed_in(engine, each, token)
    with writing(engine) as session:
        end(session, "one", actor=as_actor(whose), now=NOW)
        end_sign_ins(session, whose.id, actor=as_actor(whose), now=LATER)

    ends = [stored_sign_in(engine, token).ended_at for token in ("one", "two", "three")]
    assert [NOW, LATER, None] == ends


def test_who_has_signed_out_is_at_no_exam(engine: Engine, exam: ExamRecord) -> None:
    """The other one sees it at once, and nobody stands there twice after a lock."""
    whose = an_account(engine)
    signed_in(engine, whose, "one")

    def present(now: datetime) -> list[str]:
        with reading(engine) as session:
            return [each.name for each in here(session, exam.id, now, "other")]

    with writing(engine) as session:
        seen(session, exam.id, "one", "Ngozi", "nurse", "rest", NOW)
    before = present(NOW)
    with writing(engine) as session:
        renew(session, "one", "two", actor=as_actor(whose), now=NOW)

    assert (["Ngozi"], []) == (before, present(NOW))
