"""Drives every case and prints what it took."""

import json
import platform
import sys
from collections.abc import Callable

from playwright.sync_api import Page

from benchmarks.hands import baselines, cases
from benchmarks.hands.hand import Hand
from benchmarks.hands.model import Count
from benchmarks.serving import PHYSICIAN, new_exam, pages, served


def main() -> None:
    """Print the table, and as the last line one JSON object."""
    with served() as address, pages(address) as (desk, tablet):
        normal = _examine(desk, "HANDS-1", cases.normal_exam)
        slow = Hand(_at_rest(desk, "HANDS-2"))
        graded = cases.parkinsonism(slow)
        cases.wait_until_saved(desk)
        signing = Hand(desk)
        cases.review_and_sign(signing, "EV", "1951", PHYSICIAN[1])
        new_exam(desk, "HANDS-3")
        desk.goto(f"{desk.url.partition('?')[0]}?part=nurse")
        nurse = Hand(desk)
        cases.nurses_part(nurse)
        cases.wait_until_saved(desk)
        touch = _examine(tablet, "HANDS-4", cases.parkinsonism_by_touch)
        version = desk.context.browser.version if desk.context.browser else "?"
    thoughts = slow.count.thoughts
    typing, by_mouse = baselines.typed(thoughts), baselines.drop_downs(thoughts)
    _write(f"Chromium {version}, Python {platform.python_version()}; keystroke-level model (1980)")
    _print("complete normal exam", normal)
    _print(f"parkinsonism, 14 abnormal cells, {graded} graded", slow.count)
    _print("the same by touch", touch)
    _print("nurse's part", nurse.count)
    _print("review and sign", signing.count)
    _print(f"parkinsonism typed as prose, {len(baselines.PROSE)} characters", typing)
    _print("parkinsonism in drop-downs, by mouse", by_mouse)
    _print("parkinsonism in drop-downs, by keyboard", baselines.drop_downs_by_key(thoughts))
    _write(
        json.dumps(
            {
                "normal_s": round(normal.seconds, 1),
                "normal_presses": normal.keys,
                "parkinsonism_s": round(slow.count.seconds, 1),
                "parkinsonism_presses": slow.count.keys,
                "parkinsonism_cells": graded,
                "touch_s": round(touch.seconds, 1),
                "typing_s": round(typing.seconds, 1),
                "dropdowns_s": round(by_mouse.seconds, 1),
            }
        )
    )


def _examine(page: Page, chart_number: str, case: Callable[[Hand], None]) -> Count:
    hand = Hand(_at_rest(page, chart_number))
    case(hand)
    cases.wait_until_saved(page)
    return hand.count


def _at_rest(page: Page, chart_number: str) -> Page:
    """A new sheet whose history stands, so that the hand is at the first station of the exam."""
    new_exam(page, chart_number)
    page.locator("#c-rest_tremor_hand-right input").first.focus()
    return page


def _print(name: str, count: Count) -> None:
    _write(
        f"{name:52} {count.seconds:6.1f} s  {count.keys:4} keys {count.points:4} points"
        f" {count.homes:2} homes {count.thoughts:3} decisions"
    )


def _write(line: str) -> None:
    sys.stdout.write(f"{line}\n")


if __name__ == "__main__":
    main()
