"""The help at a row: one text here and on the page about the exam, one key, never in the way."""

import re
from html import unescape

from playwright.sync_api import Locator, expect

from app.exam.vocabulary import vocabulary
from app.knowledge.describe_help import describe_help
from app.knowledge.load import knowledge
from tests.web.clinic import Clinic
from tests.web.visitor import Visitor

IS_FREE = """cell => {
    const box = cell.getBoundingClientRect();
    const points = [[.1, .1], [.5, .5], [.9, .9]];
    return points.every(([x, y]) => cell.contains(
        document.elementFromPoint(box.left + x * box.width, box.top + y * box.height)));
}"""


def test_a_row_and_the_page_about_the_exam_say_the_same(clinic: Clinic) -> None:
    """Every finding that has help, on the whole sheet and on a sheet that is read only."""
    exam_id = clinic.new_exam()
    sheet = clinic.get(f"/exams/{exam_id}?part=whole").text
    page = unescape(clinic.get("/knowledge/exam").text)
    with_help = [
        (finding.label, told)
        for finding in vocabulary().values()
        if (told := describe_help(finding, knowledge()))
    ]
    opened = {
        unescape(name): unescape(re.sub(r"<(?!use)[^>]*>", "", text))
        for name, text in re.findall(
            r'<details class="help" name="help">\s*<summary>.*?Help: (.*?)</span></summary>'
            r"(.*?)</details>",
            sheet,
            flags=re.DOTALL,
        )
    }

    assert {label for label, _ in with_help} == set(opened)
    for label, told in with_help:
        for title, says in told.parts:
            assert f"{title}: {says}" in opened[label]
            assert says in page
        assert told.basis in opened[label]
        drawn = f'href="/static/drawings.svg#{told.drawing.id}"' if told.drawing else "<use"
        assert bool(told.drawing) == (drawn in opened[label])
    assert 200 == clinic.get("/static/drawings.svg").status_code


def test_help_opens_by_one_key_and_is_never_in_the_way(
    visitor: Visitor, plain_visitor: Visitor
) -> None:
    """The focus stays in its cell, no row moves, and going on or Escape closes it."""
    page = visitor.page
    exam_id = visitor.start_exam()
    keys = page.keyboard
    cell = page.locator("#c-rest_tremor_hand-right")
    row = cell.locator("xpath=..")
    opened = page.locator(".help[open]")

    def open_at(answer: Locator) -> None:
        answer.focus()
        before = answer.bounding_box()
        keys.press("?")
        expect(opened).to_have_count(1)
        expect(answer).to_be_focused()
        assert before == answer.bounding_box()
        assert answer.evaluate(
            "answer => answer.closest('.row') === document.querySelector('.help[open]').parentNode"
        )
        assert answer.locator("xpath=ancestor::fieldset").evaluate(IS_FREE)

    # It opens, is heard, and closes; the focus has not moved.
    open_at(page.locator("#c-rest_tremor_hand-right-0"))
    expect(row.get_by_role("img", name="Tremor over time")).to_be_visible()
    expect(page.locator("#sheet > [role=status]")).to_contain_text("A steady beat")
    keys.press("Escape")
    expect(opened).to_have_count(0)
    expect(page.locator("#c-rest_tremor_hand-right-0")).to_be_focused()
    expect(page.locator("#sheet > [role=status]")).to_be_empty()
    keys.press("?")
    expect(opened).to_have_count(1)
    keys.press("?")
    expect(opened).to_have_count(0)

    # It stays for the other side of the row, and goes with the last entry of the row.
    keys.press("?")
    keys.press("2")
    expect(page.locator("#c-rest_tremor_hand-left-0")).to_be_focused()
    expect(opened).to_have_count(1)
    keys.press("0")
    expect(page.locator("#c-rest_tremor_leg-right-0")).to_be_focused()
    expect(opened).to_have_count(0)

    # Tab finds answers only; where there is no room below, it opens above.
    keys.press("Shift+Tab")
    expect(page.locator("#c-rest_tremor_hand-left-other")).to_be_focused()
    page.locator("#c-drift-left-0").focus()
    page.evaluate("document.activeElement.closest('.row').scrollIntoView({block: 'end'})")
    open_at(page.locator("#c-drift-left-0"))
    expect(opened).to_have_class("help is-above")

    # In a number it opens too and types nothing; in a reason it is a character.
    open_at(page.locator("#c-turn_steps-text"))
    expect(page.locator("#c-turn_steps-text")).to_have_value("")
    keys.press("Escape")
    page.locator("#c-turn_steps-other").click()
    page.locator("#c-turn_steps-why").focus()
    keys.type("dizzy?")
    expect(opened).to_have_count(0)
    expect(page.locator("#c-turn_steps-why")).to_have_value("dizzy?")
    keys.press("Enter")
    visitor.expect_saved()

    # By mouse, and without a script: then it stands in the sheet and covers nothing.
    by_hand = row.locator(".help > summary")
    by_hand.click()
    expect(opened).to_have_count(1)
    by_hand.click()
    expect(opened).to_have_count(0)
    plain = plain_visitor.page
    plain.goto(f"/exams/{exam_id}")
    below = plain.locator("#c-rest_tremor_leg-right")
    before = below.bounding_box()
    plain.locator(".row:has(#c-rest_tremor_hand-right) > .help > summary").click()
    expect(plain.locator(".help[open] .help-words")).to_contain_text("A steady beat")
    assert before != below.bounding_box()
    below.scroll_into_view_if_needed()
    assert below.evaluate(IS_FREE)
