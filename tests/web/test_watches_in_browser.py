"""The watches under a hand, with a clock that the test moves."""

from datetime import UTC, datetime, timedelta

import pytest
from playwright.sync_api import Dialog, Locator, Page, expect

from tests.web.clinic import PASSWORD, Clinic
from tests.web.test_updates import sign_now
from tests.web.visitor import Visitor

NOON = datetime(2026, 11, 25, 12, 0, tzinfo=UTC)
TAPS = "Finger taps in 10 s, RIGHT (patient’s)"


@pytest.fixture
def exam_id(visitor: Visitor) -> str:
    """A new exam, open before a clock that stands still."""
    visitor.page.clock.install(time=NOON)
    exam_id = visitor.start_exam()
    visitor.page.clock.pause_at(NOON + timedelta(minutes=1))
    return exam_id


def button(page: Page, name: str) -> Locator:
    """A button by all of its accessible name."""
    return page.get_by_role("button", name=name, exact=True)


def passes(page: Page, seconds: float) -> None:
    """Let time pass, with all that happens in it."""
    page.clock.run_for(int(seconds * 1000))


def reload_when_asked(page: Page) -> str:
    """Load the page again, against its warning; the kind of the warning."""
    asked: list[str] = []

    def go_on(dialog: Dialog) -> None:
        asked.append(dialog.type)
        dialog.accept()

    page.once("dialog", go_on)
    page.reload()
    return asked[0]


def kept(page: Page) -> object:
    """What the history holds of watches."""
    return page.evaluate("history.state")


def test_one_press_starts_one_stops_and_the_value_lands_beside_its_norm(
    visitor: Visitor, clinic: Clinic, exam_id: str
) -> None:
    """Of every kind, by pointer and by key, on its side; a double press and a held key are one."""
    page = visitor.page
    start = button(page, "Start the watch – Timed up and go")
    start.click()
    passes(page, 0.2)
    page.keyboard.press("Enter")  # the second of a double press
    passes(page, 3)
    expect(page.locator("#watch-heard")).to_have_text("Watch started: Timed up and go.")
    expect(page.locator("#w-tug_s-press")).to_have_text("Stop – Timed up and go 3 s")
    button(page, "Start the watch – Five chair stands").click()
    expect(page.locator("#watch-refused")).to_have_text(
        "One watch at a time: Timed up and go runs already. Stop or discard it first."
    )
    passes(page, 10.06)
    page.locator("#w-tug_s-press").focus()
    page.keyboard.press("Space")
    visitor.expect_saved()

    expect(page.locator("#c-tug_s-text")).to_have_value("13.3")
    expect(page.locator("#watch-heard")).to_have_text("Stopped. Timed up and go: 13.3 s.")
    expect(page.locator("#m-tug_s")).to_contain_text("12 s or more; this is (CDC STEADI")
    assert "13.3" == str(clinic.value(exam_id, "tug_s", ""))
    assert kept(page) is None

    passes(page, 1)
    page.keyboard.down("Enter")
    passes(page, 1)
    page.keyboard.down("Enter")  # held: it repeats
    page.keyboard.up("Enter")
    expect(page.locator("#w-tug_s-press")).to_contain_text("Stop")
    button(page, "Discard the watch – Timed up and go").click()
    expect(page.locator("#w-tug_s-press")).to_be_focused()
    expect(page.locator("#c-tug_s-text")).to_have_value("13.3")

    # A walk counts its steps while it runs, and Enter stops it where the hand is.
    page.locator("#c-walk_m-text").fill("6")
    page.keyboard.press("Enter")
    button(page, "Start the watch – Timed walk: time").click()
    for _ in range(9):
        passes(page, 0.75)
        page.keyboard.press("Space")
    page.keyboard.press("Backspace")
    passes(page, 0.75)
    page.keyboard.press("Enter")
    visitor.expect_saved()

    expect(page.locator("#c-walk_s-text")).to_have_value("7.5")
    expect(page.locator("#c-walk_steps-text")).to_have_value("8")
    expect(page.locator("#m-walk_s")).to_contain_text("Usual walking speed: 0.8 m/s")
    expect(page.locator("#watch-heard")).to_have_text("Stopped. Timed walk: time: 7.5 s, 8 steps.")

    # The delay of a tremor is timed on the side on which there is one.
    passes(page, 1)
    right, left = (
        page.locator(f"#w-posture_tremor_delay_s-{side}-press") for side in ("right", "left")
    )
    expect(right).to_be_hidden()
    visitor.answer("Tremor with the arms held out, LEFT", "1 slight")
    expect(right).to_be_hidden()
    left.click()
    passes(page, 9.4)
    left.click()
    visitor.expect_saved()
    assert "9.4" == str(clinic.value(exam_id, "posture_tremor_delay_s", "left"))

    # A count takes each tap and key once and ends itself. Wrong ones are taken back, also after
    # the end; late ones do not count.
    passes(page, 1)
    button(page, f"Start the watch – {TAPS}").click()
    target = page.locator("#w-taps_10s-right .watch-count")
    expect(target).to_be_focused()
    passes(page, 1)
    target.click()
    target.click()  # sooner than a finger can
    expect(target).to_contain_text("1 Count one tap")
    passes(page, 0.2)
    page.keyboard.down("Space")
    passes(page, 0.2)
    page.keyboard.down("Space")  # held: it repeats
    page.keyboard.up("Space")
    passes(page, 0.2)
    page.keyboard.press("Enter")
    passes(page, 0.2)
    page.keyboard.press("Space")
    expect(target).to_contain_text("4 Count one tap")
    button(page, f"Take one back – {TAPS}").click()
    expect(page.locator("#w-taps_10s-right-press")).to_have_text(f"Runs – {TAPS} 9 s")
    passes(page, 9)
    visitor.expect_saved()
    target.click(force=True)
    page.keyboard.press("Space")

    expect(page.locator("#c-taps_10s-right-text")).to_have_value("3")
    expect(page.locator("#watch-heard")).to_have_text(f"Time is over. {TAPS}: 3 taps.")
    assert 3 == clinic.value(exam_id, "taps_10s", "right")
    assert clinic.value(exam_id, "taps_10s", "left") is None
    button(page, f"Add one – {TAPS}").click()
    visitor.expect_saved()
    assert 4 == clinic.value(exam_id, "taps_10s", "right")


def test_what_runs_survives_a_reload_a_lock_and_a_colleague_and_ends_with_the_exam(
    visitor: Visitor, colleague: Visitor, clinic: Clinic, exam_id: str
) -> None:
    """A clock set back takes nothing away, an end that nobody saw asks, nobody is overwritten.

    And a reminder speaks until it was noticed, and records nothing.
    """
    page = visitor.page
    stands = "Chair stands in 30 s"
    button(page, f"Start the watch – {stands}").click()
    for _ in range(3):
        passes(page, 2)
        page.keyboard.press("Space")
    page.locator(".map").get_by_role("link", name="Finger to nose").click()  # a place of its own
    expect(page.locator("#watch-hand")).to_have_text(f"Watch runs: {stands}")
    asked = reload_when_asked(page)
    expect(page.locator("#w-stands_30s .watch-number")).to_have_text("3")
    expect(page.locator("#watch-heard")).to_have_text(f"Still runs: {stands}.")
    assert "beforeunload" == asked

    page.add_init_script("{ const now = Date.now; Date.now = () => now() - 3600000; }")
    reload_when_asked(page)
    expect(page.locator("#w-stands_30s-press")).to_contain_text("24 s")
    page.get_by_role("button", name="Lock", exact=True).click()
    expect(page.locator(".lock-screen")).to_be_visible()
    passes(page, 60)
    page.locator("#lock-password").fill(PASSWORD)
    page.keyboard.press("Enter")
    expect(page.locator("#w-stands_30s .watch-note")).to_have_text(
        "The time ended while nobody saw it; 3 were counted until then."
    )
    expect(page.locator("#c-stands_30s-text")).to_have_value("")

    colleague.page.goto(f"/exams/{exam_id}")
    colleague.page.locator("#c-stands_30s-text").fill("8")
    colleague.page.keyboard.press("Enter")
    colleague.expect_saved()
    passes(page, 3)
    expect(page.locator("#c-stands_30s-text")).to_have_value("8")
    button(page, f"Record 3 – {stands}").click()
    expect(page.locator("#c-stands_30s-message")).to_contain_text("recorded “8 stands”")
    assert 8 == clinic.value(exam_id, "stands_30s", "")
    page.locator("#c-stands_30s-message").get_by_role("button", name="Record").click()
    visitor.expect_saved()
    assert 3 == clinic.value(exam_id, "stands_30s", "")

    # The standing reminder stays until it was noticed, also over a reload; a watch of the hand may
    # run beside it.
    alert = page.locator("#watch-alert")
    button(page, "Stands now – Standing: systolic pressure").click()
    passes(page, 59)
    expect(alert).to_be_empty()
    passes(page, 1)
    expect(alert).to_have_text("Standing for 1 minute: measure pressure and heart rate.")
    reload_when_asked(page)
    expect(alert).to_have_text("Standing for 1 minute: measure pressure and heart rate.")
    button(page, "Noticed – the reminder to measure").click()
    expect(alert).to_be_empty()
    button(page, "Start the watch – Tandem stand").click()
    passes(page, 10)
    page.locator("#w-tandem_stand_s-press").click()
    visitor.expect_saved()
    assert "10.0" == str(clinic.value(exam_id, "tandem_stand_s", ""))
    recorded = ["stands_30s", "stands_30s", "tandem_stand_s"]
    passes(page, 110)
    expect(alert).to_have_text("Standing for 3 minutes: measure pressure and heart rate.")
    button(page, "Noticed – the reminder to measure").click()

    expect(page.locator("#w-standing_sys-press")).to_contain_text("Stands now")
    assert recorded == [each.finding for each in clinic.entries(exam_id)]
    assert kept(page) is None

    # What still runs when the exam is signed ends with it, and nothing lands.
    button(page, "Start the watch – Timed up and go").click()
    sign_now(clinic, exam_id)
    passes(page, 3)
    expect(page.locator("#closed-says")).to_contain_text("signed by")
    expect(page.locator("#w-tug_s-press")).to_be_hidden()
    assert kept(page) is None
    assert recorded == [each.finding for each in clinic.entries(exam_id)]
