"""The lock: an unused screen is covered, the work behind it stays, and its owner goes on."""

from datetime import UTC, datetime, timedelta

import pyotp
import pytest
from playwright.sync_api import Page, expect
from sqlmodel import select

from app.people.tokens import form_token
from app.store.accounts import account_named
from app.store.actor import PROGRAM
from app.store.clinic_settings import change_settings, settings_revision
from app.store.engine import reading, writing
from app.store.people_tables import SignInRow
from app.store.proofs import set_second_factor
from tests.web.clinic import (
    COLLEAGUE,
    COOKIE,
    NURSE,
    PASSWORD,
    PHYSICIAN,
    TOKEN_HEADER,
    Clinic,
    id_in,
)
from tests.web.tables import audit_rows
from tests.web.visitor import Visitor

JSON = {"Accept": "application/json"}
IDLE = timedelta(minutes=10)
RIGHT = "Hand tremor at rest, RIGHT"


def used(clinic: Clinic, ago: timedelta) -> None:
    """Let the last use of every screen, and the start of its sign-in, lie back by so much."""
    with writing(clinic.app.state.engine) as session:
        for row in session.exec(select(SignInRow)):
            row.active_at = datetime.now(UTC) - ago
            row.started_at = min(row.started_at, row.active_at)
            session.add(row)


def last_use(clinic: Clinic) -> datetime:
    """When the screen of the only sign-in was last used."""
    with reading(clinic.app.state.engine) as session:
        return session.exec(select(SignInRow)).one().active_at


def unlock(clinic: Clinic, password: str = PASSWORD, **more: str) -> int:
    """Unlock as the lock screen's script does; the browser takes over the new tokens."""
    answer = clinic.client.post("/unlock", data={"password": password} | more, headers=JSON)
    if answer.status_code == 200:
        clinic.client.headers[TOKEN_HEADER] = answer.json()["form_token"]
    return int(answer.status_code)


# ---- the server's part


def test_an_unused_screen_is_locked_by_the_server_and_shows_nothing(clinic: Clinic) -> None:
    """A browser that stands still, or whose script was stopped, must not keep it open."""
    exam_id = clinic.new_exam()
    used(clinic, IDLE - timedelta(seconds=5))
    assert 200 == clinic.get(f"/exams/{exam_id}").status_code
    used(clinic, IDLE)
    answer = clinic.get(f"/exams/{exam_id}")

    assert 401 == answer.status_code
    assert "<h1>Locked</h1>" in answer.text
    assert PHYSICIAN.name in answer.text
    for secret in ("LINDQVIST", "HC-2041", "1951", 'id="sheet"'):
        assert secret not in answer.text
    assert 401 == clinic.cell(exam_id, "rise", "", "slow").status_code
    assert [] == clinic.entries(exam_id)
    assert "lock" in [row.action for row in audit_rows(clinic.app)]


def test_the_clinic_sets_how_long_a_screen_may_stand_unused(clinic: Clinic) -> None:
    """And a longer limit that is set later does not open a screen that is locked."""
    actor, now = PROGRAM, datetime.now(UTC)
    with writing(clinic.app.state.engine) as session:
        change_settings(
            session,
            {"idle_minutes": "2"},
            at_revision=settings_revision(session),
            actor=actor,
            now=now,
        )
    used(clinic, timedelta(minutes=2))
    assert 401 == clinic.get("/").status_code
    with writing(clinic.app.state.engine) as session:
        change_settings(
            session,
            {"idle_minutes": "60"},
            at_revision=settings_revision(session),
            actor=actor,
            now=now,
        )

    assert 401 == clinic.get("/").status_code
    assert 'data-idle-seconds="3600"' in clinic.nurse.get("/").text


def test_the_same_person_goes_on_under_a_new_token(clinic: Clinic) -> None:
    """The old one may have been copied while nobody was there."""
    exam_id = clinic.new_exam()
    old = str(clinic.token)
    assert 204 == clinic.client.post("/lock", headers=JSON).status_code
    assert 401 == clinic.get("/").status_code
    assert 401 == unlock(clinic, "wrong")
    assert 401 == unlock(clinic, "")
    assert 200 == unlock(clinic)

    assert clinic.token not in (old, None)
    assert 200 == clinic.cell(exam_id, "rise", "", "slow").status_code
    clinic.hold(old)
    clinic.client.headers[TOKEN_HEADER] = form_token(old)
    assert 401 == clinic.get("/").status_code
    assert 401 == unlock(clinic, "wrong")


def test_unlocking_is_asked_for_the_password_of_who_locked(clinic: Clinic) -> None:
    """Guesses wait there as they do at the sign-in, and are in the audit."""
    clinic.client.post("/lock")
    said = [unlock(clinic, f"guess {n}") for n in range(6)]

    assert [401] * 5 + [429] == said
    refused = [row for row in audit_rows(clinic.app) if row.action == "sign_in_refused"]
    assert [PHYSICIAN.name] * 6 == [row.name for row in refused]
    assert [] == [row for row in audit_rows(clinic.app) if row.action == "refused"]


def test_without_scripts_the_lock_screen_is_a_page_that_leads_back(clinic: Clinic) -> None:
    """Every address answers it, and so does the one to which an unused page goes by itself."""
    exam_id = clinic.new_exam()
    page = clinic.get(f"/exams/{exam_id}").text
    assert '<noscript><meta http-equiv="refresh" content="601; url=/lock"></noscript>' in page
    used(clinic, IDLE)
    assert "<h1>Locked</h1>" in clinic.get("/lock").text
    locked = clinic.get(f"/exams/{exam_id}?part=nurse")
    assert f'name="to" value="/exams/{exam_id}?part=nurse"' in locked.text

    form = {"password": PASSWORD, "to": f"/exams/{exam_id}?part=nurse"}
    wrong = clinic.client.post("/unlock", data=form | {"password": "x"})
    assert (401, 2) == (wrong.status_code, wrong.text.count("The password is not right"))
    right = clinic.client.post("/unlock", data=form)
    assert (303, form["to"]) == (right.status_code, right.headers["location"])


def test_a_page_that_locks_itself_leaves_a_window_alone_that_is_in_use(clinic: Clinic) -> None:
    """Without scripts two windows of one browser do not know of each other."""
    answer = clinic.get("/lock?to=/me")

    assert (303, "/me") == (answer.status_code, answer.headers["location"])


def test_somebody_else_signs_in_at_a_locked_screen(clinic: Clinic) -> None:
    """A colleague with a patient must not wait for the one who left."""
    clinic.client.post("/lock")
    answer = clinic.client.post("/switch")

    assert (303, "/sign-in") == (answer.status_code, answer.headers["location"])
    assert '"cache", "storage"' == answer.headers["clear-site-data"]
    assert 303 == clinic.sign_in(NURSE).status_code
    assert NURSE.name in clinic.get("/me").text


def test_after_the_absolute_limit_the_whole_proof_is_asked_for(clinic: Clinic) -> None:
    """The page is kept all the same: what was typed in it can still be sent."""
    secret = pyotp.random_base32()
    with writing(clinic.app.state.engine) as session:
        held = account_named(session, PHYSICIAN.sign_in_name)
        assert held
        set_second_factor(
            session, held.id, secret, at_revision=None, actor=PROGRAM, now=datetime.now(UTC)
        )
    used(clinic, timedelta(hours=12))
    answer = clinic.client.post("/unlock", data={"password": PASSWORD}, headers=JSON)

    assert (401, True) == (answer.status_code, answer.json()["asks_code"])
    assert 200 == unlock(clinic, code=pyotp.TOTP(secret).now())
    assert 200 == clinic.get("/").status_code


def test_a_locked_screen_needs_the_password_alone(clinic: Clinic) -> None:
    """The second factor was given when the sign-in began."""
    with writing(clinic.app.state.engine) as session:
        held = account_named(session, PHYSICIAN.sign_in_name)
        assert held
        set_second_factor(
            session,
            held.id,
            pyotp.random_base32(),
            at_revision=None,
            actor=PROGRAM,
            now=datetime.now(UTC),
        )
    clinic.client.post("/lock")

    assert 200 == unlock(clinic)


def test_only_what_a_person_does_counts_as_use(clinic: Clinic) -> None:
    """A page asks every other second what is new; the screen would never lock."""
    exam_id = clinic.new_exam()
    used(clinic, timedelta(minutes=5))
    before = last_use(clinic)
    for path in (f"/exams/{exam_id}/updates?since=0", "/static/site.css", "/static/nothing"):
        clinic.get(path)
    clinic.client.post("/api/assess", json={})
    assert before == last_use(clinic)

    assert 204 == clinic.client.post("/active").status_code
    assert before < last_use(clinic)


# ---- the screen's part


@pytest.fixture
def timed(visitor: Visitor) -> Visitor:
    """The physician at a screen whose clock only the test moves."""
    visitor.page.clock.install()
    visitor.start_exam()
    visitor.page.clock.pause_at(visitor.page.evaluate("Date.now()") / 1000 + 1)
    return visitor


def pass_time(page: Page, seconds: float) -> None:
    """Let so much time pass at this screen."""
    page.clock.fast_forward(int(seconds * 1000))


def expect_locked(page: Page) -> None:
    """Only the lock screen is there, for the eye, the keyboard and the reader."""
    expect(page.get_by_role("dialog", name="Locked")).to_be_visible()
    expect(page.get_by_label("Password", exact=True)).to_be_focused()
    expect(page.locator("#sheet")).to_be_hidden()
    expect(page).to_have_title("Locked – Evenhand")
    seen = page.locator("body").inner_text()
    assert "LINDQVIST" not in seen
    assert "LINDQVIST" not in page.locator("body").aria_snapshot()


def give_password(page: Page, password: str = PASSWORD) -> None:
    """Type the password at the lock screen."""
    page.get_by_label("Password", exact=True).fill(password)
    page.keyboard.press("Enter")


def test_the_screen_warns_first_and_any_key_keeps_it_open(timed: Visitor, clinic: Clinic) -> None:
    """Somebody who reads must be able to go on reading, as often as they like."""
    page = timed.page
    warning = page.locator("#lock-warning")
    page.keyboard.press("Shift")
    for _ in range(10):
        pass_time(page, 569)
        expect(warning).to_be_empty()
        pass_time(page, 2)
        expect(warning).to_contain_text("Press any key to go on")
        page.keyboard.press("Shift")
        expect(warning).to_be_empty()
    expect(page.locator("#sheet")).to_be_visible()
    with page.expect_response("**/active") as answered:
        pass_time(page, 31)

    assert 204 == answered.value.status


def test_an_unused_screen_is_covered_and_the_same_person_goes_on_where_they_were(
    timed: Visitor,
) -> None:
    """What was typed and not sent yet is still there, and so is the place."""
    page = timed.page
    page.locator("details.group summary").first.click()
    field = page.get_by_role("textbox", name="Steps for a half turn", exact=True)
    field.fill("5")
    # A typeface that comes late moves everything.
    page.evaluate("document.fonts.ready.then(() => true)")
    before = page.evaluate("scrollY")
    assert before > 0
    with page.expect_response("**/lock"):
        pass_time(page, 601)
    expect_locked(page)
    page.keyboard.press("Tab")
    page.keyboard.press("Tab")
    page.keyboard.press("Tab")
    assert page.evaluate("!document.activeElement.closest('#sheet')")

    give_password(page, "wrong")
    expect(page.locator("#lock-fault")).to_have_text("The password is not right.")
    give_password(page)
    expect(field).to_be_focused()
    expect(field).to_have_value("5")
    assert before == page.evaluate("scrollY")
    page.keyboard.press("Enter")
    timed.expect_saved()


def test_an_entry_that_meets_a_locked_server_is_kept_and_sent_after_unlocking(
    timed: Visitor, clinic: Clinic
) -> None:
    """The server may lock first: another window, another clock."""
    page, visitor = timed.page, timed
    exam_id = id_in(page.url)
    # The clock stands, so the entry meets the locked server before the page's own questions do.
    used(clinic, IDLE)
    page.get_by_role("group", name=RIGHT, exact=True).get_by_role("radio", name="2").check()
    expect_locked(page)
    expect(page.locator("#lock-unsaved")).to_have_text(
        "1 entry is not saved yet and would be lost."
    )
    assert clinic.value(exam_id, "rest_tremor_hand", "right") is None
    page.clock.resume()

    give_password(page)
    visitor.expect_saved()
    assert 2 == clinic.value(exam_id, "rest_tremor_hand", "right")
    assert PHYSICIAN.name == clinic.entries(exam_id)[0].by


def test_the_lock_button_covers_the_page_at_once(visitor: Visitor) -> None:
    """By keyboard: Lock, and back with the password."""
    page = visitor.page
    visitor.start_exam()
    page.get_by_role("button", name="Lock").press("Enter")
    expect_locked(page)
    page.reload()
    expect(page.get_by_role("heading", name="Locked")).to_be_visible()
    assert "LINDQVIST" not in page.content()

    give_password(page)
    expect(page.locator("#sheet")).to_be_visible()


def test_two_windows_of_one_browser_lock_and_unlock_together(timed: Visitor) -> None:
    """What is used in one is used; what is locked in one is not open in the other."""
    page = timed.page
    other = timed.context.new_page()
    other.goto(page.url)
    pass_time(page, 580)
    other.keyboard.press("Shift")
    expect(page.locator("#lock-warning")).to_be_empty()
    other.get_by_role("button", name="Lock").click()
    expect_locked(page)
    expect_locked(other)

    give_password(other)
    expect(page.locator("#sheet")).to_be_visible()
    timed.answer(RIGHT, "1 slight")
    timed.expect_saved()


def test_somebody_else_takes_the_screen_over_and_finds_nothing(visitor: Visitor) -> None:
    """Two presses and a password; nothing of the one before is left, not even behind Back."""
    page = visitor.page
    visitor.start_exam()
    page.get_by_role("button", name="Lock").click()
    page.get_by_role("dialog").get_by_role("button", name="Somebody else").click()
    expect(page.get_by_role("heading", name="Sign in")).to_be_visible()
    page.go_back()
    expect(page.get_by_role("heading", name="Sign in")).to_be_visible()
    assert "LINDQVIST" not in page.content()
    visitor.sign_in(COLLEAGUE)

    names = {cookie["name"] for cookie in visitor.context.cookies()}
    assert COOKIE in names


def test_a_window_of_the_one_before_says_that_it_cannot_go_on(visitor: Visitor) -> None:
    """It is covered as soon as somebody else signs in, and no password opens it."""
    page = visitor.page
    visitor.start_exam()
    other = visitor.context.new_page()
    second = Visitor(other, visitor.context, visitor.address)
    other.goto("/me")
    second.change_to(COLLEAGUE)
    expect_locked(page)
    give_password(page)
    expect(page.locator("#lock-fault")).to_contain_text("Somebody else has signed in")
    expect(page.locator("#sheet")).to_be_hidden()


def test_without_scripts_the_lock_button_leads_to_the_lock_screen_and_back(
    plain_visitor: Visitor,
) -> None:
    """The same promise for every browser."""
    page = plain_visitor.page
    plain_visitor.start_exam()
    began_at = page.url
    page.get_by_role("button", name="Lock").click()
    expect(page.get_by_role("heading", name="Locked")).to_be_visible()
    assert "LINDQVIST" not in page.content()
    page.get_by_label("Password", exact=True).fill("wrong")
    page.get_by_role("button", name="Unlock").click()
    expect(page.locator("#password-fault")).to_have_text("The password is not right")
    page.get_by_label("Password", exact=True).fill(PASSWORD)
    page.get_by_role("button", name="Unlock").click()
    expect(page.locator("#sheet")).to_be_visible()
    assert began_at == page.url
