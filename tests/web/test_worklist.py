"""The worklist as the board of the team: who waits for whom, who is where, and what is new."""

import re
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from html import unescape
from typing import Any

import pytest
from playwright.sync_api import expect
from sqlalchemy import event, update
from sqlmodel import col, select

from app.store.accounts import account_named
from app.store.engine import reading, writing
from app.store.exams import EARLIER_CLOSED
from app.store.people_tables import SignInRow
from app.store.presence import GONE_AFTER
from app.store.sign_ins import sign_ins_of
from app.store.tables import ExamRow, PresenceRow
from tests.web.clinic import HTMX, PASSWORD, PERSON, PHYSICIAN, Clinic
from tests.web.test_updates import sign_now
from tests.web.visitor import Visitor

CORD = (("hx_bladder", "retention"), ("hx_bowel_or_saddle", "yes"))


@pytest.fixture
def exam_id(clinic: Clinic) -> str:
    """A new exam."""
    return clinic.new_exam()


def words(html: str) -> str:
    """What a page says."""
    return " ".join(unescape(re.sub("<[^>]+>", " ", html)).split())


def groups(clinic: Clinic) -> dict[str, str]:
    """The groups of the worklist by their heading, as they are read."""
    text = clinic.get("/").text
    return {
        title.strip(): words(body)
        for title, body in re.findall(
            r'<section class="group".*?<h2[^>]*>([^<]*)(<span.*?)</section>', text, re.DOTALL
        )
    }


def marks(html: str) -> dict[str, str]:
    """What a page sends along when it asks what is new."""
    return dict(re.findall(r'data-(alerts|groups)="(\w+)"', html))


def asked(clinic: Clinic, shown: dict[str, str]) -> Any:
    """Ask what is new as an open worklist does."""
    return clinic.client.get("/updates", params=shown, headers=HTMX)


def started(clinic: Clinic, ago: timedelta, *exam_ids: str) -> None:
    """Let exams have started earlier."""
    with writing(clinic.app.state.engine) as session:
        for row in session.exec(select(ExamRow).where(col(ExamRow.id).in_(exam_ids))):
            row.started_at -= ago


def move(clinic: Clinic, exam_id: str, way: str) -> Any:
    """Press the button that hands over, or the one that takes back."""
    return clinic.client.post(f"/exams/{exam_id}/{way}", data={"sent": "yes"})


# ---- by state


def test_an_empty_worklist_says_what_will_stand_there(clinic: Clinic) -> None:
    """On the first day nobody knows what the page is for."""
    text = words(clinic.get("/").text)

    assert "No exam yet. “New patient” starts the first one." in text
    assert "ready once it is handed over to the physician" in text


def test_an_exam_goes_through_the_states_before_everybody(clinic: Clinic, exam_id: str) -> None:
    """Handed over and taken back by the nurse's buttons; once signed it takes neither."""
    assert ["Open"] == list(groups(clinic))
    handed = move(clinic.nurse, exam_id, "ready")
    assert (303, "/") == (handed.status_code, handed.headers["location"])
    for browser in (clinic.nurse, clinic.physician):
        assert ["Ready for the physician"] == list(groups(browser))
        assert "LINDQVIST, Aurelia" in groups(browser)["Ready for the physician"]
    back = move(clinic.nurse, exam_id, "open")
    assert (303, f"/exams/{exam_id}") == (back.status_code, back.headers["location"])
    assert ["Open"] == list(groups(clinic))
    sign_now(clinic, exam_id)

    assert ["Signed"] == list(groups(clinic.nurse))
    for browser in (clinic.nurse, clinic.physician):
        for way in ("ready", "open"):
            assert 409 == move(browser, exam_id, way).status_code
    assert "signed" == clinic.stored(exam_id).state


def test_each_has_the_button_that_moves_the_exam_on(clinic: Clinic, exam_id: str) -> None:
    """On the sheet, for the nurse and for the physician; on a signed exam there is none."""

    def ways(browser: Clinic) -> list[str]:
        text = browser.get(f"/exams/{exam_id}").text
        return re.findall(rf'action="/exams/{exam_id}/(ready|open)"', text)

    assert [["ready"]] * 2 == [ways(clinic.nurse), ways(clinic.physician)]
    move(clinic.nurse, exam_id, "ready")
    assert [["open"]] * 2 == [ways(clinic.nurse), ways(clinic.physician)]
    sign_now(clinic, exam_id)
    assert [[]] * 2 == [ways(clinic.nurse), ways(clinic.physician)]
    for way in ("ready", "open"):
        assert 403 == move(clinic.administrator, exam_id, way).status_code


def test_today_stands_before_earlier_days(clinic: Clinic) -> None:
    """At eight in the morning the nurse sees the day, and below it what was left over."""
    left_over, new = clinic.new_exam(), clinic.new_exam(chart_number="HC-2", family_name="Osei")
    started(clinic, timedelta(days=2), left_over)
    text = groups(clinic)["Open"]

    assert re.fullmatch(r"\(2\) Today OSEI, .* Earlier days LINDQVIST, .*", text)
    started(clinic, timedelta(days=2), new)
    assert "Today" not in groups(clinic)["Open"]


def test_signed_exams_of_earlier_days_are_counted_and_found_by_search(clinic: Clinic) -> None:
    """They wait for nobody and would push down what does."""
    many = [
        clinic.new_exam(chart_number=f"HC-{n:02}", family_name=f"Osei{n:02}")
        for n in range(EARLIER_CLOSED + 2)
    ]
    with writing(clinic.app.state.engine) as session:
        session.connection().execute(update(ExamRow).values(state="signed"))
    started(clinic, timedelta(days=2), *many)
    text = groups(clinic)["Signed"]

    assert text.startswith(f"({len(many)}) Earlier days OSEI")
    assert EARLIER_CLOSED == text.count("Chart number")
    assert "2 more of earlier days are not listed here: find the patient to see them." in text
    assert "OSEI00" not in text
    assert "OSEI00" in clinic.client.post("/", data={"search": "osei00"}).text


def test_a_line_says_who_recorded_and_who_is_there(clinic: Clinic, exam_id: str) -> None:
    """Who has what; nobody is told about themselves, and who is not heard of is gone."""
    clinic.nurse.cell(exam_id, "turn_steps", "", "4")
    clinic.cell(exam_id, "drift", "right", "0")
    for browser in (clinic.nurse, clinic.physician):
        browser.get(f"/exams/{exam_id}/updates?since=2")
    text = groups(clinic.colleague)["Open"]

    assert "2 entries by R. Okafor, Dr I. Brandt, the last by Dr I. Brandt on" in text
    assert "Dr I. Brandt (physician), R. Okafor (nurse) have it open now" in text
    assert "R. Okafor (nurse) has it open now" in groups(clinic)["Open"]
    with writing(clinic.app.state.engine) as session:
        gone = datetime.now(UTC) - GONE_AFTER
        session.connection().execute(update(PresenceRow).values(at=gone))
    assert "open now" not in groups(clinic.colleague)["Open"]


def test_a_longer_list_asks_the_database_no_more_often(clinic: Clinic, exam_id: str) -> None:
    """Everybody's page asks every few seconds."""

    @contextmanager
    def statements() -> Iterator[list[str]]:
        said: list[str] = []
        engine = clinic.app.state.engine

        def note(_c: Any, _k: Any, statement: str, *_: Any) -> None:
            said.append(statement)

        event.listen(engine, "before_cursor_execute", note)
        yield said
        event.remove(engine, "before_cursor_execute", note)

    def ask() -> int:
        for each in range(2):
            clinic.nurse.get(f"/exams/{exam_id}/updates?since={0 if each else 1}")
        with statements() as said:
            assert 200 == asked(clinic, {}).status_code
        return len(said)

    clinic.nurse.cell(exam_id, "turn_steps", "", "4")
    few = ask()
    for n in range(5):
        other = clinic.new_exam(chart_number=f"HC-{n}")
        clinic.cell(other, "turn_steps", "", "4")
        clinic.nurse.get(f"/exams/{other}/updates?since=1")

    assert few == ask()


# ---- what is new


def test_nothing_new_is_an_empty_answer(clinic: Clinic, exam_id: str) -> None:
    """Asked every five seconds by every screen."""
    answer = asked(clinic, marks(clinic.get("/").text))

    assert (204, "") == (answer.status_code, answer.text)


def test_only_what_is_new_comes(clinic: Clinic, exam_id: str) -> None:
    """An emergency is read out loud; it must not be read again because a line changed."""
    shown = marks(clinic.get("/").text)
    clinic.nurse.cell(exam_id, "turn_steps", "", "4")
    entered = asked(clinic, shown)
    assert "1 entry, the last by R. Okafor" in entered.text
    assert "innerHTML:#alerts" not in entered.text
    assert "<html" not in entered.text

    shown |= marks(entered.text)
    for finding, value in CORD:
        clinic.nurse.cell(exam_id, finding, "", value)
    raised = asked(clinic, shown)
    assert "hx-reswap" not in raised.headers
    assert "A physician is needed now" in raised.text
    shown |= marks(raised.text)
    assert 204 == asked(clinic, shown).status_code

    clinic.get(f"/exams/{exam_id}")
    seen = asked(clinic, shown)
    assert ("none", {"alerts"}) == (seen.headers["hx-reswap"], set(marks(seen.text)))
    assert "needed now" not in seen.text


def test_somebody_who_comes_or_goes_is_new(clinic: Clinic, exam_id: str) -> None:
    """The line changes before everybody else's eyes."""
    shown = marks(clinic.get("/").text)
    clinic.nurse.get(f"/exams/{exam_id}/updates?since=0")

    assert "R. Okafor (nurse) has it open now" in asked(clinic, shown).text


def test_the_marks_hold_no_name(clinic: Clinic, exam_id: str) -> None:
    """They stand in the address of the next question, and addresses are written down."""
    for mark in marks(clinic.get("/").text).values():
        assert re.fullmatch(r"[0-9a-f]{16}", mark)


def test_asking_is_no_use_of_the_screen(clinic: Clinic, exam_id: str) -> None:
    """A worklist that stands open in an empty room must lock; opening it is use."""
    engine = clinic.app.state.engine
    with writing(engine) as session:
        active = datetime.now(UTC) - timedelta(minutes=5)
        session.connection().execute(update(SignInRow).values(active_at=active))

    def last_use() -> list[datetime]:
        with reading(engine) as session:
            held = account_named(session, PHYSICIAN.sign_in_name)
            assert held
            return [each.active_at for each in sign_ins_of(session, held.id)]

    assert 200 == asked(clinic, {}).status_code
    assert [active] == last_use()
    clinic.get("/")
    assert [active] != last_use()


@pytest.mark.parametrize(
    ("lapsed", "heading"),
    [(timedelta(minutes=10), "<h1>Locked</h1>"), (timedelta(hours=13), "<h1>Sign in</h1>")],
)
def test_a_screen_that_is_locked_or_whose_sign_in_is_over_hears_nothing(
    clinic: Clinic, exam_id: str, lapsed: timedelta, heading: str
) -> None:
    """401, at which the page covers itself; no patient is named."""
    with writing(clinic.app.state.engine) as session:
        then = datetime.now(UTC) - lapsed
        session.connection().execute(update(SignInRow).values(active_at=then, started_at=then))
    answer = asked(clinic, {})

    assert 401 == answer.status_code
    assert heading in answer.text
    assert "LINDQVIST" not in answer.text


def test_who_is_not_of_the_team_hears_nothing(clinic: Clinic, exam_id: str) -> None:
    """Nobody signed in, or a role without charts."""
    assert 401 == asked(clinic.other_browser(None), {}).status_code
    assert 403 == asked(clinic.administrator, {}).status_code


# ---- the patient


def test_what_was_looked_for_stands_in_no_address(clinic: Clinic, exam_id: str) -> None:
    """It is sent in the body, and the page that answers links by ids alone."""
    form = re.search(r'<form class="search"[^>]*>', clinic.get("/").text)
    assert form
    assert 'method="post" action="/"' in form[0]
    found = clinic.client.post("/", data={"search": "lindqvist"})

    assert (200, "https://testserver/") == (found.status_code, str(found.url))
    assert "1 patient found" in words(found.text)
    for address in re.findall(r'(?:href|src|action|hx-\w+)="([^"]*)"', found.text):
        assert "lindqvist" not in address.lower()


def test_the_page_of_a_patient_lists_the_exams_over_time(clinic: Clinic, exam_id: str) -> None:
    """The newest first, each with its state; those of others are not there."""
    patient_id = clinic.stored(exam_id).patient.id
    clinic.new_exam(chart_number="HC-2", reason="Somebody else's")
    started(clinic, timedelta(days=400), exam_id)
    sign_now(clinic, exam_id)
    for reason in ("Again", "Newest"):
        clinic.client.post(f"/patients/{patient_id}", data={"reason": reason})
    text = words(clinic.get(f"/patients/{patient_id}").text)

    assert re.search(rf"open Newest .* open Again .* signed {PERSON['reason']}", text)
    assert "Somebody else's" not in text


# ---- in the browser


def test_what_is_new_moves_neither_the_focus_nor_what_is_typed(
    visitor: Visitor, clinic: Clinic
) -> None:
    """An emergency comes in above, a line changes its group, and the hand goes on."""
    exams = [
        clinic.new_exam(chart_number=f"HC-{n:02}", family_name=f"Osei{n:02}") for n in range(12)
    ]
    page = visitor.page
    page.clock.install()
    page.goto("/")
    # Not every browser keeps the place by itself.
    page.evaluate("document.documentElement.style.overflowAnchor = 'none'")
    search = page.get_by_label("Find a patient")
    search.press_sequentially("lind")
    clinic.nurse.cell(exams[0], "turn_steps", "", "4")
    page.clock.run_for(5000)
    line = page.locator(f"#exam-{exams[0]}")
    expect(line).to_contain_text("the last by R. Okafor")
    expect(search).to_be_focused()
    expect(search).to_have_value("lind")

    line.focus()
    top = "document.activeElement.getBoundingClientRect().top"
    before = page.evaluate(top)
    assert page.evaluate("scrollY") > 0
    for finding, value in CORD:
        clinic.nurse.cell(exams[5], finding, "", value)
    page.clock.run_for(5000)
    expect(page.locator("#alerts")).to_contain_text("A physician is needed now")
    expect(page.locator("#alerts h2")).to_be_in_viewport()
    expect(line).to_be_focused()
    assert before == pytest.approx(page.evaluate(top), abs=1)

    move(clinic.nurse, exams[0], "ready")
    page.clock.run_for(5000)
    expect(page.locator("#group-ready")).to_be_visible()
    expect(line).to_be_focused()
    # The emergency that had the focus is gone; its exam is still there.
    page.locator(f"#alert-{exams[5]}").focus()
    clinic.colleague.get(f"/exams/{exams[5]}")
    page.clock.run_for(5000)
    expect(page.locator(f"#exam-{exams[5]}")).to_be_focused()


def test_a_worklist_behind_the_lock_screen_does_not_ask(
    visitor: Visitor, clinic: Clinic, exam_id: str
) -> None:
    """It goes on after the password, and covers itself where the screen was locked elsewhere."""
    page = visitor.page
    page.clock.install()
    page.goto("/")
    locked = page.get_by_role("dialog", name="Locked")
    asked: list[str] = []
    page.on("request", lambda request: asked.append(request.url))
    page.locator(".me").get_by_role("button", name="Lock").click()
    expect(locked).to_be_visible()
    page.clock.run_for(60_000)
    assert [] == [url for url in asked if "/updates" in url]

    clinic.nurse.cell(exam_id, "turn_steps", "", "4")
    page.get_by_label("Password", exact=True).fill(PASSWORD)
    page.keyboard.press("Enter")
    expect(page.locator(f"#exam-{exam_id}")).to_contain_text("the last by R. Okafor")
    with writing(clinic.app.state.engine) as session:
        session.connection().execute(update(SignInRow).values(locked_at=datetime.now(UTC)))
    page.clock.run_for(5000)
    expect(locked).to_be_visible()
    expect(page.locator("#groups")).to_be_hidden()


def test_a_worklist_that_is_not_answered_says_so(visitor: Visitor, exam_id: str) -> None:
    """Who sees nothing new must know whether nothing is new."""
    page = visitor.page
    visitor.expects_no_answer = True
    page.clock.install()
    page.goto("/")
    visitor.context.set_offline(True)
    page.clock.run_for(5000)
    says = page.locator("#no-updates")
    expect(says).to_have_text("No answer: what stands here may have changed.")
    visitor.context.set_offline(False)

    expect(says).to_be_empty()
