"""The pages about the knowledge in a real browser: narrow and wide, without a broken promise."""

import itertools

import pytest
from playwright.sync_api import expect

from tests.sampling import sampled
from tests.web.visitor import Visitor

PAGES = (
    "/about", "/knowledge", "/knowledge/categories/parkinsonism", "/knowledge/falls",
    "/knowledge/warnings/cord_compression", "/knowledge/signs/tone_arm", "/knowledge/norms",
    "/knowledge/medicines", "/knowledge/sources", "/knowledge/steps",
    "/knowledge/exam",
)  # fmt: skip


@pytest.mark.parametrize("width", sampled([320, 768, 1280], 3))
def test_no_page_is_wider_than_the_screen(visitor: Visitor, width: int) -> None:
    """WCAG 2.2, 1.4.10: nothing is lost at 320 CSS pixels."""
    exam_id = visitor.start_exam()
    visitor.page.set_viewport_size({"width": width, "height": 800})
    whys = [f"/exams/{exam_id}/why/{rule}" for rule in ("parkinsonism", "stroke_like", "fall_risk")]
    for path in (*PAGES, *whys):
        visitor.page.goto(path)
        expect(visitor.page.locator("h1")).to_be_visible()
        wide = visitor.page.evaluate("document.documentElement.scrollWidth")

        assert wide <= width, path


def test_one_heading_after_the_other_and_one_at_the_top(visitor: Visitor) -> None:
    """Somebody who hears the page goes by its headings."""
    for path in PAGES:
        visitor.page.goto(path)
        levels = visitor.page.evaluate(
            "[...document.querySelectorAll('h1,h2,h3,h4')].map(each => Number(each.tagName[1]))"
        )

        assert 1 == levels[0], path
        assert 1 == levels.count(1), path
        assert all(after - before <= 1 for before, after in itertools.pairwise(levels))


def test_a_word_leads_to_its_meaning_and_back(visitor: Visitor) -> None:
    """From a pattern to a sign that it speaks of, and from there to the pattern."""
    visitor.page.goto("/knowledge/categories/parkinsonism")
    visitor.page.get_by_role("link", name="Rigid limb", exact=True).first.click()
    expect(visitor.page.locator("h1")).to_contain_text("Rigid limb")

    visitor.page.get_by_role("link", name="Parkinsonism", exact=True).click()
    expect(visitor.page.locator("h1")).to_contain_text("Parkinsonism")
