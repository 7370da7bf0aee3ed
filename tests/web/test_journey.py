"""The whole way of one exam: nurse, physician, reasons, PDF; with a script and without."""

from io import BytesIO

from playwright.sync_api import Page, expect
from pypdf import PdfReader

from tests.web.clinic import NURSE, PHYSICIAN
from tests.web.visitor import Visitor

# Bradykinesia of the right arm (slow and shrinking) with rest tremor and rigidity on that side:
# parkinsonism by the MDS criteria of 2015 (postuma2015), which is what the panel must say.
NURSES_PART = (
    ("How it began", "over 3 months or longer"),
    ("Feels unsteady standing or walking", "yes"),
    ("Worries about falling", "no"),
    ("Step length", "short"),
    ("Reduced arm swing, RIGHT", "2 definite"),
    ("Reduced arm swing, LEFT", "0 none"),
)
PHYSICIANS_PART = (
    ("Hand tremor at rest, RIGHT", "2 definite"),
    ("Hand tremor at rest, LEFT", "0 none"),
    ("Finger taps: slow, RIGHT", "2 definite"),
    ("Finger taps: shrink as they go on, RIGHT", "2 definite"),
    ("Finger taps: slow, LEFT", "1 slight"),
    ("Arm: resistance to passive movement, RIGHT", "2 definite"),
    ("Arm: resistance felt in, RIGHT", "both directions"),
    ("Arm: moved fast against slow, RIGHT", "the same"),
)


def test_nurse_and_physician_share_one_exam_and_the_pdf_says_what_the_screen_says(
    visitor: Visitor,
) -> None:
    """The promise of the product in one test."""
    page = visitor.page
    page.goto("/")
    visitor.change_to(NURSE)
    exam_id = visitor.start_exam()
    expect(page.locator("#rest")).to_have_count(0)
    for cell, answer in NURSES_PART:
        visitor.answer(cell, answer)
    page.get_by_role("textbox", name="Falls in the last 12 months", exact=True).fill("1")
    visitor.page.get_by_label("Medicines taken now, one a line").fill("levodopa 100 mg")
    page.get_by_role("textbox", name="Time since the first symptom", exact=True).fill("2")
    page.keyboard.press("Enter")
    visitor.expect_saved()

    visitor.change_to(PHYSICIAN)
    page.goto(f"/exams/{exam_id}")
    for cell, answer in PHYSICIANS_PART:
        visitor.answer(cell, answer)
    visitor.expect_saved()

    expect_parkinsonism_with_reasons(page)
    expect_pdf(visitor)


def test_the_same_way_works_without_any_script(plain_visitor: Visitor) -> None:
    """A plain form with a Save button: no station may need a script."""
    visitor = plain_visitor
    page = visitor.page
    page.goto("/")
    visitor.change_to(NURSE)
    exam_id = visitor.start_exam()
    for cell, answer in NURSES_PART:
        visitor.answer(cell, answer)
    page.get_by_role("textbox", name="Falls in the last 12 months", exact=True).fill("1")
    page.get_by_label("Medicines taken now, one a line").fill("levodopa 100 mg")
    page.locator("#history").get_by_role("button", name="Save").click()
    expect(page.locator("#save-status")).to_contain_text("saved ")
    expect(page.locator("#medicines-read")).to_contain_text("levodopa")

    visitor.change_to(PHYSICIAN)
    page.goto(f"/exams/{exam_id}")
    for cell, answer in PHYSICIANS_PART:
        visitor.answer(cell, answer)
    page.locator("p > button.primary", has_text="Save").click()
    expect(page.locator("#save-status")).to_contain_text("saved ")

    expect_parkinsonism_with_reasons(page)
    page.get_by_role("button", name="Rest of this station normal (At rest)").click()
    expect(page.locator("#count-rest")).to_have_text("all 17 done")
    expect(page.locator("#c-rest_tremor_leg-left-message")).to_contain_text("in bulk")
    expect_pdf(visitor)


def expect_parkinsonism_with_reasons(page: Page) -> None:
    """The pattern, its side, and behind "why" the findings that carry it."""
    pattern = page.locator(".pattern", has_text="Parkinsonism").first
    expect(pattern).to_contain_text("fits the pattern")
    expect(pattern.locator(".side")).to_have_text("RIGHT")
    pattern.locator("summary").click()
    expect(pattern).to_contain_text("Hand tremor at rest: RIGHT 2 definite")
    expect(pattern).to_contain_text("Finger taps: shrink as they go on: RIGHT 2 definite")
    for heading in ("For", "Missing", "Rule", "What else looks alike", "Sources"):
        expect(pattern.get_by_role("heading", name=heading, exact=True)).to_be_visible()
    expect(page.locator("#assessment")).to_contain_text("supports and does not replace")


def expect_pdf(visitor: Visitor) -> None:
    """Two identifiers, both sides in full, the pattern, and what nobody examined."""
    answer = visitor.context.request.get(
        visitor.page.url.partition("?")[0].partition("#")[0] + "/pdf"
    )

    assert 200 == answer.status
    assert "application/pdf" == answer.headers["content-type"]
    text = " ".join(
        " ".join(page.extract_text() for page in PdfReader(BytesIO(answer.body())).pages).split()
    )
    for expected in (
        "LINDQVIST, Aurelia", "HC-2041", "09-Mar-1951", "RIGHT", "LEFT", "Parkinsonism",
        "fits the pattern", "Not examined", "Finger to nose", "DRAFT",
    ):  # fmt: skip
        assert expected in text, expected
    assert NURSE.name in text
