"""The sheet beside last time, the comparison and the course, as they are drawn."""

import re
from datetime import UTC, datetime, timedelta
from decimal import Decimal

from fastapi import FastAPI
from playwright.sync_api import Page, expect

from app.exam.record import Cell, Recorded, Untestable
from app.exam.vocabulary import Side
from app.store.actor import Recorder
from app.store.engine import writing
from app.store.entries import record
from app.store.exams import start_exam
from app.store.patients import add_patient, check_patient
from tests.web.clinic import PERSON
from tests.web.visitor import Visitor

SOMEBODY = Recorder("Dr I. Brandt", "physician")
VISITS: tuple[dict[Cell, Recorded], ...] = (
    {
        ("rest_tremor_hand", Side.RIGHT): 2,
        ("rest_tremor_hand", Side.LEFT): 0,
        ("hx_onset", None): "months_years",
        ("lying_sys", None): Decimal(180),
        ("standing_sys", None): Decimal(150),
        ("lying_hr", None): Decimal(60),
        ("standing_hr", None): Decimal(64),
        ("tug_s", None): Decimal("10.25"),
    },
    {
        ("rest_tremor_hand", Side.RIGHT): Untestable("arm in plaster"),
        ("rest_tremor_hand", Side.LEFT): 3,
        ("tug_s", None): Decimal("112.75"),
        ("hx_falls_12m", None): 1000,
    },
)
CLIPPED = """
() => [...document.querySelectorAll("svg")].flatMap((drawing) => {
  const frame = drawing.getBoundingClientRect();
  return [...drawing.querySelectorAll("text")].filter((words) => {
    const box = words.getBoundingClientRect();
    return box.left < frame.left || box.right > frame.right || box.bottom > frame.bottom;
  }).map((words) => words.textContent);
})
"""
OVERFLOW = "document.documentElement.scrollWidth - document.documentElement.clientWidth"


def second_visit(app: FastAPI) -> str:
    """The second exam of a patient who was seen twice; its id."""
    now = datetime.now(UTC)
    with writing(app.state.engine) as session:
        patient_id = add_patient(session, check_patient(PERSON, now.date()), now).id
        for place, cells in enumerate(VISITS):
            at = now - timedelta(days=90 * (2 - place))
            exam = start_exam(session, patient_id, SOMEBODY, "", at)
            record(session, exam.id, cells, at_revision=0, recorder=SOMEBODY, now=at)
    return exam.id


def fits(page: Page) -> None:
    """Nothing runs out of the screen or out of a drawing, wide or narrow."""
    # Until its typeface is there, a page is drawn in another one, whose letters are wider.
    page.evaluate("document.fonts.ready.then(() => true)")
    for width in (1280, 768, 360):
        page.set_viewport_size({"width": width, "height": 900})

        assert 0 == page.evaluate(OVERFLOW), (page.url, width)
        assert [] == page.evaluate(CLIPPED), (page.url, width)


def test_looking_back_fits_on_the_screen_and_on_paper(app: FastAPI, visitor: Visitor) -> None:
    """From the sheet to the comparison and on to the course."""
    page = visitor.page
    page.goto(f"/exams/{second_visit(app)}")
    last = page.locator("#c-rest_tremor_hand-right-last")
    cell = page.get_by_role("group", name="Hand tremor at rest, RIGHT", exact=True)

    expect(last).to_contain_text("last, not signed: 2")
    expect(cell).to_have_accessible_description(re.compile("last time, .*, not signed: 2 definite"))
    expect(page.locator(".last input, .last button, .last a")).to_have_count(0)
    fits(page)
    page.set_viewport_size({"width": 1280, "height": 900})
    page.get_by_role("link", name="Compare with last time").click()
    expect(page.get_by_role("heading", name="Not comparable", exact=False).first).to_be_visible()
    fits(page)
    page.get_by_role("link", name="Course over all exams").click()
    expect(
        page.get_by_role("img", name="Drawing of the table beneath: Timed up and go")
    ).to_be_visible()
    fits(page)
    page.emulate_media(media="print")
    expect(page.locator(".links")).to_be_hidden()
    assert "rgb(0, 0, 0)" == page.locator(".drawing text").first.evaluate(
        "e => getComputedStyle(e).fill"
    )
