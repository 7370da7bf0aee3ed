"""No page in any of its states breaks a rule that axe can check.

Automatic checks find less than half of the real barriers; docs/guide/screen-reader.md is walked by
hand for the rest.
"""

from collections.abc import Iterator
from typing import Any

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Page

from tests.sampling import sampled
from tests.web.clinic import ADMINISTRATOR, Clinic, new_sign_in
from tests.web.test_review import amendment, settled
from tests.web.visitor import Visitor

# WCAG 2.2 at level A and AA, and what axe calls good practice.
TAGS = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]
TREMOR = {"value.rest_tremor_hand.right": "2", "value.finger_tap_slow.right": "2",
          "value.finger_tap_decrement.right": "2", "value.arm_resistance.right": "2"}  # fmt: skip
EMERGENCY = {"value.hx_onset": "sudden", "value.weak_leg.right": "2", "value.weak_leg.left": "2",
             "value.hx_bladder": "retention", "value.hx_bowel_or_saddle": "yes"}  # fmt: skip


NOWHERE = "/nowhere"
# How a page may be asked for beside in light, as the browser tells the style sheets.
THEMES: tuple[dict[str, Any], ...] = (
    {"color_scheme": "dark", "contrast": "no-preference"},
    {"color_scheme": "light", "contrast": "more"},
    {"color_scheme": "dark", "contrast": "more"},
)


def see(page: Page, path: str) -> None:
    """Open a page, and wait until its scripts have arranged it."""
    answer = page.goto(path)
    assert answer
    assert (path != NOWHERE) == answer.ok, path
    page.wait_for_load_state()


def faults(page: Page, *rules: str) -> list[str]:
    """What axe finds, a line a rule: its name and where. rules: only these, where any are named."""
    asked = {"type": "rule", "values": list(rules)} if rules else TAGS
    found = (
        Axe()
        .run(page, options={"runOnly": asked, "resultTypes": ["violations"]})
        .response["violations"]
    )
    return [f"{each['id']}: {[node['target'] for node in each['nodes']][:3]}" for each in found]


def faint(page: Page) -> list[str]:
    """What cannot be read on this page in a theme other than the light one, by axe."""
    found = []
    for theme in sampled(THEMES, len(THEMES)):
        page.emulate_media(**theme)
        found += [f"{theme}: {each}" for each in faults(page, "color-contrast")]
    page.emulate_media(color_scheme="light", contrast="no-preference")
    return found


@pytest.fixture
def states(clinic: Clinic) -> dict[str, str]:
    """An exam in each state, by the name of the state."""
    kept = {}
    for number, state in enumerate(("empty", "open", "emergency", "signed", "amended")):
        kept[state] = exam_id = clinic.new_exam(chart_number=f"AX-{number}")
        if state != "empty":
            clinic.sheet(exam_id, EMERGENCY if state == "emergency" else TREMOR)
            clinic.sheet(exam_id, {"medicines": "metoclopramide 10 mg\nsomething odd"})
        if state in ("signed", "amended"):
            clinic.client.post(f"/exams/{exam_id}/sign", data=settled(clinic, exam_id))
        if state == "amended":
            clinic.client.post(f"/exams/{exam_id}/amend", data=amendment(clinic, exam_id))
        expected = state if state in ("signed", "amended") else "open"
        assert expected == clinic.stored(exam_id).state
    return kept


def of_an_exam(clinic: Clinic, states: dict[str, str]) -> Iterator[str]:
    """The pages about one exam, in the states in which they differ."""
    yield f"/exams/{states['open']}?part=whole"
    yield f"/exams/{states['empty']}?part=nurse"
    for state in ("open", "emergency"):
        yield f"/exams/{states[state]}/review"
    for state in ("signed", "amended"):
        yield f"/exams/{states[state]}"
        yield f"/exams/{states[state]}/amend"
    yield f"/exams/{states['open']}/note"
    yield f"/exams/{states['open']}/why/parkinsonism"
    yield f"/exams/{states['open']}/next/rest_tremor_leg"
    patient_id = clinic.stored(states["amended"]).patient.id
    for page in ("", "/compare", "/course"):
        yield f"/patients/{patient_id}{page}"


def test_no_page_of_the_physician_has_a_fault(
    visitor: Visitor, clinic: Clinic, states: dict[str, str]
) -> None:
    """Worklist, sheet, review, signed and amended exam, comparison, what it knows, errors.

    Where the day is spent, dark and in more contrast too.
    """
    others = (
        "/", "/patients/new", "/me", "/knowledge", "/knowledge/categories/parkinsonism",
        "/knowledge/warnings/stroke_like", "/knowledge/signs/bradykinesia", "/knowledge/falls",
        "/knowledge/medicines", "/knowledge/norms", "/knowledge/sources", "/knowledge/steps",
        "/knowledge/exam", "/practice", "/practice/lap_and_cup", "/practice/team", "/about",
        "/verify", "/registry",
        NOWHERE,
    )  # fmt: skip
    # Going on to the next page cuts off what a sheet was just asking.
    visitor.expects_no_answer = True
    sheet, review = (f"/exams/{states['emergency']}{part}" for part in ("?part=whole", "/review"))
    tried = clinic.client.post("/practice/lap_and_cup", data={"value.rest_tremor_hand.left": "2"})
    found = {}
    for path in (*of_an_exam(clinic, states), *sampled(others, 3), tried.headers["location"]):
        see(visitor.page, path)
        if "?part=whole" in path:
            visitor.page.evaluate(
                "document.querySelectorAll('details').forEach(d => d.open = true)"
            )
        if wrong := faults(visitor.page):
            found[path] = wrong
    for path in ("/", sheet, review):
        see(visitor.page, path)
        if wrong := faint(visitor.page):
            found[f"{path} in another theme"] = wrong

    assert {} == found


def test_no_page_of_the_administrator_has_a_fault(visitor: Visitor, clinic: Clinic) -> None:
    """Accounts, clinic, audit, verifying, emergency access."""
    visitor.hold(new_sign_in(clinic.app.state.engine, ADMINISTRATOR))
    found = {}
    for path in ("/admin/clinic", "/admin/audit", "/admin/audit/verify", "/admin/export",
                 "/emergency-access", "/me", "/admin/accounts"):  # fmt: skip
        see(visitor.page, path)
        if wrong := faults(visitor.page):
            found[path] = wrong
    visitor.page.locator("main a[href^='/admin/accounts/']").first.click()
    visitor.page.wait_for_load_state()
    if wrong := faults(visitor.page):
        found["account"] = wrong

    assert {} == found


def test_no_page_before_signing_in_has_a_fault(visitor: Visitor) -> None:
    """Signing in, a wrong password, and a refused code."""
    visitor.context.clear_cookies()
    page, found = visitor.page, {}
    for path in ("/sign-in", "/first", "/invited", "/lock"):
        page.goto(path)
        if wrong := faults(page):
            found[path] = wrong
    page.goto("/sign-in")
    page.get_by_role("button", name="Sign in").click()
    if wrong := faults(page):
        found["refused"] = wrong

    assert {} == found


def test_the_lock_screen_has_no_fault(visitor: Visitor) -> None:
    """It covers the sheet, and is all that there is until somebody goes on."""
    visitor.start_exam()
    visitor.page.locator(".me").get_by_role("button", name="Lock").click()
    visitor.page.locator("#lock-password").wait_for()

    assert [] == faults(visitor.page)
