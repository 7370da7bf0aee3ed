"""The administrator's pages on a tablet and by keyboard: what only a browser can show."""

import pytest
from fastapi import FastAPI
from playwright.sync_api import Browser, BrowserContext, Page, expect

from tests.web.clinic import ADMINISTRATOR, new_sign_in
from tests.web.visitor import Visitor

PAGES = (
    "/admin/accounts", "/admin/clinic", "/admin/audit", "/admin/audit/verify", "/admin/export",
    "/emergency-access",
)  # fmt: skip
# WCAG 2.2, 2.5.5: a target that a finger meets measures 44 by 44 CSS pixels.
TARGET = 44
# Links in a sentence are left out, as there; a box or a circle is met by its label.
SMALL = """target => [...document.querySelectorAll(
    'header a, header button, main nav a, main a.person, main button, main input, main select, ' +
    'main textarea, main summary'
)].filter(each => each.checkVisibility() && each.type !== 'hidden').map(each => {
    const met = ['checkbox', 'radio'].includes(each.type) ? each.closest('label') : each;
    const { width, height } = met.getBoundingClientRect();
    return [each.id || each.innerText || each.name, Math.round(width), Math.round(height)];
}).filter(([, width, height]) => width < target || height < target)"""

# Whether a form is sent: pressed, pressed again, and pressed when the page is shown once more.
TWICE = """button => {
    const press = () => button.form.dispatchEvent(
        new Event('submit', { bubbles: true, cancelable: true })
    );
    const pressed = [press(), press()];
    dispatchEvent(new Event('pageshow'));
    return [...pressed, press()];
}"""


@pytest.fixture
def administrator(
    app: FastAPI, browser: Browser, address: str, contexts: list[BrowserContext]
) -> Visitor:
    """The administrator at a tablet that is held upright."""
    somebody = Visitor.at(
        browser,
        address,
        contexts,
        viewport={"width": 768, "height": 1024},
        is_mobile=True,
        has_touch=True,
    )
    somebody.hold(new_sign_in(app.state.engine, ADMINISTRATOR))
    return somebody


def sideways(page: Page) -> int:
    """By how many pixels the page is wider than the screen."""
    root = "document.documentElement"
    return int(page.evaluate(f"{root}.scrollWidth - {root}.clientWidth"))


def test_on_a_tablet_every_target_is_met_and_nothing_scrolls_sideways(
    administrator: Visitor,
) -> None:
    """A page that moves sideways hides who did it, or when."""
    page = administrator.page
    for path in PAGES:
        page.goto(path)
        for fold in page.locator("main summary").all():
            fold.click()

        assert [] == page.evaluate(SMALL, TARGET), path
        assert 0 == sideways(page), path
    assert [] == administrator.broken_promises


def test_an_account_is_made_by_keyboard_alone(administrator: Visitor) -> None:
    """From the refusal, which has the focus, to the code that is shown once."""
    page = administrator.page
    page.goto("/admin/accounts")
    edge = "getComputedStyle(document.querySelector('#printed_name')).border"
    whole = page.evaluate(edge)
    page.get_by_role("button", name="Add the account").press("Enter")
    expect(page.locator("#faults")).to_be_focused()
    alarm = page.locator("#printed_name-fault").evaluate("each => getComputedStyle(each).color")
    assert f"2px solid {alarm}" == page.evaluate(edge) != whole
    page.keyboard.press("Tab")
    page.keyboard.press("Enter")
    expect(page.locator("#printed_name")).to_be_focused()
    page.keyboard.type("Dr J. Hollis")
    page.keyboard.press("Tab")
    page.keyboard.type("j.hollis")
    page.keyboard.press("Tab")
    page.keyboard.press("ArrowDown")
    expect(page.get_by_role("radio", name="physician")).to_be_checked()
    page.keyboard.press("Enter")

    expect(page.get_by_role("heading", name="A code for Dr J. Hollis")).to_be_visible()
    page.goto("/admin/accounts")
    page.get_by_role("link", name="Dr J. Hollis").click()
    # The answer to the second of two fast presses would take the place of the code.
    assert [True, False, True] == page.get_by_role("button", name="Make a new code").evaluate(TWICE)
    assert [] == administrator.broken_promises
