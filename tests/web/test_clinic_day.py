"""A day in the clinic: a nurse and a physician in two browsers at once, by keyboard alone."""

from dataclasses import dataclass
from io import BytesIO

from fastapi import FastAPI
from playwright.sync_api import Browser, BrowserContext, Page, expect
from pypdf import PdfReader

from app.store.engine import reading
from app.store.verify import verify
from tests.web.clinic import NURSE, PASSWORD, PERSON, PHYSICIAN, Member, id_in
from tests.web.visitor import Visitor

# Nothing on a page is further away than this many presses.
MOST_TABS = 400


@dataclass
class Keys:
    """Somebody who has only a keyboard."""

    page: Page

    def tab_to(self, name: str) -> None:
        """Press Tab until the control of that name has the focus, as its reader hears it."""
        for _ in range(MOST_TABS):
            self.page.keyboard.press("Tab")
            if self.page.evaluate(FOCUSED).startswith(name):
                return
        raise AssertionError(f"Tab never reaches {name!r}")

    def type(self, name: str, text: str) -> None:
        """Type into the field of that name."""
        self.tab_to(name)
        self.page.keyboard.type(text)

    def press(self, name: str, key: str = "Enter") -> None:
        """Press a key on the control of that name."""
        self.tab_to(name)
        self.page.keyboard.press(key)

    def sign_in(self, member: Member) -> None:
        """Sign in; this is the one address that anybody has to know."""
        self.page.goto("/sign-in")
        self.type("Sign-in name", member.sign_in_name)
        self.type("Password", PASSWORD)
        self.page.keyboard.press("Enter")
        expect(self.page.locator(".me-name")).to_contain_text(member.name)

    def restart(self) -> None:
        """Begin at the top of the page again, as after loading it."""
        self.page.evaluate("document.activeElement.blur(); getSelection().removeAllRanges()")
        self.page.evaluate("scrollTo(0, 0)")


# The accessible name of what has the focus, in the ways that our pages give one.
FOCUSED = """() => {
  const at = document.activeElement;
  const byId = (at.getAttribute("aria-labelledby") || "").split(" ")
    .map((id) => document.getElementById(id)?.textContent || "").join(" ");
  const group = at.closest("fieldset")?.querySelector("legend")?.textContent || "";
  const own = at.getAttribute("aria-label") || byId.trim() || at.labels?.[0]?.textContent
    || at.textContent || "";
  const words = (at.type === "radio" ? group + " " + own : own || group);
  return words.replace(/\\s+/g, " ").trim();
}"""


def test_a_clinic_day_by_keyboard_from_signing_in_to_the_addendum(
    app: FastAPI, browser: Browser, address: str, contexts: list[BrowserContext]
) -> None:
    """Handing over, both at once, reviewing, signing, adding: nothing lost, no mouse."""
    nurse_at = Visitor.at(browser, address, contexts)
    physician_at = Visitor.at(browser, address, contexts)
    nurse, physician = Keys(nurse_at.page), Keys(physician_at.page)

    nurse.sign_in(NURSE)
    exam_id = start_exam(nurse)
    physician.sign_in(PHYSICIAN)
    nurses_part(nurse, nurse_at)
    nurse.press("Hand over to the physician")
    expect(nurse.page.get_by_role("heading", name="Exams")).to_be_visible()

    physician.page.reload()
    physician.press(PERSON["family_name"].upper())
    expect(physician.page.locator("#sheet")).to_be_visible()
    nurse.press(PERSON["family_name"].upper())
    expect(physician.page.locator("#here")).to_contain_text(f"{NURSE.name} (nurse)")
    both_at_once(nurse, physician)
    physician_at.expect_saved()
    nurse_at.expect_saved()

    review_and_sign(physician)
    expect(nurse.page.locator("#closed-says")).to_contain_text("This exam was signed")
    expect_page(physician_at, exam_id, 0, "SIGNED")
    add(physician)
    expect_page(physician_at, exam_id, 1, "AMENDED")
    with reading(app.state.engine) as session:
        assert () == verify(session).alterations
    assert [] == nurse_at.broken_promises + physician_at.broken_promises


def start_exam(nurse: Keys) -> str:
    """A new patient and the exam of today."""
    nurse.press("New patient")
    expect(nurse.page.get_by_role("heading", name="New patient")).to_be_visible()
    nurse.type("Chart number", PERSON["chart_number"])
    nurse.type("Family name", PERSON["family_name"])
    nurse.type("Given name", PERSON["given_name"])
    nurse.type("Birth date", "03091951")
    nurse.press("Sex", "Space")
    nurse.press("Save and start the exam")
    expect(nurse.page.locator("#sheet")).to_be_visible()
    return id_in(nurse.page.url)


def nurses_part(nurse: Keys, at: Visitor) -> None:
    """History and gait; a grade is a digit, and moves on by itself."""
    nurse.type("Falls in the last 12 months", "1")
    nurse.page.keyboard.press("Enter")
    nurse.press("Painful limp, RIGHT", "2")
    nurse.page.keyboard.press("0")
    nurse.type("Timed up and go", "16.5")
    nurse.page.keyboard.press("Enter")
    at.expect_saved()
    nurse.restart()


def both_at_once(nurse: Keys, physician: Keys) -> None:
    """Each in their own part, while the other's entries come in."""
    physician.press("Finger taps: slow, RIGHT", "2")
    physician.press("Finger taps: shrink as they go on, RIGHT", "2")
    nurse.press("Foot drop, LEFT", "1")
    nurse.restart()
    physician.restart()
    physician.press("Hand tremor at rest, RIGHT", "1")
    drop = physician.page.get_by_role("group", name="Foot drop, LEFT", exact=True)
    expect(drop.get_by_role("radio", name="1 slight")).to_be_checked()
    expect(nurse.page.locator("#assessment")).to_contain_text("Parkinsonism")
    focused = physician.page.evaluate(FOCUSED)
    assert focused.startswith("Hand tremor at rest, LEFT"), focused


def review_and_sign(physician: Keys) -> None:
    """What rests on the nurse's findings is confirmed, the rest written, and all of it signed."""
    physician.restart()
    physician.press("Review and sign")
    expect(physician.page.locator("#review")).to_be_visible()
    ticks = physician.page.locator("#to-confirm input[type=checkbox]")
    assert ticks.count() > 0
    for place in range(ticks.count()):
        physician.press(ticks.nth(place).evaluate("each => each.labels[0].innerText")[:12], "Space")
    for place in range(ticks.count()):
        expect(ticks.nth(place)).to_be_checked()
    physician.type("Impression", "Slow RIGHT hand with a rest tremor; limp of the RIGHT leg.")
    physician.type("Plan", "Refer, and see again in six weeks.")
    physician.type("The patient’s initials", "al")
    physician.type("The patient’s year of birth", "1951")
    physician.type("Your password", PASSWORD)
    physician.press("Sign as")
    expect(physician.page.get_by_text("SIGNED", exact=True)).to_be_visible(timeout=20_000)


def add(physician: Keys) -> None:
    """A result that came in later."""
    physician.press("Add to it")
    expect(physician.page.get_by_role("heading", name="Add to a signed exam")).to_be_visible()
    physician.press("What it is Addendum", "Space")
    physician.type("Text", "Thyroid function is normal.")
    physician.type("Reason for adding it now", "The result came in today")
    physician.type("The patient’s initials", "LA")
    physician.type("The patient’s year of birth", "1951")
    physician.type("Your password", PASSWORD)
    physician.press("Sign as")
    expect(physician.page.get_by_text("AMENDED", exact=True)).to_be_visible(timeout=20_000)
    expect(physician.page.get_by_text("Thyroid function is normal.").first).to_be_visible()


def expect_page(at: Visitor, exam_id: str, number: int, state: str) -> None:
    """The stored page says its state on each of its pages, and who the patient is."""
    answer = at.context.request.get(f"/exams/{exam_id}/documents/{number}")
    assert answer.ok, answer.status
    texts = [page.extract_text() for page in PdfReader(BytesIO(answer.body())).pages]

    assert texts
    for text in texts:
        assert state in text
        assert "DRAFT" not in text
        assert PERSON["chart_number"] in text
