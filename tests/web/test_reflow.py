"""Every page on a narrow screen, enlarged, and on paper: nothing sideways, nothing lost."""

import re
from io import BytesIO

import pytest
from pypdf import PdfReader

from tests.web.clinic import ADMINISTRATOR, Clinic, new_sign_in
from tests.web.test_look import open_everything
from tests.web.test_review import amendment, send, settled
from tests.web.visitor import Visitor

# A long name, so that a head which does not wrap is found.
NAME = "Featherstonehaugh-Cholmondeley"
INITIALS = {"initials": "AF"}
SIGNS = {"value.rest_tremor_hand.right": "2", "value.finger_tap_slow.right": "2",
         "value.finger_tap_decrement.right": "2", "value.arm_resistance.right": "2",
         "value.tug_s": "14"}  # fmt: skip
EMERGENCY = {"value.hx_onset": "sudden", "value.weak_leg.right": "2", "value.weak_leg.left": "2",
             "value.hx_bladder": "retention", "value.hx_bowel_or_saddle": "yes"}  # fmt: skip
KNOWN = (
    "/knowledge", "/knowledge/categories/parkinsonism", "/knowledge/warnings/acute_stroke",
    "/knowledge/signs/bradykinesia", "/knowledge/falls", "/knowledge/medicines",
    "/knowledge/norms", "/knowledge/sources", "/knowledge/steps", "/knowledge/exam", "/about",
    "/verify",
)  # fmt: skip
TO_MANAGE = (
    "/admin/accounts", "/admin/clinic", "/admin/audit", "/admin/audit/verify",
    "/admin/export", "/emergency-access", "/me",
)  # fmt: skip


@pytest.fixture
def exams(clinic: Clinic) -> dict[str, str]:
    """Of one patient an open exam with an emergency, and an amended one."""
    emergency = clinic.new_exam(family_name=NAME)
    clinic.sheet(emergency, SIGNS | EMERGENCY | {"medicines": "metoclopramide 10 mg"})
    patient = clinic.stored(emergency).patient.id
    answer = clinic.client.post(f"/patients/{patient}", data={"reason": "Slower since spring"})
    amended = answer.headers["location"].split("/")[2].partition("?")[0]
    clinic.sheet(amended, SIGNS)
    assert 303 == send(clinic, amended, settled(clinic, amended) | INITIALS).status_code
    assert 303 == send(clinic, amended, amendment(clinic, amended) | INITIALS, "amend").status_code
    return {"emergency": emergency, "amended": amended, "patient": patient}


def sideways(visitor: Visitor, path: str) -> list[str]:
    """The widths at which a page would have to be pushed to and fro: 320, and 1280 at 200 %."""
    visitor.page.goto(path)
    open_everything(visitor.page)
    found = []
    for width in (640, 320):
        visitor.page.set_viewport_size({"width": width, "height": 640})
        has = visitor.page.evaluate("document.documentElement.scrollWidth")
        found += [f"{path} is {has} wide at {width}"] if has > width else []
    return found


def test_no_page_scrolls_sideways_on_a_narrow_screen(
    visitor: Visitor, clinic: Clinic, exams: dict[str, str]
) -> None:
    """WCAG 2.2, 1.4.10 and 1.4.4; on the sheet each cell says its side again, and Tab goes down."""
    first, patient = f"/exams/{exams['emergency']}", f"/patients/{exams['patient']}"
    of_patients = (
        "/", "/patients/new", patient, f"{patient}/compare", f"{patient}/course",
        f"{first}/note", f"{first}/review", f"{first}/why/parkinsonism", f"{first}/next/tics",
        f"/exams/{exams['amended']}", f"/exams/{exams['amended']}/amend", "/nowhere",
    )  # fmt: skip
    wide = [line for path in (*of_patients, *KNOWN) for line in sideways(visitor, path)]
    wide += sideways(visitor, f"{first}?part=whole")
    tag = visitor.page.locator("#c-rest_tremor_hand-right .side-tag")
    assert tag.is_visible()
    jumps = visitor.page.locator(".row:has(.watch)").evaluate_all(
        """rows => rows.map(row => {
             const stops = [...row.querySelectorAll('input, .watch-press')];
             const tops = stops.filter(each => each.checkVisibility({ visibilityProperty: true }))
               .map(each => each.getBoundingClientRect().bottom);
             return [row.innerText, tops.some((top, place) => top < tops[place - 1] - 20)];
           }).filter(([, isJump]) => isJump)"""
    )
    visitor.hold(new_sign_in(clinic.app.state.engine, ADMINISTRATOR))
    wide += [line for path in TO_MANAGE for line in sideways(visitor, path)]
    visitor.page.goto("/admin/accounts")
    account = visitor.page.locator("main a[href^='/admin/accounts/']").first.get_attribute("href")
    wide += sideways(visitor, str(account))

    assert ([], []) == (wide, jumps)


def test_on_paper_every_sheet_names_the_patient_and_holds_what_was_folded(
    visitor: Visitor, clinic: Clinic
) -> None:
    """A loose sheet belongs to somebody; nothing can be opened on paper, and nothing pressed."""
    exam_id = clinic.new_exam(family_name=NAME)
    clinic.sheet(exam_id, SIGNS | EMERGENCY)
    clinic.cell(exam_id, "rest_tremor_leg", "left", "untestable", why="plaster cast")
    paths = ("?part=whole", "/review", "/note")
    printed = {path: printed_pages(visitor, f"/exams/{exam_id}{path}") for path in paths}

    unnamed = [
        (path, number)
        for path, pages in printed.items()
        for number, text in enumerate(pages, 1)
        if not all(each in text for each in (NAME.upper(), "09-Mar-1951", "HC-2041"))
    ]
    assert [] == unnamed
    assert len(printed["?part=whole"]) > 3
    everything = {path: " ".join(pages) for path, pages in printed.items()}
    pressed = "Sign out|Somebody else|Rest of this station|Start the watch|Copy the note|Back to"
    assert {} == {
        path: seen for path, text in everything.items() if (seen := re.findall(pressed, text))
    }
    sheet = everything["?part=whole"]
    for held in ("cannot be tested: plaster cast", "What else looks alike", "EMERGENCY, now"):
        assert held in sheet


def printed_pages(visitor: Visitor, path: str) -> list[str]:
    """The text of each sheet of paper, in single spaces."""
    visitor.page.goto(path)
    read = PdfReader(BytesIO(visitor.page.pdf(prefer_css_page_size=True)))
    return [" ".join(page.extract_text().split()) for page in read.pages]
