"""Invitations: codes that open one account once, for a while."""

from datetime import datetime

import pytest
from sqlalchemy import Engine
from sqlmodel import Session

from app.store.account_changes import add_account, change_account
from app.store.accounts import has_accounts
from app.store.actor import PROGRAM
from app.store.engine import reading, writing
from app.store.invitations import Invitation, invitation, invite, use_invitation
from app.store.refusals import NotFound
from tests.store.clinic import MINUTE, NOW
from tests.store.people import ADMINISTRATOR, an_account, audited, one_after_the_other

END = NOW + 30 * MINUTE


def given(engine: Engine, account_id: str | None, code: str = "code") -> Invitation:
    """Give out a code, in a transaction of its own."""
    with writing(engine) as session:
        return invite(session, account_id, code, END, actor=ADMINISTRATOR, now=NOW)


def is_valid(engine: Engine, code: str = "code") -> bool:
    """Whether another request could use the code."""
    with reading(engine) as session:
        try:
            invitation(session, code, NOW)
        except NotFound:
            return False
    return True


def test_a_code_is_used_once(engine: Engine) -> None:
    """Whoever finds the note afterwards finds nothing."""
    whose = an_account(engine, password=None)
    made = given(engine, whose.id)

    assert Invitation(whose.id, NOW, END) == made
    with reading(engine) as session:
        assert made == invitation(session, "code", NOW)
    assert ("invite", ADMINISTRATOR.name, {"account": whose.id}) == audited(engine)[-1]
    with writing(engine) as session:
        assert made == use_invitation(session, "code", NOW)
    for ask in (invitation, use_invitation):
        with pytest.raises(NotFound, match="not valid"), writing(engine) as session:
            ask(session, "code", NOW)


@pytest.mark.parametrize("now", [NOW - MINUTE, END, END + MINUTE])
def test_a_code_has_its_time(engine: Engine, now: datetime) -> None:
    """It ends at the moment that was said; a clock that went back makes it no longer."""
    given(engine, an_account(engine).id)
    for ask in (invitation, use_invitation):
        with pytest.raises(NotFound, match="not valid"), writing(engine) as session:
            ask(session, "code", now)
    with reading(engine) as session:
        assert END == invitation(session, "code", END - MINUTE).expires_at


@pytest.mark.parametrize("code", ["other", "", "\ud7ff", "CODE"])
def test_a_code_that_was_not_given_out_opens_nothing(engine: Engine, code: str) -> None:
    """The answer is the same as for one that is over."""
    given(engine, an_account(engine).id)

    assert not is_valid(engine, code)


def test_a_newer_code_takes_the_place_of_the_older(engine: Engine) -> None:
    """The first one was lost, that is why there is a second. Others keep theirs."""
    whose, other = an_account(engine), an_account(engine, "other")
    given(engine, whose.id, "first")
    given(engine, other.id, "others")
    given(engine, whose.id, "second")

    assert [False, True, True] == [is_valid(engine, each) for each in ("first", "others", "second")]


def test_a_closed_account_is_not_opened_by_a_code(engine: Engine) -> None:
    """Neither by one that was given out before, nor by a new one."""
    whose = an_account(engine)
    given(engine, whose.id)
    with writing(engine) as session:
        change_account(
            session,
            whose.id,
            printed_name="X",
            role="nurse",
            is_active=False,
            at_revision=None,
            actor=ADMINISTRATOR,
            now=NOW,
        )

    assert not is_valid(engine)
    with pytest.raises(NotFound, match="not active"):
        given(engine, whose.id)


def test_of_two_who_use_a_code_at_once_one_does(engine: Engine) -> None:
    """It would otherwise set two passwords, and one of the two people would not know."""
    given(engine, an_account(engine).id)

    def use(session: Session) -> None:
        use_invitation(session, "code", NOW)

    refused = one_after_the_other(engine, use, use)

    assert [NotFound] == [type(each) for each in refused]


def test_a_code_that_is_replaced_while_it_is_used_does_not_stop_either(engine: Engine) -> None:
    """Who uses it was first; the next code is there for whoever needs it."""
    whose = an_account(engine)
    given(engine, whose.id, "first")
    refused = one_after_the_other(
        engine,
        lambda session: use_invitation(session, "first", NOW),
        lambda session: invite(session, whose.id, "second", END, actor=ADMINISTRATOR, now=NOW),
    )

    assert ([], True) == (refused, is_valid(engine, "second"))


def test_a_code_that_was_replaced_meanwhile_is_refused(engine: Engine) -> None:
    """Who uses it waits for the administrator, and then it is over."""
    whose = an_account(engine)
    given(engine, whose.id, "first")
    refused = one_after_the_other(
        engine,
        lambda session: invite(session, whose.id, "second", END, actor=ADMINISTRATOR, now=NOW),
        lambda session: use_invitation(session, "first", NOW),
    )

    assert [NotFound] == [type(each) for each in refused]


def test_the_first_administrators_code_ends_with_the_first_account(engine: Engine) -> None:
    """Afterwards it would be a way around everybody."""
    given(engine, None, "first")
    given(engine, None, "of another server")
    before = [is_valid(engine, each) for each in ("first", "of another server")]
    an_account(engine, "admin", "administrator")

    assert [True, True] == before
    assert [False, False] == [is_valid(engine, each) for each in ("first", "of another server")]


def test_two_first_administrators_cannot_be_made_at_once(engine: Engine) -> None:
    """Each server that starts gives out a code; the first that is used is the only one."""
    for code in ("one", "two"):
        given(engine, None, code)

    def become(session: Session, code: str) -> None:
        use_invitation(session, code, NOW)
        assert not has_accounts(session)
        add_account(session, code, "First", "administrator", actor=PROGRAM, now=NOW)

    refused = one_after_the_other(
        engine, lambda session: become(session, "one"), lambda session: become(session, "two")
    )

    assert [NotFound] == [type(each) for each in refused]


def test_a_code_of_somebody_who_was_let_in_no_longer_stays_void(engine: Engine) -> None:
    """The note may lie where it lay when the account was closed."""
    whose = an_account(engine, password=None)
    given(engine, whose.id)
    for is_active in (False, True):
        with writing(engine) as session:
            change_account(
                session, whose.id, printed_name=whose.printed_name, role=whose.role,
                is_active=is_active, at_revision=None, actor=ADMINISTRATOR, now=NOW,
            )  # fmt: skip

    assert not is_valid(engine)
