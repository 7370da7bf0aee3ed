"""Practice in a real browser, without scripts and on a narrow screen, in one walk."""

from collections import Counter

from playwright.sync_api import expect

from tests.web.test_look import accessible
from tests.web.visitor import Visitor


def test_a_case_is_graded_without_scripts_and_nothing_is_wider_than_the_screen(
    plain_visitor: Visitor,
) -> None:
    """Every control is named with its side; a detail is asked for on the side that has the sign."""
    visitor, page = plain_visitor, plain_visitor.page
    page.goto("/")
    page.get_by_role("link", name="Practice", exact=True).click()
    page.get_by_role("link", name="The hand in the lap and the cup").click()
    onset = page.locator("#c-posture_tremor_onset-right")
    expect(page.locator("#grading input:checked")).to_have_count(0)
    expect(onset).to_be_hidden()

    visitor.answer("Tremor with the arms held out, RIGHT", "2 definite RIGHT")
    expect(onset).to_be_visible()
    expect(page.locator("#c-posture_tremor_onset-left")).to_be_hidden()
    named = [(each["group"], each["name"]) for each in accessible(page)]
    assert [] == [name for name, times in Counter(named).items() if times > 1]
    assert [] == [
        name for group, name in named for side in ("RIGHT", "LEFT")
        if group.endswith(f", {side}") and side not in name
    ]  # fmt: skip
    page.get_by_role("button", name="Compare with the worked answer").click()
    expect(page.locator(".result")).to_have_text("1 of 35 signs as in the worked answer")

    page.set_viewport_size({"width": 320, "height": 640})
    for path in (page.url, "/practice", "/practice/team", "/practice/lap_and_cup"):
        page.goto(path)
        assert page.evaluate("document.documentElement.scrollWidth") <= 320, path
        levels = page.locator("main :is(h1, h2, h3)").evaluate_all(
            "found => found.map(each => Number(each.tagName[1]))"
        )
        assert (1, 1) == (levels[0], levels.count(1)), path
    expect(page.locator("#c-rest_tremor_hand-right .side-tag")).to_be_visible()
