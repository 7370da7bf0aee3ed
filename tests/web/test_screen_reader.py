"""The walk with a screen reader, docs/guide/screen-reader.md, quotes what Chromium hands to one.

That names and messages are there, not that a person can work with them: nobody has listened yet.
"""

import re
from typing import Any

from playwright.sync_api import Page, expect

from app.settings import ROOT
from tests.web.clinic import PASSWORD
from tests.web.visitor import Visitor

WALK = ROOT / "docs" / "guide" / "screen-reader.md"
# The last but one column of each step: what should be heard, word for word between backticks.
HEARD = re.compile(r"^\| \d+ \|.*\|([^|]*)\|[^|]*\|$", re.M)


def quoted() -> dict[str, list[str]]:
    """By the title of a part: each text that should be heard in it."""
    parts = re.split(r"^## ", WALK.read_text(), flags=re.M)[1:]
    return {
        part.partition("\n")[0]: re.findall("`([^`]+)`", " ".join(HEARD.findall(part)))
        for part in parts
    }


def handed_over(page: Page) -> str:
    """Every name, description and text of the page's accessibility tree, one a line."""
    tree: Any = page.context.new_cdp_session(page).send("Accessibility.getFullAXTree")
    told = (
        node.get(part, {}).get("value", "")
        for node in tree["nodes"]
        if not node["ignored"]
        for part in ("name", "description")
    )
    return "\n".join(" ".join(str(each).split()) for each in told if each)


class Walk:
    """Collects what was handed over in each part of the walk."""

    def __init__(self) -> None:
        self.heard: dict[str, str] = {}

    def listen(self, part: str, page: Page) -> None:
        """Add what the page hands over now."""
        self.heard[part] = f"{self.heard.get(part, '')}\n{handed_over(page)}"


def focused(page: Page) -> str | None:
    """The legend of the cell in which the focus is."""
    legend: str | None = page.evaluate(
        "document.activeElement.closest('fieldset')?.querySelector('legend').textContent"
    )
    return legend


def choose(page: Page, *cells: str) -> None:
    """Answer cells, each by the id of its answer, whether or not its fold is open."""
    for each in cells:
        page.locator(f"#c-{each}").evaluate("answer => answer.click()")


def test_each_word_of_the_walk_is_handed_to_a_screen_reader(
    visitor: Visitor, nurse: Visitor
) -> None:
    """Whoever walks it waits for exactly these words, and takes their absence for a fault."""
    walk, page = Walk(), nurse.page
    page.clock.install()
    page.goto("/patients/new")
    walk.listen("Worklist", page)
    exam_id = nurse.start_exam()
    visitor.page.goto("/")
    walk.listen("Worklist", visitor.page)
    _sheet(walk, nurse)
    _emergency(walk, nurse)
    visitor.page.goto(f"/exams/{exam_id}")
    _two(walk, nurse, visitor.page)
    _not_saved(walk, nurse)
    _lock(walk, page)
    _review(walk, visitor.page)
    _signing(walk, visitor.page)

    assert list(quoted()) == list(walk.heard)
    for part, words in quoted().items():
        assert words
        assert [] == [each for each in words if each not in walk.heard[part]], part


def _sheet(walk: Walk, nurse: Visitor) -> None:
    page = nurse.page
    walk.listen("Sheet", page)
    assert "How it began" == focused(page)
    page.keyboard.press("PageDown")
    page.keyboard.press("PageDown")
    assert "Rise from a chair" == focused(page)
    for _ in range(4):
        page.keyboard.press("ArrowDown")
    assert "Reduced arm swing, RIGHT" == focused(page)
    page.keyboard.press("2")
    assert "Reduced arm swing, LEFT" == focused(page)
    page.keyboard.press("ArrowLeft")
    page.keyboard.press("?")
    walk.listen("Sheet", page)
    page.keyboard.press("Escape")
    page.keyboard.press("x")
    walk.listen("Sheet", page)
    page.keyboard.type("pain")
    page.keyboard.press("Enter")
    nurse.expect_saved()
    page.keyboard.press("Control+z")
    expect(page.locator("#save-status")).to_contain_text("taken back, saved")
    walk.listen("Sheet", page)
    assert "Reduced arm swing, RIGHT" == focused(page)
    page.keyboard.press("r")
    nurse.expect_saved()
    assert "Steps for a half turn" == focused(page)
    watch = page.locator("[data-cell=c-tug_s] .watch-press")
    watch.press("Space")
    walk.listen("Sheet", page)
    page.clock.run_for(2000)
    page.keyboard.press("Space")
    nurse.expect_saved()
    walk.listen("Sheet", page)


def _emergency(walk: Walk, nurse: Visitor) -> None:
    choose(nurse.page, "hx_bladder-retention", "hx_bowel_or_saddle-yes")
    nurse.expect_saved()
    expect(nurse.page.locator(".panel .emergency")).to_be_visible()
    walk.listen("Emergency", nurse.page)


def _two(walk: Walk, nurse: Visitor, colleague: Page) -> None:
    page = nurse.page
    page.locator("#c-veering-0").focus()
    choose(colleague, "veering-2")
    page.clock.run_for(3000)
    keep = page.get_by_role("button", name="Keep")
    expect(keep).to_be_visible()
    expect(page.locator("#here")).to_contain_text("is here")
    walk.listen("Two at one exam", page)
    keep.press("Space")
    assert "Staggers or veers" == focused(page)


def _not_saved(walk: Walk, nurse: Visitor) -> None:
    nurse.expects_no_answer = True
    nurse.context.set_offline(True)
    choose(nurse.page, "stooped-1")
    expect(nurse.page.locator("#save-status")).to_contain_text("1 entry kept")
    walk.listen("NOT SAVED", nurse.page)
    nurse.context.set_offline(False)
    nurse.expect_saved()
    walk.listen("NOT SAVED", nurse.page)


def _lock(walk: Walk, page: Page) -> None:
    page.get_by_role("button", name="Lock").press("Space")
    walk.listen("Lock", page)
    page.locator("#lock-password").fill("not this one")
    page.keyboard.press("Enter")
    expect(page.locator("#lock-fault")).not_to_be_empty()
    walk.listen("Lock", page)
    page.locator("#lock-password").fill(PASSWORD)
    page.keyboard.press("Enter")
    expect(page.locator(".lock-screen")).to_have_count(0)
    page.clock.fast_forward("09:35")
    expect(page.locator("#lock-warning")).not_to_be_empty()
    walk.listen("Lock", page)


def _review(walk: Walk, page: Page) -> None:
    page.get_by_role("link", name="Review and sign").click()
    page.wait_for_load_state()
    walk.listen("Review", page)
    page.get_by_label("Impression", exact=True).press_sequentially("Unsteady.")
    walk.listen("Review", page)
    expect(page.locator("#save-status")).to_contain_text("saved ")
    walk.listen("Review", page)


def _signing(walk: Walk, page: Page) -> None:
    walk.listen("Signing", page)
    page.locator("#sign").click()
    expect(page.locator("#faults")).to_be_visible()
    page.wait_for_load_state()
    walk.listen("Signing", page)
