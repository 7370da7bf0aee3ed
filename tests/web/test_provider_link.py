"""Linking an account with the identity provider: by a one-time code, and by nothing else."""

import json
from datetime import UTC, datetime
from typing import Any

import pytest
from sqlmodel import Session

from app.store.accounts import Account, account_named
from app.store.actor import PROGRAM
from app.store.engine import reading, writing
from app.store.proofs import set_second_factor
from app.web.invited import HAS_SECOND_FACTOR
from tests.people.provider import LocalProvider
from tests.web.at_provider import STATE_COOKIE, come_back, last_refusal, says, visit, way_on
from tests.web.clinic import NURSE, PHYSICIAN, Clinic
from tests.web.test_first import LONG, invited


@pytest.fixture
def browser(linked_clinic: Clinic) -> Clinic:
    """The browser of the clinic, in which nobody is signed in."""
    return linked_clinic


def ask_to_link(browser: Clinic, code: str) -> Any:
    """Type the code and press the link."""
    return browser.post_form("/invited", {"code": code, "link": "yes"})


def link_by_code(browser: Clinic, provider: LocalProvider, code: str) -> Any:
    """The same, then to the provider and back."""
    return come_back(browser, provider.go(way_on(ask_to_link(browser, code))))


def held(session: Session) -> Account:
    """The nurse's account."""
    found = account_named(session, NURSE.sign_in_name)
    assert found
    return found


def test_a_code_links_the_account_with_whom_the_provider_names(
    browser: Clinic, provider: LocalProvider
) -> None:
    """The password is gone then, and so are the sign-ins that rest on it."""
    nurse, code = browser.nurse, invited(browser)
    provider.subject = "the nurse"
    assert "/" == way_on(link_by_code(browser, provider, code))

    assert NURSE.name in browser.get("/me").text
    assert 401 == nurse.get("/me").status_code
    assert 401 == browser.other_browser(None).sign_in(NURSE).status_code
    with reading(browser.app.state.engine) as session:
        assert f"{provider.issuer}|the nurse" == held(session).oidc_key
    other = browser.other_browser(None)
    assert 200 == visit(other, provider).status_code
    assert NURSE.name in other.get("/me").text
    assert 422 == ask_to_link(browser.other_browser(None), code).status_code


def test_the_same_name_or_address_at_the_provider_links_nothing(
    browser: Clinic, provider: LocalProvider
) -> None:
    """They are written by people, and given to others when somebody leaves."""
    provider.subject = "a stranger"
    provider.claims = {
        "name": NURSE.name,
        "preferred_username": NURSE.sign_in_name,
        "email": f"{NURSE.sign_in_name}@clinic.example",
        "email_verified": True,
    }

    assert 403 == visit(browser, provider).status_code


def test_a_person_at_the_provider_has_one_account(browser: Clinic, provider: LocalProvider) -> None:
    """Or one of two would sign in the other's name; the code can still be used by its owner."""
    code = invited(browser)
    answer = link_by_code(browser, provider, code)

    assert (409, True) == (answer.status_code, "whose account is another one" in says(answer))
    detail = json.loads(last_refusal(browser).detail)
    assert ("link", "somebody else") == (detail["for"], detail["why"])
    with reading(browser.app.state.engine) as session:
        assert held(session).oidc_key is None
    assert 401 == browser.get("/me").status_code
    provider.subject = "the nurse"
    assert 200 == link_by_code(browser, provider, code).status_code


def test_a_code_that_was_used_meanwhile_links_nothing(
    browser: Clinic, provider: LocalProvider
) -> None:
    """In another browser, while this one was at the provider."""
    code = invited(browser)
    provider.subject = "the nurse"
    query = provider.go(way_on(ask_to_link(browser, code)))
    form = {"code": code, "password": LONG, "again": LONG}
    assert 303 == browser.other_browser(None).post_form("/invited", form).status_code
    answer = come_back(browser, query)

    assert (401, True) == (answer.status_code, "not valid any more" in says(answer))
    with reading(browser.app.state.engine) as session:
        assert held(session).oidc_key is None


def test_another_browser_cannot_finish_a_link(browser: Clinic, provider: LocalProvider) -> None:
    """Who lures somebody to their own answer would be let in as that person, or the reverse."""
    provider.subject = "the nurse"
    query = provider.go(way_on(ask_to_link(browser, invited(browser))))
    other = browser.other_browser(None)

    assert STATE_COOKIE in browser.client.cookies
    assert (401, True) == (
        (answer := come_back(other, query)).status_code,
        "has not asked" in says(answer),
    )


def test_a_code_does_not_take_the_place_of_a_second_factor(
    browser: Clinic, provider: LocalProvider
) -> None:
    """Who finds the code of a colleague has an identity, but not the colleague's telephone."""
    with writing(browser.app.state.engine) as session:
        set_second_factor(
            session,
            held(session).id,
            "JBSWY3DPEHPK3PXP",
            at_revision=None,
            actor=PROGRAM,
            now=datetime.now(UTC),
        )
    answer = ask_to_link(browser, invited(browser))

    assert 422 == answer.status_code
    assert HAS_SECOND_FACTOR in answer.text
    assert STATE_COOKIE not in browser.client.cookies


def test_a_password_takes_the_place_of_the_provider(
    browser: Clinic, provider: LocalProvider
) -> None:
    """One account, one way in."""
    code = invited(browser)
    provider.subject = "the nurse"
    assert 200 == link_by_code(browser, provider, code).status_code
    form = {"code": invited(browser), "password": LONG, "again": LONG}
    assert 303 == browser.other_browser(None).post_form("/invited", form).status_code

    assert 403 == visit(browser.other_browser(None), provider).status_code
    assert 303 == browser.other_browser(None).sign_in(NURSE, password=LONG).status_code
    assert PHYSICIAN.name not in browser.get("/me").text
