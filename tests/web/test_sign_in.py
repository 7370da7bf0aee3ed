"""Signing in and out: who may, under which token, and what is left behind."""

import re
from datetime import UTC, datetime, timedelta
from typing import Any

import pyotp
import pytest
from argon2 import PasswordHasher
from fastapi import FastAPI
from playwright.sync_api import expect
from sqlmodel import select

from app.main import create_app
from app.people.passwords import hash_password
from app.people.tokens import hash_token
from app.settings import Settings
from app.store.account_changes import change_account
from app.store.accounts import Account, account_named
from app.store.actor import PROGRAM
from app.store.engine import reading, writing
from app.store.people_tables import SignInRow
from app.store.proofs import set_password, set_second_factor
from app.web.guard import HSTS
from app.web.signing_in import safe_path
from tests.web.clinic import (
    ADMINISTRATOR,
    COOKIE,
    FORM_COOKIE,
    MEMBERS,
    NURSE,
    PASSWORD,
    PHYSICIAN,
    Clinic,
    Member,
)
from tests.web.tables import audit_rows
from tests.web.visitor import Visitor

NOT_RIGHT = "The name, the password or the code is not right"


@pytest.fixture
def browser_of_nobody(clinic: Clinic) -> Clinic:
    """A browser in which nobody is signed in."""
    return clinic.other_browser(None)


def account_of(clinic: Clinic, member: Member) -> Account:
    """The account as it is kept."""
    with reading(clinic.app.state.engine) as session:
        found = account_named(session, member.sign_in_name)
    assert found
    return found


def is_signed_in(clinic: Clinic) -> bool:
    """Whether this browser gets into the own account."""
    return bool(clinic.get("/me").status_code == 200)


@pytest.mark.parametrize("member", MEMBERS, ids=lambda member: str(member.role))
def test_everybody_signs_in_and_every_page_says_who_it_is(
    browser_of_nobody: Clinic, member: Member
) -> None:
    """On a shared computer the name must be seen before anything is recorded under it."""
    answer = browser_of_nobody.sign_in(member)
    assert 303 == answer.status_code

    text = browser_of_nobody.get(answer.headers["location"]).text
    assert f"{member.name} <span" in text
    for button in ("Lock", "Somebody else", "Sign out"):
        assert f">{button}</button>" in text


def test_a_sign_in_is_a_cookie_that_scripts_and_other_sites_cannot_use(
    browser_of_nobody: Clinic,
) -> None:
    """And the database keeps its hash alone, so that who reads it cannot use it."""
    cookie = browser_of_nobody.sign_in(PHYSICIAN).headers["set-cookie"]
    found = re.fullmatch(
        rf"{COOKIE}=([\w-]{{43}}); HttpOnly; Path=/; SameSite=strict; Secure", cookie
    )
    assert found, cookie

    with reading(browser_of_nobody.app.state.engine) as session:
        held = [row.token_hash for row in session.exec(select(SignInRow))]
    assert hash_token(found[1]) in held
    assert found[1] not in held


def test_each_sign_in_has_a_token_of_its_own_and_takes_none_that_was_planted(
    browser_of_nobody: Clinic,
) -> None:
    """A token that somebody else knew before would sign them in, too."""
    planted = "x" * 43
    browser_of_nobody.hold(planted)
    browser_of_nobody.sign_in(NURSE)
    first = browser_of_nobody.token
    other = browser_of_nobody.other_browser(None)
    other.sign_in(NURSE)

    assert 3 == len({planted, first, other.token})


@pytest.mark.parametrize(
    ("name", "password"),
    [
        (PHYSICIAN.sign_in_name, "twelve herons over the weir "),
        (PHYSICIAN.sign_in_name, ""),
        (PHYSICIAN.sign_in_name, PASSWORD.upper()),
        (PHYSICIAN.sign_in_name, "\ud800"),
        ("nobody.here", PASSWORD),
        ("", ""),
        ("\x00", PASSWORD),
        ("x" * 5000, PASSWORD),
        ("i.brandt\r\nX: y", PASSWORD),
    ],
)
def test_what_is_not_right_says_the_same_words_whatever_it_is(
    browser_of_nobody: Clinic, name: str, password: str
) -> None:
    """Else the page would tell which names there are."""
    form = {"sign_in_name": name, "password": password.encode("utf-8", "replace").decode()}
    answer = browser_of_nobody.post_form("/sign-in", form)

    assert 401 == answer.status_code
    assert 2 == answer.text.count(NOT_RIGHT)
    assert not is_signed_in(browser_of_nobody)


def test_a_refused_sign_in_is_in_the_audit_without_what_was_typed(
    clinic: Clinic, browser_of_nobody: Clinic
) -> None:
    """A password that went into the field of the name must not be read there."""
    browser_of_nobody.post_form("/sign-in", {"sign_in_name": PASSWORD, "password": "x"})
    browser_of_nobody.sign_in(NURSE, password="wrong")
    unknown, known = audit_rows(clinic.app)[-2:]

    assert ("sign_in_refused", "Unknown", "") == (unknown.action, unknown.name, unknown.role)
    assert ("sign_in_refused", NURSE.name, "nurse") == (known.action, known.name, known.role)
    assert PASSWORD not in repr(unknown)


def test_guesses_from_one_address_wait_and_a_colleague_elsewhere_does_not(clinic: Clinic) -> None:
    """Who guesses at a name must not lock its owner out."""
    guesser = clinic.other_browser(None, address="192.0.2.9")
    said = [guesser.sign_in(PHYSICIAN, password=f"guess {n}").status_code for n in range(6)]
    assert [401] * 5 + [429] == said

    answer = guesser.sign_in(PHYSICIAN)
    assert 429 == answer.status_code
    assert 1 <= int(answer.headers["retry-after"]) <= 4
    assert re.search(r"Wait \d seconds?, then try again", answer.text)
    owner = clinic.other_browser(None, address="192.0.2.10")
    assert 303 == owner.sign_in(PHYSICIAN).status_code


def test_a_right_password_forgives_the_wrong_ones(browser_of_nobody: Clinic) -> None:
    """Typing mistakes of a week must not add up."""
    for _ in range(3):
        for _ in range(4):
            assert 401 == browser_of_nobody.sign_in(NURSE, password="wrong").status_code
        assert 303 == browser_of_nobody.sign_in(NURSE).status_code
        browser_of_nobody.client.cookies.clear()


def test_a_closed_account_is_out_everywhere_at_once(
    clinic: Clinic, browser_of_nobody: Clinic
) -> None:
    """Somebody who left must not go on in a window that was open."""
    nurse = clinic.nurse
    assert is_signed_in(nurse)
    with writing(clinic.app.state.engine) as session:
        change_account(
            session,
            account_of(clinic, NURSE).id,
            printed_name=NURSE.name,
            role="nurse",
            is_active=False,
            at_revision=None,
            actor=PROGRAM,
            now=datetime.now(UTC),
        )

    assert not is_signed_in(nurse)
    answer = browser_of_nobody.sign_in(NURSE)
    assert (401, True) == (answer.status_code, NOT_RIGHT in answer.text)


def test_another_password_ends_every_sign_in_with_the_old_one(clinic: Clinic) -> None:
    """Whoever knew the old password may be signed in somewhere."""
    nurse = clinic.nurse
    with writing(clinic.app.state.engine) as session:
        held = account_of(clinic, NURSE)
        hashed = hash_password("a new one, quite long")
        set_password(session, held.id, hashed, actor=PROGRAM, now=datetime.now(UTC))

    assert not is_signed_in(nurse)


def test_signing_out_ends_the_token_and_empties_the_browser(clinic: Clinic) -> None:
    """On a shared computer nothing of the last person may be left."""
    token = str(clinic.token)
    answer = clinic.client.post("/sign-out")

    assert (303, "/sign-in") == (answer.status_code, answer.headers["location"])
    assert '"cache", "storage"' == answer.headers["clear-site-data"]
    assert clinic.token is None
    clinic.hold(token)
    assert not is_signed_in(clinic)
    assert 401 == clinic.client.post("/patients/new", data={}).status_code


def test_somebody_else_takes_over_in_two_steps(clinic: Clinic) -> None:
    """Switching in seconds; the one before is signed out."""
    token = str(clinic.token)
    assert 303 == clinic.client.post("/switch").status_code
    assert 303 == clinic.sign_in(NURSE).status_code

    assert NURSE.name in clinic.get("/me").text
    actions = [row.action for row in audit_rows(clinic.app)]
    assert ["sign_in", "switch", "sign_in"] == actions[-3:]
    clinic.hold(token)
    assert not is_signed_in(clinic)


def test_a_page_that_needs_a_sign_in_leads_back_to_itself(
    clinic: Clinic, browser_of_nobody: Clinic
) -> None:
    """A link to an exam, opened the next morning, must not end on the list."""
    path = f"/exams/{clinic.new_exam()}?part=nurse"
    asked = browser_of_nobody.get(path)
    assert 401 == asked.status_code
    assert f'name="to" value="{path}"' in asked.text
    assert "LINDQVIST" not in asked.text

    form = {"sign_in_name": NURSE.sign_in_name, "password": PASSWORD, "to": path}
    answer = browser_of_nobody.post_form("/sign-in", form, page=path)
    assert (303, path) == (answer.status_code, answer.headers["location"])


@pytest.mark.parametrize(
    "path",
    [
        "//evil.example", "https://evil.example", "/\\evil.example", "\\\\evil.example", "evil",
        "javascript:alert(1)", "/\tevil", "/%0a\r\nX: y", "/sign-in", "/lock?to=/x", "", "/ä",
        "/" + "x" * 600, "/sign-out",
    ],
)  # fmt: skip
def test_the_way_on_never_leads_elsewhere(browser_of_nobody: Clinic, path: str) -> None:
    """A link with our sign-in page in it must not hand people over to another site."""
    assert "" == safe_path(path)
    form = {"sign_in_name": NURSE.sign_in_name, "password": PASSWORD, "to": path}

    assert "/" == browser_of_nobody.post_form("/sign-in", form).headers["location"]


def test_the_second_factor_is_asked_for_and_no_code_works_twice(
    clinic: Clinic, browser_of_nobody: Clinic
) -> None:
    """A password that was seen opens nothing then, nor does a code that was seen."""
    secret = pyotp.random_base32()
    with writing(clinic.app.state.engine) as session:
        held = account_of(clinic, NURSE)
        set_second_factor(
            session, held.id, secret, at_revision=None, actor=PROGRAM, now=datetime.now(UTC)
        )
    code = pyotp.TOTP(secret).now()

    assert 401 == browser_of_nobody.sign_in(NURSE).status_code
    assert 401 == browser_of_nobody.sign_in(NURSE, code="000000").status_code
    assert 303 == browser_of_nobody.sign_in(NURSE, code=f"{code[:3]} {code[3:]}").status_code
    assert 401 == clinic.other_browser(None).sign_in(NURSE, code=code).status_code


def test_a_weaker_hash_is_replaced_when_its_owner_signs_in(
    clinic: Clinic, browser_of_nobody: Clinic
) -> None:
    """Else the oldest passwords would stay the weakest for ever."""
    weak = PasswordHasher(time_cost=1, memory_cost=1024, parallelism=1).hash(PASSWORD)
    with writing(clinic.app.state.engine) as session:
        held = account_of(clinic, NURSE)
        set_password(session, held.id, weak, actor=PROGRAM, now=datetime.now(UTC))
    assert 303 == browser_of_nobody.sign_in(NURSE).status_code

    assert str(account_of(clinic, NURSE).password_hash).startswith(
        "$argon2id$v=19$m=19456,t=2,p=1$"
    )


def test_password_managers_and_pasting_work(browser_of_nobody: Clinic) -> None:
    """A password that is pasted can be long; the fields say what belongs in them."""
    text = browser_of_nobody.get("/sign-in").text

    for name, word in (
        ("sign_in_name", "username"),
        ("password", "current-password"),
        ("code", "one-time-code"),
    ):
        assert re.search(rf'<input id="{name}"[^>]*autocomplete="{word}"', text), name
    assert re.search(r'<input id="password"[^>]*type="password"', text)
    assert "onpaste" not in text
    assert "maxlength" not in text


def test_the_form_is_bound_to_the_browser_before_anybody_is_signed_in(
    browser_of_nobody: Clinic,
) -> None:
    """Else another site could sign somebody in as its own user, who then records for them."""
    form = {"sign_in_name": NURSE.sign_in_name, "password": PASSWORD}
    token = browser_of_nobody.form_token("/sign-in")
    stranger = browser_of_nobody.other_browser(None)

    assert FORM_COOKIE in browser_of_nobody.client.cookies
    assert 403 == browser_of_nobody.client.post("/sign-in", data=form).status_code
    assert 403 == stranger.client.post("/sign-in", data=form | {"form_token": token}).status_code
    assert 303 == browser_of_nobody.post_form("/sign-in", form).status_code


@pytest.mark.usefixtures("without_accounts")
def test_the_accounts_of_the_demonstration_stand_on_its_page_and_work(settings: Settings) -> None:
    """And only there: in earnest there is no account that nobody made."""
    with Clinic.of(create_app(settings.model_copy(update={"demo": True})), None) as demo:
        rows = re.findall(
            r"<td><code>(demo-[\w-]+)</code></td>\s*<td><code>([\w-]+)</code>",
            demo.get("/sign-in").text,
        )
        assert 3 == len(rows)
        for name, password in rows:
            browser = demo.other_browser(None)
            form = {"sign_in_name": name, "password": password}
            assert 303 == browser.post_form("/sign-in", form).status_code, name


def test_without_a_demonstration_no_password_stands_on_the_page(browser_of_nobody: Clinic) -> None:
    """Not even the heading above them."""
    assert "demonstration" not in browser_of_nobody.get("/sign-in").text.lower()


def test_on_a_plain_network_the_cookie_goes_without_https(settings: Settings) -> None:
    """A browser would otherwise drop it; and it must not insist on https for a year then."""
    app = create_app(settings.model_copy(update={"plain_http": True}))
    with Clinic.of(app, None) as plain:
        plain.client.base_url = "http://testserver"
        answer = plain.sign_in(PHYSICIAN)

        assert re.fullmatch(
            r"evenhand=[\w-]{43}; HttpOnly; Path=/; SameSite=strict", answer.headers["set-cookie"]
        )
        assert "strict-transport-security" not in answer.headers
        assert is_signed_in(plain)


def test_every_answer_insists_on_https(clinic: Clinic) -> None:
    """Pages, errors and files."""
    for path in ("/", "/nowhere", "/static/site.css", "/sign-in"):
        assert HSTS == clinic.get(path).headers["strict-transport-security"]


def test_an_administrator_begins_where_they_may_be(browser_of_nobody: Clinic) -> None:
    """The list of patients is none of their business."""
    way_on = browser_of_nobody.sign_in(ADMINISTRATOR, to="/").headers["location"]

    assert 200 == browser_of_nobody.get(way_on).status_code
    assert 403 == browser_of_nobody.get("/").status_code


def test_a_sign_in_ends_after_the_absolute_limit_used_or_not(clinic: Clinic) -> None:
    """A token that was copied must not work for ever."""
    began = datetime.now(UTC) - timedelta(hours=12, seconds=1)
    set_times(clinic.app, started_at=began)

    assert 401 == clinic.get("/").status_code
    assert "Sign in" in clinic.get("/").text


def set_times(app: FastAPI, **times: Any) -> None:
    """Move every sign-in in time, as if it had been made or used then."""
    with writing(app.state.engine) as session:
        for row in session.exec(select(SignInRow)):
            for name, value in times.items():
                setattr(row, name, value)
            session.add(row)


def test_signing_in_works_by_keyboard_alone_and_the_back_button_shows_nothing_afterwards(
    visitor: Visitor,
) -> None:
    """The next person at a shared computer presses Back first."""
    page = visitor.page
    exam_id = visitor.start_exam()
    page.goto(f"/exams/{exam_id}/note")
    page.goto(f"/exams/{exam_id}")
    expect(page.locator("#sheet")).to_be_visible()
    page.locator(".me").get_by_role("button", name="Sign out").press("Enter")
    expect(page.get_by_role("heading", name="Sign in")).to_be_visible()

    for _ in range(2):
        page.go_back()
        expect(page.get_by_role("heading", name="Sign in")).to_be_visible()
        assert "LINDQVIST" not in page.content()
    assert {} == page.evaluate("({...localStorage, ...sessionStorage})")
    assert [] == page.evaluate("indexedDB.databases()")
    names = [cookie["name"] for cookie in visitor.context.cookies()]
    assert [FORM_COOKIE] == names

    page.goto("/sign-in")
    page.get_by_label("Sign-in name").focus()
    page.keyboard.type(PHYSICIAN.sign_in_name)
    page.keyboard.press("Tab")
    page.keyboard.insert_text(PASSWORD)
    page.keyboard.press("Enter")
    expect(page.locator(".me-name")).to_contain_text(PHYSICIAN.name)
