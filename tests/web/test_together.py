"""Two people at one exam, each at a browser of their own: what one does, the other sees.

A colleague's entry is there within three seconds, and nothing moves under a hand.
"""

import re
from typing import Any

import pytest
from playwright.sync_api import Locator, Page, expect

from tests.sampling import sampled
from tests.web.clinic import PASSWORD, Clinic
from tests.web.test_updates import sign_now
from tests.web.visitor import Visitor

PROMISED_MS = 3000
STEPS = "Steps for a half turn"
STOOPED = "Stooped posture"


@pytest.fixture
def exam_id(visitor: Visitor, nurse: Visitor) -> str:
    """A new exam that both of them have open: the physician whole, the nurse their part."""
    exam_id = visitor.start_exam()
    nurse.page.goto(f"/exams/{exam_id}")
    return exam_id


def field(page: Page, name: str) -> Locator:
    """The text field of a cell."""
    return page.get_by_role("textbox", name=name, exact=True)


def chosen(page: Page, cell: str) -> Locator:
    """The answer of a cell that is chosen."""
    return page.get_by_role("group", name=cell, exact=True).locator("input:checked")


def enter(visitor: Visitor, name: str, value: str) -> None:
    """Type a value into the field of a cell and leave it; wait until it is saved."""
    field(visitor.page, name).fill(value)
    visitor.page.keyboard.press("Enter")
    visitor.expect_saved()


def place(page: Page) -> Any:
    """Where the focus is, where the page and the panel are scrolled to, which folds are open."""
    return page.evaluate(
        """() => [
          document.activeElement.id,
          document.activeElement.getBoundingClientRect().top,
          scrollY,
          document.querySelector(".banner").offsetHeight,
          document.querySelector(".panel").scrollTop,
          [...document.querySelectorAll("details[open]")].map((each) => each.id),
        ]"""
    )


def test_a_colleagues_entry_is_there_within_three_seconds_and_nothing_moves(
    visitor: Visitor, nurse: Visitor, exam_id: str
) -> None:
    """Focus, scroll and every open fold stay as they are; who recorded it stands beside it."""
    page = visitor.page
    visitor.answer("Hand tremor at rest, RIGHT", "2 definite")
    visitor.expect_saved()
    page.locator(".pattern summary").first.click()
    page.locator("#c-stooped-0").focus()
    before = place(page)
    assert "c-stooped-0" == before[0]
    assert before[2] > 0
    nurse.answer("Turns as one block", "2 definite")

    expect(page.locator("#c-turn_en_bloc-2")).to_be_checked(timeout=PROMISED_MS)
    expect(page.locator("#c-turn_en_bloc .by")).to_have_text(re.compile(r"by R. Okafor, \d\d:\d\d"))
    expect(page.locator("#count-gait")).to_contain_text("1 done")
    assert before == place(page)


def test_the_mark_of_a_colleagues_entry_goes_away_by_itself(
    visitor: Visitor, nurse: Visitor, exam_id: str
) -> None:
    """It says what is new, and would soon say it of everything."""
    page = visitor.page
    page.clock.install()
    page.reload()
    nurse.answer(STOOPED, "2 definite")
    nurse.expect_saved()
    page.clock.run_for(2000)
    expect(page.locator("#c-stooped .by")).to_be_visible()
    page.clock.run_for(15_000)

    expect(page.locator("#c-stooped .by")).to_have_count(0)
    expect(page.locator("#c-stooped-2")).to_be_checked()


def test_who_else_is_here_and_where(visitor: Visitor, nurse: Visitor, exam_id: str) -> None:
    """In the head of the sheet, in words that a screen reader reads out when they change."""
    here = visitor.page.locator("#here")
    expect(here).to_have_text("R. Okafor (nurse) is here")
    nurse.page.locator("#c-stooped-0").focus()
    expect(here).to_have_text("R. Okafor (nurse) is in Rise, walk and turn")
    expect(nurse.page.locator("#here")).to_have_text("Dr I. Brandt (physician) is here")

    assert "status" == here.get_attribute("role")


def test_the_words_about_the_others_change_only_when_they_do(
    visitor: Visitor, nurse: Visitor, exam_id: str
) -> None:
    """What is read out loud every two seconds would make the page useless to who listens."""
    page = visitor.page
    expect(page.locator("#here")).to_have_text("R. Okafor (nurse) is here")
    page.evaluate(
        """() => {
          window.changes = 0;
          new MutationObserver(() => window.changes += 1).observe(
            document.querySelector(".here"), {childList: true, subtree: true, characterData: true},
          );
        }"""
    )
    for _ in range(2):
        with page.expect_response("**/updates*"):
            pass

    assert 0 == page.evaluate("window.changes")


def test_an_entry_never_falls_upon_what_is_being_typed(
    visitor: Visitor, nurse: Visitor, clinic: Clinic, exam_id: str
) -> None:
    """It stands beside the field; what was typed goes on, and collides when it is entered."""
    page = visitor.page
    field(page, STEPS).press_sequentially("1")
    enter(nurse, STEPS, "5")
    message = page.locator("#c-turn_steps-message")
    expect(message).to_contain_text("R. Okafor (nurse")
    expect(message).to_contain_text("recorded “5 steps” meanwhile")
    expect(page.locator("#heard")).to_contain_text(f"{STEPS}: R. Okafor")
    expect(field(page, STEPS)).to_be_focused()
    page.keyboard.type("2")
    expect(field(page, STEPS)).to_have_value("12")
    page.keyboard.press("Enter")

    expect(message).to_contain_text("recorded “5 steps”. Yours, “12 steps”, is not saved.")
    expect(field(page, STEPS)).to_have_value("12")
    assert 5 == clinic.value(exam_id, "turn_steps")


def test_mine_is_taken_by_keyboard(
    visitor: Visitor, nurse: Visitor, clinic: Clinic, exam_id: str
) -> None:
    """Both values were shown; the later entry names the one that it replaces."""
    page = visitor.page
    field(page, STEPS).press_sequentially("7")
    enter(nurse, STEPS, "5")
    take = page.get_by_role("button", name="Record what stands here")
    expect(take).to_be_visible()
    take.focus()
    page.keyboard.press("Enter")
    visitor.expect_saved()

    first, second = clinic.entries(exam_id)
    assert (5, 7, first.entry_id) == (first.value, second.value, second.replaces)
    expect(field(page, STEPS)).to_be_focused()
    expect(page.locator("#c-turn_steps-message")).to_be_empty()
    expect(field(nurse.page, STEPS)).to_have_value("7")


def test_theirs_is_taken_by_keyboard(
    visitor: Visitor, nurse: Visitor, clinic: Clinic, exam_id: str
) -> None:
    """It is shown in the cell and sends nothing; the next entry there rests on it."""
    page = visitor.page
    field(page, STEPS).press_sequentially("7")
    enter(nurse, STEPS, "5")
    page.keyboard.press("Enter")
    take = page.get_by_role("button", name="Keep “5 steps”")
    expect(take).to_be_visible()
    take.focus()
    page.keyboard.press("Space")

    expect(field(page, STEPS)).to_have_value("5")
    expect(field(page, STEPS)).to_be_focused()
    visitor.expect_saved()
    assert [5] == [each.value for each in clinic.entries(exam_id)]
    enter(visitor, STEPS, "6")
    assert [5, 6] == [each.value for each in clinic.entries(exam_id)]


def test_a_cell_with_the_focus_changes_when_it_is_left(
    visitor: Visitor, nurse: Visitor, exam_id: str
) -> None:
    """A key pressed in that moment would answer something else than what was read."""
    page = visitor.page
    page.locator("#c-stooped-0").focus()
    nurse.answer(STOOPED, "2 definite")
    expect(page.locator("#c-stooped-message")).to_contain_text("recorded “2 definite” meanwhile")
    expect(page.locator("#c-stooped-0")).to_be_focused()
    expect(chosen(page, STOOPED)).to_have_count(0)
    page.locator("#c-turn_en_bloc-0").focus()

    expect(chosen(page, STOOPED)).to_have_value("2")
    expect(page.locator("#c-stooped-message")).to_be_empty()
    expect(page.locator("#c-turn_en_bloc-0")).to_be_focused()


def test_somebody_types_on_while_entries_arrive(
    visitor: Visitor, nurse: Visitor, clinic: Clinic, exam_id: str
) -> None:
    """Key by key, with an answer of the server between any two of them."""
    page = visitor.page
    medicines = page.get_by_label("Medicines taken now, one a line")
    medicines.focus()
    typed = ""
    for key, (name, grade) in zip(
        "levo", [("stooped", 1), ("veering", 2), ("freezing", 3), ("turn_en_bloc", 0)], strict=True
    ):
        page.keyboard.type(key)
        typed += key
        nurse.page.locator(f"#c-{name}-{grade}").check()
        expect(page.locator(f"#c-{name}-{grade}")).to_be_checked()
        expect(medicines).to_be_focused()
        expect(medicines).to_have_value(typed)
    page.keyboard.press("Tab")
    visitor.expect_saved()

    assert ("levo",) == clinic.stored(exam_id).exam.medicines


@pytest.mark.parametrize(
    ("button", "stands"),
    sampled(
        [("Keep theirs", ("levodopa 100 mg", "bisoprolol")), ("Record yours", ("aspirin 100 mg",))],
        2,
    ),
)
def test_a_collision_of_the_medicines_is_settled_by_a_person(
    visitor: Visitor, nurse: Visitor, clinic: Clinic, exam_id: str, button: str,
    stands: tuple[str, ...],
) -> None:  # fmt: skip
    """Both lists stand there, what was typed stays in the field, and either can be taken."""
    page = visitor.page
    label = "Medicines taken now, one a line"
    page.get_by_label(label).press_sequentially("aspirin 100 mg")
    nurse.page.get_by_label(label).fill("levodopa 100 mg\nbisoprolol")
    nurse.page.keyboard.press("Tab")
    nurse.expect_saved()
    message = page.locator("#medicines-message")
    expect(message).to_contain_text(
        "recorded “levodopa 100 mg; bisoprolol”. What stands here is kept"
    )
    page.keyboard.press("Tab")
    expect(message).to_contain_text("Yours, “aspirin 100 mg”, are not saved.")
    expect(page.get_by_label(label)).to_have_value("aspirin 100 mg")
    take = message.get_by_role("button", name=button)
    take.focus()
    page.keyboard.press("Enter")
    visitor.expect_saved()

    expect(page.get_by_label(label)).to_have_value("\n".join(stands))
    expect(page.get_by_label(label)).to_be_focused()
    assert stands == clinic.stored(exam_id).exam.medicines


def test_a_reader_of_the_reasons_keeps_the_place(
    visitor: Visitor, nurse: Visitor, exam_id: str
) -> None:
    """The panel is written anew; the focus in it is not lost."""
    page = visitor.page
    visitor.answer("Hand tremor at rest, RIGHT", "2 definite")
    visitor.expect_saved()
    why = page.locator(".pattern summary").first
    why.click()
    expect(why).to_be_focused()
    nurse.answer(STOOPED, "2 definite")
    expect(chosen(page, STOOPED)).to_have_value("2")

    expect(why).to_be_focused()
    expect(page.locator(".pattern details").first).to_have_attribute("open", "")


def test_what_the_nurse_may_not_write_changes_before_them_too(
    visitor: Visitor, nurse: Visitor, exam_id: str
) -> None:
    """In words, with the mark of who recorded it."""
    nurse.page.goto(f"/exams/{exam_id}?part=whole")
    visitor.answer("Hand tremor at rest, RIGHT", "2 definite")
    cell = nurse.page.locator("#c-rest_tremor_hand-right")

    expect(cell).to_contain_text("2 definite")
    expect(cell.locator(".by")).to_contain_text("by Dr I. Brandt")


def test_a_sheet_that_was_signed_meanwhile_keeps_what_was_typed(
    visitor: Visitor, nurse: Visitor, clinic: Clinic, exam_id: str
) -> None:
    """It says who signed, takes nothing more, and hands out what was not recorded."""
    page = nurse.page
    enter(visitor, STEPS, "5")
    label = "Medicines taken now, one a line"
    page.get_by_label(label).press_sequentially("bisoprolol 5 mg")
    sign_now(clinic, exam_id)

    expect(page.locator("#closed-says")).to_have_text(
        re.compile(r"This exam was signed by Dr I. Brandt, \d\d:\d\d. It takes no more entries.")
    )
    expect(page.locator("#exam-state")).to_have_text("signed")
    expect(page.locator("#unsaved-text")).to_have_text(f"{label}: bisoprolol 5 mg")
    expect(page.get_by_label(label)).to_have_value("bisoprolol 5 mg")
    expect(page.get_by_label(label)).to_be_focused()
    expect(page.get_by_label(label)).not_to_be_editable()
    expect(page.locator("#c-stooped-0")).to_be_disabled()
    page.get_by_role("button", name="Copy").click()
    expect(page.locator("#copied")).to_have_text("Copied.")
    # Whose entry it is cannot take it back any more, and is not offered to.
    expect(visitor.page.locator("#closed-says")).to_contain_text("This exam was signed")
    expect(visitor.page.locator("#undo")).to_be_hidden()
    assert 1 == len(clinic.entries(exam_id))


def test_an_entry_that_comes_after_the_signature_is_refused_and_kept(
    visitor: Visitor, nurse: Visitor, clinic: Clinic, exam_id: str
) -> None:
    """It meets the signed exam before the page has heard of the signature."""
    page = nurse.page
    page.route("**/updates*", lambda route: route.abort())
    nurse.expects_no_answer = True
    sign_now(clinic, exam_id)
    nurse.answer(STOOPED, "2 definite")

    expect(page.locator("#save-status")).to_contain_text("NOT SAVED")
    expect(page.locator("#unsaved-text")).to_have_text(f"{STOOPED}: 2 definite")
    expect(page.locator("#closed-says")).to_contain_text("This exam was signed")
    expect(page.locator("#saving")).to_be_hidden()
    assert [] == clinic.entries(exam_id)


def test_behind_the_lock_screen_nothing_is_asked_and_nothing_moves(
    visitor: Visitor, nurse: Visitor, exam_id: str
) -> None:
    """After the password the sheet stands as it was left, and then hears what it missed."""
    page = visitor.page
    page.locator("#c-stooped-0").focus()
    page.locator(".me").get_by_role("button", name="Lock").dispatch_event("click")
    expect(page.locator("#lock-password")).to_be_focused()
    asked: list[str] = []
    page.on("request", lambda request: asked.append(request.url))
    nurse.answer(STOOPED, "2 definite")
    enter(nurse, STEPS, "5")
    for _ in range(3):
        with nurse.page.expect_response("**/updates*"):
            pass
    assert [] == [url for url in asked if "/updates" in url]

    page.keyboard.type(PASSWORD)
    page.keyboard.press("Enter")
    expect(field(page, STEPS)).to_have_value("5")
    expect(page.locator("#c-stooped-message")).to_contain_text("recorded “2 definite” meanwhile")
    expect(chosen(page, STOOPED)).to_have_count(0)
    expect(page.locator("#c-stooped-0")).to_be_focused()


def test_a_server_that_does_not_answer_is_told_and_asked_again(
    visitor: Visitor, nurse: Visitor, exam_id: str
) -> None:
    """Who sees nothing new must know whether nothing is new."""
    page = visitor.page
    expect(page.locator("#here")).to_contain_text("R. Okafor")
    visitor.expects_no_answer = True
    visitor.context.set_offline(True)
    says = page.locator("#no-updates")
    expect(says).to_have_text("No answer: what colleagues do is not shown.")
    nurse.answer(STOOPED, "2 definite")
    visitor.context.set_offline(False)

    expect(chosen(page, STOOPED)).to_have_value("2", timeout=20_000)
    expect(says).to_be_empty()


def test_a_hidden_sheet_does_not_ask(visitor: Visitor, exam_id: str) -> None:
    """A window behind others tells nobody that somebody is there."""
    page = visitor.page
    with page.expect_response("**/updates*"):
        pass
    asked: list[str] = []
    page.on("request", lambda request: asked.append(request.url))
    page.clock.install()
    page.evaluate(
        """() => {
          Object.defineProperty(document, "hidden", {value: true, configurable: true});
          document.dispatchEvent(new Event("visibilitychange"));
        }"""
    )
    page.clock.run_for(60_000)
    assert len([url for url in asked if "/updates" in url]) <= 1
    page.evaluate("delete document.hidden")
    with page.expect_response("**/updates*"):
        page.evaluate("document.dispatchEvent(new Event('visibilitychange'))")
