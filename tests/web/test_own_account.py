"""The own account: password, second factor, and where one is signed in."""

import re
from datetime import UTC, datetime

import pyotp
import pytest
from playwright.sync_api import expect

from app.store.accounts import Account, account_named
from app.store.actor import PROGRAM
from app.store.engine import reading, writing
from app.store.proofs import set_second_factor
from tests.web.clinic import NURSE, PASSWORD, PHYSICIAN, TOKEN_HEADER, Clinic
from tests.web.tables import audit_rows, kept
from tests.web.visitor import Visitor

LONG = "seven lanterns by the old mill"


def held(clinic: Clinic) -> Account:
    """The physician's account as it is kept."""
    with reading(clinic.app.state.engine) as session:
        found = account_named(session, PHYSICIAN.sign_in_name)
    assert found
    return found


def seen(clinic: Clinic) -> dict[str, str]:
    """The revision of the own account, as the page shows it now."""
    return {"revision": str(held(clinic).revision)}


def renew_header(clinic: Clinic) -> None:
    """Go on with the token of the newest page, as a browser does."""
    found = re.search(r'name="form-token" content="(\w+)"', clinic.get("/me").text)
    assert found
    clinic.client.headers[TOKEN_HEADER] = found[1]


def test_a_new_password_signs_out_every_other_browser(clinic: Clinic) -> None:
    """And this one goes on under a new token."""
    other, old = clinic.other_browser(PHYSICIAN), clinic.token
    form = {"password": PASSWORD, "new_password": LONG, "again": LONG}
    answer = clinic.client.post("/me/password", data=form)

    assert (303, "/me?done=password") == (answer.status_code, answer.headers["location"])
    assert clinic.token != old
    assert "The new password is set" in clinic.get("/me?done=password").text
    assert 401 == other.get("/me").status_code
    assert 303 == clinic.other_browser(None).sign_in(PHYSICIAN, LONG).status_code


@pytest.mark.parametrize(
    ("field", "typed", "says"),
    [
        ("password", "wrong", "This is not your password"),
        ("new_password", "fourteen chars", "needs at least 15 characters"),
        ("new_password", "Harbour Clinic 1 Harbour Clinic", "too easy to guess"),
        ("again", "something else", "The two passwords are not the same"),
    ],
)
def test_a_password_that_cannot_be_set_says_why(
    clinic: Clinic, field: str, typed: str, says: str
) -> None:
    """Beside its field, and the old one stays."""
    form = {"password": PASSWORD, "new_password": LONG, "again": LONG} | {field: typed}
    before = held(clinic).password_hash
    answer = clinic.client.post("/me/password", data=form)

    assert 422 == answer.status_code
    assert 2 == answer.text.count(says), answer.text
    assert f'id="{field}-fault"' in answer.text
    assert before == held(clinic).password_hash


def test_the_second_factor_is_on_once_a_code_shows_that_it_was_scanned(clinic: Clinic) -> None:
    """A secret that nobody scanned would lock its owner out."""
    page = clinic.client.post("/me/second-factor/new", data=seen(clinic)).text
    found = re.search(r'name="secret" value="([A-Z2-7]{32})"', page)
    assert found
    secret, totp = found[1], pyotp.TOTP(found[1])
    assert "<svg" in page
    assert "style=" not in page
    form = {"secret": secret, "password": PASSWORD, "code": totp.now()} | seen(clinic)
    before = kept(clinic.app)
    for wrong in ({"code": "000000"}, {"code": ""}):
        assert 422 == clinic.client.post("/me/second-factor", data=form | wrong).status_code
    for wrong in ({"secret": "A"}, {"secret": secret.lower()}):
        assert 422 == clinic.client.post("/me/second-factor", data=form | wrong).status_code
    assert before == kept(clinic.app)
    assert 303 == clinic.client.post("/me/second-factor", data=form).status_code

    assert secret == held(clinic).totp_secret
    assert "second_factor" in [row.action for row in audit_rows(clinic.app)]
    assert secret not in repr(audit_rows(clinic.app))
    # The code that confirmed it does not sign in as well.
    assert 401 == clinic.other_browser(None).sign_in(PHYSICIAN, code=totp.now()).status_code


def test_a_stale_page_neither_sets_nor_takes_a_second_factor(clinic: Clinic) -> None:
    """The one that was set up in another browser meanwhile stays."""
    old = seen(clinic)
    for path in ("/me", "/me/second-factor/new"):
        page = clinic.get(path) if path == "/me" else clinic.client.post(path, data=old)
        assert f'name="revision" value="{old["revision"]}"' in page.text
    secret = pyotp.random_base32()
    with writing(clinic.app.state.engine) as session:
        set_second_factor(
            session, held(clinic).id, secret, at_revision=None, actor=PROGRAM, now=datetime.now(UTC)
        )
    other = pyotp.random_base32()
    presses = {
        "/me/second-factor/new": {},
        "/me/second-factor": {
            "secret": other, "password": PASSWORD, "code": pyotp.TOTP(other).now()
        },
        "/me/second-factor/off": {"off_password": PASSWORD},
    }  # fmt: skip
    for path, form in presses.items():
        answer = clinic.client.post(path, data=form | old)

        assert 409 == answer.status_code, path
        assert "Your account was changed meanwhile" in answer.text
        assert secret == held(clinic).totp_secret
        assert ("refused", PHYSICIAN.name) == (
            audit_rows(clinic.app)[-1].action, audit_rows(clinic.app)[-1].name
        )  # fmt: skip


def test_the_second_factor_is_set_with_the_password_alone(clinic: Clinic) -> None:
    """Somebody at an open screen must not lock its owner out."""
    secret = pyotp.random_base32()
    code = pyotp.TOTP(secret).now()
    form = {"secret": secret, "password": "wrong", "code": code} | seen(clinic)
    answer = clinic.client.post("/me/second-factor", data=form)

    assert (422, None) == (answer.status_code, held(clinic).totp_secret)
    assert "This is not your password" in answer.text


def test_with_a_second_factor_a_shorter_password_will_do_and_then_it_stays_on(
    clinic: Clinic,
) -> None:
    """Eight characters are enough beside it, and not without it."""
    secret, short = pyotp.random_base32(), "kelp-9-Yawl"
    code = pyotp.TOTP(secret).now()
    form = {"secret": secret, "password": PASSWORD, "code": code} | seen(clinic)
    assert 303 == clinic.client.post("/me/second-factor", data=form).status_code
    renew_header(clinic)
    change = {"password": PASSWORD, "new_password": short, "again": short}
    assert 303 == clinic.client.post("/me/password", data=change).status_code
    renew_header(clinic)
    off = {"off_password": short} | seen(clinic)
    answer = clinic.client.post("/me/second-factor/off", data=off)
    assert 422 == answer.status_code
    assert "Without a second factor the password must be longer" in answer.text

    change = {"password": short, "new_password": LONG, "again": LONG}
    assert 303 == clinic.client.post("/me/password", data=change).status_code
    renew_header(clinic)
    wrong = clinic.client.post(
        "/me/second-factor/off", data={"off_password": "wrong"} | seen(clinic)
    )
    assert 422 == wrong.status_code
    off = {"off_password": LONG} | seen(clinic)
    assert 303 == clinic.client.post("/me/second-factor/off", data=off).status_code
    assert held(clinic).totp_secret is None


def test_an_own_sign_in_elsewhere_is_seen_and_ended(clinic: Clinic) -> None:
    """Somebody who forgot to sign out upstairs does it from here."""
    upstairs = clinic.other_browser(PHYSICIAN, address="192.0.2.7")
    text = clinic.get("/me").text
    (elsewhere,) = re.findall(r'name="sign_in" value="(\w+)"', text)
    assert 1 == text.count("this browser")
    answer = clinic.client.post("/me/sign-ins", data={"sign_in": elsewhere})

    assert 303 == answer.status_code
    assert 401 == upstairs.get("/me").status_code
    assert 200 == clinic.get("/me").status_code


def test_nobody_ends_a_sign_in_of_somebody_else(clinic: Clinic) -> None:
    """Even who knows what it is called."""
    other = clinic.nurse.other_browser(NURSE)
    (theirs,) = re.findall(r'name="sign_in" value="(\w+)"', clinic.nurse.get("/me").text)

    assert 404 == clinic.client.post("/me/sign-ins", data={"sign_in": theirs}).status_code
    assert 200 == other.get("/me").status_code


def test_the_second_factor_is_set_up_in_a_browser(visitor: Visitor) -> None:
    """The square is drawn, and the digits are pasted whole."""
    page = visitor.page
    page.goto("/me")
    page.get_by_role("button", name="Set up a second factor").click()
    square = page.locator("svg.qr").bounding_box()
    assert square
    assert square["width"] > 150
    secret = page.locator("input[name=secret]").input_value()
    page.get_by_label("Code of the authenticator").focus()
    page.keyboard.insert_text(pyotp.TOTP(secret).now())
    page.get_by_label("Your password").fill(PASSWORD)
    page.get_by_role("button", name="Turn the second factor on").click()
    expect(page.get_by_role("status").filter(has_text="The second factor is on")).to_be_visible()
