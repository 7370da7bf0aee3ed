"""What can be measured of the look: names, targets, focus, promises."""

import re
from collections import Counter
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Page, expect

from app.settings import ROOT
from tests.sampling import sampled
from tests.web.visitor import Visitor

SCRIPTS = sorted((ROOT / "static").glob("*.js"))

# A field that offers answers while one types is a combobox.
ROLES = ("radio", "textbox", "checkbox", "combobox")


def accessible(page: Page) -> list[dict[str, Any]]:
    """Every control with the name and the group that a screen reader says."""
    session = page.context.new_cdp_session(page)
    nodes = session.send("Accessibility.getFullAXTree")["nodes"]
    by_id = {node["nodeId"]: node for node in nodes}
    found = []
    for node in nodes:
        if node.get("ignored") or node["role"]["value"] not in ROLES:
            continue
        above = by_id.get(node.get("parentId", ""))
        while above and not (
            above["role"]["value"] == "group" and above.get("name", {}).get("value")
        ):
            above = by_id.get(above.get("parentId", ""))
        found.append(
            {
                "role": node["role"]["value"],
                "name": node["name"]["value"],
                "group": above["name"]["value"] if above else "",
            }
        )
    return found


def open_everything(page: Page) -> None:
    """Open every fold of the sheet, and show the details as if their finding were present."""
    page.evaluate(
        "document.querySelectorAll('details').forEach(each => { each.open = true; });"
        "document.querySelectorAll('.details').forEach(each => each.classList.add('is-open'));"
        "document.querySelectorAll('.cell').forEach(each => each.classList.add('is-filled'));"
    )


def test_every_control_is_named_by_finding_and_side_and_no_name_twice(visitor: Visitor) -> None:
    """The side is heard with every answer, and two controls are never confused."""
    visitor.start_exam()
    open_everything(visitor.page)
    controls = accessible(visitor.page)
    sided = visitor.page.locator(".cell.right input, .cell.left input")

    named = [(each["group"], each["name"]) for each in controls]
    assert [] == [name for name, times in Counter(named).items() if times > 1]
    with_side = [each for each in controls if re.search(r", (RIGHT|LEFT)$", each["group"])]
    assert sided.count() == len(with_side)
    for each in with_side:
        side = each["group"].rsplit(", ", 1)[1]
        other = {"RIGHT": "LEFT", "LEFT": "RIGHT"}[side]
        assert side in each["name"], each
        assert other not in each["name"], each


def test_every_page_keeps_its_promises_in_a_browser(visitor: Visitor) -> None:
    """No script error, no breach of the policy, nothing from elsewhere: the visitor notes them."""
    page = visitor.page
    exam_id = visitor.start_exam()
    patient = page.get_by_role("link", name="All exams of this patient").get_attribute("href")
    for path in (
        "/", "/patients/new", str(patient), f"/exams/{exam_id}", f"/exams/{exam_id}?part=nurse",
        f"/exams/{exam_id}/note", "/nowhere", f"/exams/{exam_id}/cells",
    ):  # fmt: skip
        page.goto(path, wait_until="networkidle")
        expect(page.locator("main")).to_be_visible()
        assert "Source Sans 3" in page.evaluate("getComputedStyle(document.body).fontFamily")
        assert page.evaluate("document.fonts.check('16px \"Source Sans 3\"')"), path
    page.goto("/")
    page.get_by_label("Find a patient").fill("Lindq")
    page.keyboard.press("Enter")
    expect(page.get_by_role("heading", name="1 patient found")).to_be_visible()


def test_the_note_is_copied_by_one_press(visitor: Visitor) -> None:
    """Pasting it is how it gets into the chart."""
    page = visitor.page
    exam_id = visitor.start_exam()
    page.goto(f"/exams/{exam_id}/note")
    visitor.context.grant_permissions(["clipboard-read", "clipboard-write"])
    page.get_by_role("button", name="Copy the note").click()
    expect(page.locator("#copied")).to_have_text("Copied.")

    assert page.locator("#note").inner_text() == page.evaluate("navigator.clipboard.readText()")


def test_nothing_is_chosen_in_a_new_exam(visitor: Visitor) -> None:
    """A value that nobody chose would be a silent normal."""
    visitor.start_exam()

    expect(visitor.page.locator("#sheet input:checked")).to_have_count(0)


def test_right_stands_before_left_in_every_row_and_head(visitor: Visitor) -> None:
    """One order everywhere, in the document and on the screen."""
    page = visitor.page
    visitor.start_exam()
    open_everything(page)
    rows = page.locator(".row.paired").evaluate_all(
        """rows => rows.map(row => {
             const [right, left] = row.querySelectorAll('.cell');
             return [right.dataset.side, left.dataset.side,
                     right.getBoundingClientRect().left < left.getBoundingClientRect().left];
           })"""
    )

    assert len(rows) > 40
    assert {("right", "left", True)} == {tuple(row) for row in rows}
    heads = page.locator(".columns").all_inner_texts()
    assert {"RIGHT (patient’s)\nLEFT (patient’s)"} == {
        "\n".join(head.split("\n")).replace("’s)LEFT", "’s)\nLEFT") for head in heads
    }


@pytest.mark.parametrize("width", [1280, 768])
def test_every_target_is_large_enough(visitor: Visitor, width: int) -> None:
    """WCAG 2.2, 2.5.8 asks for 24 pixels; answers have 32."""
    page = visitor.page
    visitor.start_exam()
    page.set_viewport_size({"width": width, "height": 768})
    open_everything(page)
    measure = """(found) => found.filter(each => each.checkVisibility()).map(each => {
        const box = (each.closest('label.plain') ?? each).getBoundingClientRect();
        return [each.id || each.textContent.trim().slice(0, 40), box.width, box.height];
    }).filter(([, width, height]) => width > 1 && (width < LEAST || height < LEAST))"""

    answers = page.locator(".answers .face, .answers input[type=text], .small")
    assert [] == answers.evaluate_all(measure.replace("LEAST", "31.5"))
    others = page.locator("header a, #sheet summary, #sheet .other input, .map a, .panel summary")
    assert [] == others.evaluate_all(measure.replace("LEAST", "24"))


@pytest.mark.parametrize("width", sampled([1024, 1280], 2))
def test_the_focus_is_never_hidden(visitor: Visitor, width: int) -> None:
    """WCAG 2.2, 2.4.11: head, column heads and panel stick, and must not cover the control."""
    page = visitor.page
    visitor.start_exam()
    page.set_viewport_size({"width": width, "height": 600})
    page.locator("#c-hx_onset-months_years").focus()
    seen: set[str] = set()
    hidden: list[str] = []
    while True:
        page.keyboard.press("Tab")
        where = page.evaluate(
            """() => {
              const has = document.activeElement;
              if (!has.closest('#sheet')) return null;
              const box = (has.closest('label') ?? has).getBoundingClientRect();
              const points = [[.5, .5], [.1, .1], [.9, .1], [.1, .9], [.9, .9]];
              const isSeen = points.some(([x, y]) => {
                const at = [box.left + x * box.width, box.top + y * box.height];
                const top = document.elementFromPoint(...at);
                return top && (has.contains(top) || has.closest('label, summary')?.contains(top));
              });
              const place = [...document.querySelectorAll('*')].indexOf(has);
              return [`${place} ${has.id || has.textContent.trim()}`, isSeen];
            }"""
        )
        if where is None or where[0] in seen:
            break
        seen.add(where[0])
        if not where[1]:
            hidden.append(where[0])

    assert len(seen) > 100
    assert [] == hidden


def test_a_whole_station_of_the_quick_pass_fits_one_screen(visitor: Visitor) -> None:
    """1280 x 768: the eye takes in a station without scrolling; the walk may need a line more."""
    page = visitor.page
    visitor.start_exam()
    heights = {
        station: page.locator(f"#{station}").bounding_box()["height"]  # type: ignore[index]
        for station in ("history", "rest", "posture", "reach", "repeat", "tone", "gait")
    }

    head = page.locator(".banner").bounding_box()["height"]  # type: ignore[index]
    assert {} == {name: height for name, height in heights.items() if height > 768 - head}


@pytest.mark.parametrize("file", SCRIPTS, ids=lambda file: file.name)
def test_scripts_keep_no_patient_data_in_the_browser(file: Path) -> None:
    """Nothing typed may be found there by the next person at a shared screen."""
    stores = ("localStorage", "sessionStorage", "indexedDB", "caches", "document.cookie")

    assert [] == [store for store in stores if store in file.read_text()]
