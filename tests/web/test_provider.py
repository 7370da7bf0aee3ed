"""Signing in, unlocking and signing by the identity provider's word."""

import json
import logging
import socket
from contextlib import ExitStack
from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest
from sqlmodel import update

from app.main import create_app
from app.settings import Settings
from app.store.account_changes import change_account
from app.store.actor import PROGRAM
from app.store.engine import reading, writing
from app.store.people_tables import AccountRow, ProviderRequestRow, SignInRow
from app.store.provider_requests import KEPT_FOR
from app.web.identity import SignedIn
from app.web.provider import (
    AT_ONCE,
    FOUND_FOR,
    FRESH,
    ClinicProvider,
    is_fresh,
    provider_path,
)
from tests.people.provider import ACCESS_TOKEN, CLIENT_SECRET, LocalProvider
from tests.web.at_provider import (
    LABEL,
    STATE_COOKIE,
    come_back,
    id_of,
    last_refusal,
    link,
    rows_of,
    says,
    start,
    visit,
    way_on,
    with_provider,
)
from tests.web.clinic import COLLEAGUE, COOKIE, HERE, NURSE, PHYSICIAN, Clinic
from tests.web.tables import audit_rows
from tests.web.test_review import settled, signed

NOW = datetime(2026, 3, 4, 9, 30, tzinfo=UTC)


@pytest.fixture
def browser(linked_clinic: Clinic) -> Clinic:
    """The browser of the clinic, in which nobody is signed in."""
    return linked_clinic


@pytest.fixture
def physician(browser: Clinic) -> Clinic:
    """The same browser, in which the physician is signed in."""
    browser.start_sign_in(PHYSICIAN)
    return browser


def is_signed_in(browser: Clinic) -> bool:
    """Whether the browser's pages are somebody's."""
    return bool(browser.get("/me").status_code == 200)


def change(clinic: Clinic, statement: object) -> None:
    """Change rows behind the program's back."""
    with writing(clinic.app.state.engine) as session:
        session.exec(statement)  # type: ignore[call-overload]


# ---------------------------------------------------------------- signing in


def test_whom_the_provider_names_is_signed_in_and_goes_where_they_wanted(
    browser: Clinic, provider: LocalProvider
) -> None:
    """Without a password of this program."""
    path = "/patients/new?from=list"
    page = browser.get(path).text
    assert f"Sign in with {LABEL}" in page
    assert provider_path("sign_in", path).replace("&", "&amp;") in page

    assert path == way_on(visit(browser, provider, "sign_in", path))
    assert PHYSICIAN.name in browser.get("/me").text
    assert ["sign_in"] == [row.action for row in audit_rows(browser.app)][-1:]


def test_the_cookie_of_the_request_comes_back_from_another_site_and_is_gone_then(
    browser: Clinic, provider: LocalProvider
) -> None:
    """Lax, because the provider's page sends the browser back; that of the sign-in stays strict."""
    sent = browser.get(provider_path("sign_in", ""))
    given = sent.headers["set-cookie"]
    assert given.startswith(f"{STATE_COOKIE}=")
    for word in ("HttpOnly", "Secure", "SameSite=lax", "Path=/", "Max-Age=600"):
        assert word in given

    answer = come_back(browser, provider.go(sent.headers["location"]))
    first, second = answer.headers.get_list("set-cookie")
    assert first.startswith(f"{COOKIE}=")
    assert "SameSite=strict" in first
    assert second.startswith(f'{STATE_COOKIE}="";')
    assert STATE_COOKIE not in browser.client.cookies


def test_nobody_gets_an_account_because_the_provider_knows_them(
    browser: Clinic, provider: LocalProvider
) -> None:
    """A provider knows the whole hospital; the clinic's people are those in its list."""
    provider.subject = "somebody in the canteen"
    with reading(browser.app.state.engine) as session:
        before = rows_of(session, AccountRow)
    answer = visit(browser, provider)

    assert 403 == answer.status_code
    assert "An administrator of this program gives you a one-time code" in says(answer)
    with reading(browser.app.state.engine) as session:
        assert before == rows_of(session, AccountRow)
    refused = last_refusal(browser)
    assert ("Unknown", "") == (refused.name, refused.account_id)
    assert {"for": "sign_in", "why": "no account"} == json.loads(refused.detail)
    assert not is_signed_in(browser)


def test_a_closed_account_stays_out(browser: Clinic, provider: LocalProvider) -> None:
    """The provider may still know somebody who has left."""
    with writing(browser.app.state.engine) as session:
        change_account(
            session,
            id_of(session, PHYSICIAN),
            printed_name=PHYSICIAN.name,
            role=PHYSICIAN.role,
            is_active=False,
            at_revision=None,
            actor=PROGRAM,
            now=datetime.now(UTC),
        )
    answer = visit(browser, provider)

    assert (403, True) == (answer.status_code, "Your account is closed" in says(answer))
    assert PHYSICIAN.name == last_refusal(browser).name
    assert not is_signed_in(browser)


def test_who_was_signed_in_in_this_browser_makes_room(
    browser: Clinic, provider: LocalProvider
) -> None:
    """One browser holds one sign-in; the one before ends at the server, too."""
    token = browser.start_sign_in(NURSE)
    browser.client.post("/lock", data={})
    assert 200 == visit(browser, provider).status_code

    assert PHYSICIAN.name in browser.get("/me").text
    actions = [(row.action, row.name) for row in audit_rows(browser.app)][-2:]
    assert [("switch", NURSE.name), ("sign_in", PHYSICIAN.name)] == actions
    browser.hold(token)
    assert not is_signed_in(browser)


def test_who_is_signed_in_already_goes_on(physician: Clinic) -> None:
    """A second press of the link."""
    answer = physician.get(provider_path("sign_in", "/me"))

    assert (303, "/me") == (answer.status_code, answer.headers["location"])


def test_the_way_on_never_leads_elsewhere(browser: Clinic, provider: LocalProvider) -> None:
    """A link to our page must not hand people over to another site, nor round in a circle."""
    for path in ("//evil.example", "https://evil.example", "/provider/start?purpose=sign_in"):
        browser.client.cookies.clear()

        assert "/" == way_on(visit(browser, provider, "sign_in", path))


def test_without_a_provider_there_is_no_way_to_one(clinic: Clinic) -> None:
    """Most clinics have none."""
    for path in (provider_path("sign_in", ""), "/provider/back?code=a&state=b"):
        assert 404 == clinic.get(path).status_code
    assert "/provider" not in clinic.other_browser(None).get("/sign-in").text
    assert 404 == clinic.get(provider_path("purpose", "")).status_code


# ---------------------------------------------------------------- unlocking


def test_the_lock_opens_for_the_same_person(physician: Clinic, provider: LocalProvider) -> None:
    """Under a new token; the old one is good for nothing."""
    token = str(physician.token)
    physician.client.post("/lock", data={})
    page = physician.get("/lock?to=/me").text
    assert f"Unlock with {LABEL}" in page
    assert 'type="password"' not in page

    assert "/me" == way_on(visit(physician, provider, "unlock", "/me"))
    assert is_signed_in(physician)
    assert ["lock", "unlock"] == [row.action for row in audit_rows(physician.app)][-2:]
    physician.hold(token)
    assert not is_signed_in(physician)


@pytest.mark.parametrize("purpose", ["unlock", "sign"])
@pytest.mark.parametrize(("subject", "who"), [("colleague", COLLEAGUE.name), ("?", "Unknown")])
def test_somebody_else_opens_nobodys_screen(
    physician: Clinic, provider: LocalProvider, purpose: str, subject: str, who: str
) -> None:
    """Nor signs in their name; the audit names who came, where that is known."""
    link(physician.app.state.engine, provider, COLLEAGUE, "colleague")
    address = start(physician, purpose, "/me")
    physician.client.post("/lock", data={})
    provider.subject = subject
    answer = come_back(physician, provider.go(address))

    assert 403 == answer.status_code
    assert f"{LABEL} says that you are somebody else" in says(answer)
    refused = last_refusal(physician)
    assert who == refused.name
    with reading(physician.app.state.engine) as session:
        owner = id_of(session, PHYSICIAN)
    assert {"for": purpose, "why": "somebody else", "account": owner} == json.loads(refused.detail)
    assert (401, True) == ((page := physician.get("/me")).status_code, "Locked" in page.text)


def test_after_the_absolute_limit_a_new_sign_in_begins(
    physician: Clinic, provider: LocalProvider
) -> None:
    """As with a password."""
    long_ago = datetime.now(UTC) - timedelta(days=1)
    change(physician, update(SignInRow).values(started_at=long_ago))

    assert "/me" == way_on(visit(physician, provider, "unlock", "/me"))
    assert "sign_in" == audit_rows(physician.app)[-1].action
    assert is_signed_in(physician)


@pytest.mark.parametrize("purpose", ["unlock", "sign"])
def test_a_sign_in_that_ended_meanwhile_does_not_come_back(
    physician: Clinic, provider: LocalProvider, purpose: str
) -> None:
    """Somebody signed out in another window, or the account was closed and opened."""
    address = start(physician, purpose)
    physician.client.post("/sign-out", data={})
    answer = come_back(physician, provider.go(address))

    assert (401, True) == (answer.status_code, "has ended meanwhile" in says(answer))
    assert "ended" == json.loads(last_refusal(physician).detail)["why"]
    assert not is_signed_in(physician)


def test_nobody_unlocks_or_signs_where_nobody_is(browser: Clinic) -> None:
    """There is nothing to go on with."""
    for purpose in ("unlock", "sign"):
        answer = browser.get(provider_path(purpose, "/me"))

        assert (401, True) == (answer.status_code, "needs a sign-in" in answer.text)


def test_at_a_locked_screen_nobody_proves_anything_for_a_signature(physician: Clinic) -> None:
    """First the lock, then the signature."""
    physician.client.post("/lock", data={})
    answer = physician.get(provider_path("sign", "/me"))

    assert (401, True) == (answer.status_code, "Locked" in answer.text)


def test_who_has_a_password_goes_on_with_it(linked_clinic: Clinic) -> None:
    """One account, one way in."""
    nurse = linked_clinic.nurse
    for purpose in ("unlock", "sign"):
        answer = nurse.get(provider_path(purpose, "/"))

        assert (409, True) == (answer.status_code, "not linked" in answer.text)
    nurse.client.post("/lock", data={})
    assert 'type="password"' in nurse.get("/lock").text


def test_a_window_of_its_own_says_that_the_others_are_unlocked(physician: Clinic) -> None:
    """And shows the lock where they are not."""
    assert "Your other windows are unlocked" in physician.get("/provider/unlocked").text
    physician.client.post("/lock", data={})
    assert 401 == physician.get("/provider/unlocked").status_code


# ---------------------------------------------------------------- signing


def test_a_signature_needs_a_proof_that_was_asked_for_it(
    physician: Clinic, provider: LocalProvider
) -> None:
    """That they signed in a minute ago is not enough: somebody else may sit there by now."""
    assert 200 == visit(physician.other_browser(None), provider).status_code
    exam_id = physician.new_exam()
    form = settled(physician, exam_id) | {"password": ""}
    refused = physician.client.post(f"/exams/{exam_id}/sign", data=form)
    assert 422 == refused.status_code
    assert "Prove who you are again" in refused.text
    assert [] == signed(physician, exam_id)

    review = f"/exams/{exam_id}/review"
    assert provider_path("sign", review).replace("&", "&amp;") in refused.text
    assert review == way_on(visit(physician, provider, "sign", review))
    renew_form_token(physician)
    form = settled(physician, exam_id) | {"password": ""}
    answer = physician.client.post(f"/exams/{exam_id}/sign", data=form)
    assert 303 == answer.status_code
    assert [PHYSICIAN.name] == [each.printed_name for each in signed(physician, exam_id)]


def test_one_proof_is_for_one_signature(physician: Clinic, provider: LocalProvider) -> None:
    """As one password is: within two minutes somebody else may have come to the screen."""
    first, second = physician.new_exam(), physician.new_exam(chart_number="HC-2042")
    assert 200 == visit(physician, provider, "sign").status_code
    renew_form_token(physician)
    statuses = []
    for exam_id in (first, second):
        form = settled(physician, exam_id) | {"password": ""}
        statuses.append(physician.client.post(f"/exams/{exam_id}/sign", data=form).status_code)

    assert [303, 422] == statuses
    assert [] == signed(physician, second)


def renew_form_token(browser: Clinic) -> None:
    """Use the form token of the newest page."""
    del browser.client.headers["X-Form-Token"]
    browser.client.headers["X-Form-Token"] = browser.form_token("/me")


def test_only_a_proof_for_a_signature_is_kept_as_one(
    physician: Clinic, provider: LocalProvider
) -> None:
    """The time is the provider's, of when it was given there; unlocking ends it."""
    earlier = int((datetime.now(UTC) - timedelta(seconds=30)).timestamp())
    provider.claims = {"auth_time": earlier}
    expected: list[tuple[str, datetime | None]] = [
        ("sign", datetime.fromtimestamp(earlier, UTC)),
        ("unlock", None),
    ]
    for purpose, proved_at in expected:
        assert 200 == visit(physician, provider, purpose).status_code
        with reading(physician.app.state.engine) as session:
            held = [row for row in rows_of(session, SignInRow) if row.ended_at is None]

        assert [proved_at] == [row.signing_proof_at for row in held], purpose


@pytest.mark.parametrize(
    ("ago", "expected"),
    [
        (timedelta(), True),
        (FRESH, True),
        (FRESH + timedelta(microseconds=1), False),
        (timedelta(microseconds=-1), False),
        (None, False),
    ],
)
def test_a_proof_is_fresh_for_two_minutes(ago: timedelta | None, expected: bool) -> None:
    """Neither after them, nor before it was given, as when a clock was set back."""
    me = SignedIn("a", "b", "nurse", "c", "d", "e", NOW, None, "", True, False, None)
    me = replace(me, signing_proof_at=None if ago is None else NOW - ago)

    assert expected is is_fresh(me, NOW)


# ---------------------------------------------------------------- what is refused


def assert_refused(browser: Clinic, answer: object, status: int, words: str, why: str) -> None:
    """A page that says why and leads on, a row in the audit, and nobody signed in."""
    assert status == answer.status_code  # type: ignore[attr-defined]
    assert words in says(answer)
    assert "Start again" in answer.text  # type: ignore[attr-defined]
    assert COOKIE not in "".join(answer.headers.get_list("set-cookie"))  # type: ignore[attr-defined]
    assert why == json.loads(last_refusal(browser).detail)["why"]


def test_an_answer_counts_once(browser: Clinic, provider: LocalProvider) -> None:
    """The back button, or somebody who saw the address."""
    query = provider.go(start(browser))
    state = browser.client.cookies[STATE_COOKIE]
    assert 200 == come_back(browser, query).status_code
    browser.client.cookies.clear()

    assert_refused(browser, come_back(browser, query), 401, "has not asked", "no request")
    browser.client.cookies.set(STATE_COOKIE, state, domain="testserver.local")
    assert_refused(browser, come_back(browser, query), 401, "was used already", "late or used")
    assert not is_signed_in(browser)


def test_an_answer_has_its_time(browser: Clinic, provider: LocalProvider) -> None:
    """A page of the provider that was left open at noon signs nobody in at night."""
    query = provider.go(start(browser))
    late = datetime.now(UTC) - KEPT_FOR
    change(browser, update(ProviderRequestRow).values(made_at=late))

    assert_refused(browser, come_back(browser, query), 401, "came too late", "late or used")
    assert not is_signed_in(browser)


def test_a_browser_that_asked_for_nothing_is_refused(
    browser: Clinic, provider: LocalProvider
) -> None:
    """Somebody's link must not sign a browser in as themselves."""
    query = provider.go(start(browser))
    stranger = browser.other_browser(None)

    assert_refused(stranger, come_back(stranger, query), 401, "has not asked", "no request")
    assert not is_signed_in(stranger)


def test_the_answer_to_another_browser_is_refused_and_takes_nothing_away(
    browser: Clinic, provider: LocalProvider
) -> None:
    """Both have asked; each gets its own answer only."""
    query = provider.go(start(browser))
    other = browser.other_browser(None)
    own = provider.go(start(other))

    refused = come_back(other, query)
    assert_refused(other, refused, 401, "belongs to another browser", "other browser")
    assert_refused(other, come_back(other, {}), 401, "another browser", "other browser")
    assert not is_signed_in(other)
    assert 200 == come_back(other, own).status_code
    assert 200 == come_back(browser, query).status_code


def test_a_provider_that_is_down_is_said_to_be(settings: Settings, provider: LocalProvider) -> None:
    """Before anybody is sent to a page that does not come."""
    with socket.socket() as closed:
        closed.bind(("127.0.0.1", 0))
        nowhere = replace(provider, issuer=f"http://127.0.0.1:{closed.getsockname()[1]}")
        with Clinic.of(create_app(with_provider(settings, nowhere, HERE)), None) as browser:
            answer = browser.get(provider_path("sign_in", "/me"))

            assert_refused(browser, answer, 502, "does not answer", "provider")
            assert provider_path("sign_in", "/me").replace("&", "&amp;") in answer.text


def test_a_provider_that_hangs_does_not_keep_the_whole_program_waiting(
    browser: Clinic, provider: LocalProvider
) -> None:
    """Whoever comes while many wait for it is told at once, on the way there and back."""
    query = provider.go(start(browser))
    here: ClinicProvider = browser.app.state.provider
    with ExitStack() as waiting:
        for _ in range(AT_ONCE):
            waiting.enter_context(here.waiting())
        assert_refused(browser, come_back(browser, query), 401, "Too many", "provider")
        here._found = None
        answer = browser.get(provider_path("sign_in", "/me"))

        assert_refused(browser, answer, 502, "Too many are waiting", "provider")
    assert 200 == visit(browser, provider).status_code


def test_a_provider_that_fails_on_the_way_back_signs_nobody_in(
    browser: Clinic, provider: LocalProvider
) -> None:
    """It went down while somebody typed their password there."""
    provider.id_token = lambda _: "no token"
    answer = visit(browser, provider)

    assert_refused(browser, answer, 401, "was not accepted", "provider")
    assert not is_signed_in(browser)


def test_what_the_provider_refuses_is_told_without_its_words(
    browser: Clinic, provider: LocalProvider
) -> None:
    """Somebody pressed cancel there."""
    provider.answer = {"code": None, "error": "access_denied", "error_description": "<b>no</b>"}
    answer = visit(browser, provider)

    assert_refused(browser, answer, 401, "did not confirm who you are", "provider")
    assert "<b>no" not in answer.text
    assert not is_signed_in(browser)


@pytest.mark.parametrize("purpose", ["sign_in", "unlock", "sign"])
@pytest.mark.parametrize("auth_time", [None, 1_700_000_000])
def test_what_the_provider_only_remembers_is_no_proof(
    browser: Clinic, provider: LocalProvider, purpose: str, auth_time: int | None
) -> None:
    """On a shared computer it may remember the one before."""
    provider.claims = {"auth_time": auth_time}
    if purpose != "sign_in":
        browser.start_sign_in(PHYSICIAN)
    token = browser.token
    answer = visit(browser, provider, purpose)

    words = "you did not sign in there just now" if auth_time else "auth_time is missing"
    assert_refused(browser, answer, 401, words, "provider")
    assert token == browser.token
    with reading(browser.app.state.engine) as session:
        assert [] == [row for row in rows_of(session, SignInRow) if row.signing_proof_at]


def test_no_secret_is_kept_or_logged(
    browser: Clinic, provider: LocalProvider, caplog: pytest.LogCaptureFixture
) -> None:
    """Neither the codes of an answer, nor who somebody is at the provider."""
    caplog.set_level(logging.DEBUG)
    tokens: list[str] = []

    def sign_and_keep(claims: dict[str, object]) -> str:
        tokens.append(provider.signed(claims))
        return tokens[-1]

    provider.id_token = sign_and_keep
    query = provider.go(start(browser))
    asked = provider.asked[-1]
    # What httpx and the provider of this test write down themselves is not ours.
    caplog.clear()
    assert 200 == come_back(browser, query).status_code
    provider.subject = "a9e7-nobody"
    assert 403 == visit(browser.other_browser(None), provider).status_code

    ours = [
        record for record in caplog.records if not record.name.startswith(("httpx", "httpcore"))
    ]
    logged = "\n".join(record.getMessage() for record in ours)
    audit = "\n".join(map(repr, audit_rows(browser.app)))
    secrets = [
        query["code"], asked["state"], asked["nonce"], CLIENT_SECRET, ACCESS_TOKEN,
        "a9e7-nobody", "person-5f1c", *tokens,
    ]  # fmt: skip
    assert [] == [each for each in secrets if each in logged or each in audit]


def test_what_the_provider_says_of_itself_is_asked_once_an_hour(provider: LocalProvider) -> None:
    """Each sign-in would wait for it; and its addresses may change."""
    here = ClinicProvider(provider.settings, LABEL)
    before = here.found(NOW)
    provider.metadata = {"token_endpoint": f"{provider.issuer}/elsewhere"}

    assert before == here.found(NOW + FOUND_FOR - timedelta(microseconds=1))
    assert f"{provider.issuer}/elsewhere" == here.found(NOW + FOUND_FOR).token_endpoint
    provider.metadata = {}
    assert before == here.found(NOW - timedelta(days=1))
