"""Bytes over the wire for the first page of an exam and for one entry, as a browser counts them.

`python -m benchmarks.weight` serves the demonstration clinic, opens a new exam in a Chromium that
has kept nothing, makes entries, and adds up what came over the connection, compressed as it came,
heads of the answers included. The last line printed is one JSON object.

Fonts are counted in a line of their own: the aim speaks of the page with its styles and scripts,
and the page is read and used before they are there.
"""

import argparse
import statistics
import sys
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager
from typing import Any

from playwright.sync_api import Page

from benchmarks.aims import aim, say_aims, say_machine
from benchmarks.serving import PHYSICIAN, chromium, new_exam, served, sign_in

FIRST_PAGE_AIM_KB = 120
ENTRY_AIM_KB = 6
KB = 1000
# What Chromium calls the kinds, and what the table calls them.
KINDS = {"Document": "page", "Stylesheet": "styles", "Script": "scripts", "Font": "fonts"}
ENTRIES = ("rest_tremor_hand-right-2", "rest_tremor_hand-left-0", "finger_tap_slow-right-2",
           "arm_resistance-right-1", "stooped-0")  # fmt: skip


@contextmanager
def counted(page: Page) -> Iterator[list[tuple[str, str, int]]]:
    """What comes over the wire meanwhile: (kind, path, bytes) an answer."""
    wire = page.context.new_cdp_session(page)
    wire.send("Network.enable")
    # Whoever comes for the first time has nothing kept.
    wire.send("Network.setCacheDisabled", {"cacheDisabled": True})
    asked: dict[str, tuple[str, str]] = {}
    came: list[tuple[str, str, int]] = []

    def note_asked(event: Mapping[str, Any]) -> None:
        path = event["request"]["url"].split("/", 3)[-1]
        asked[event["requestId"]] = (event.get("type", "Other"), f"/{path}")

    def note_came(event: Mapping[str, Any]) -> None:
        kind, path = asked.get(event["requestId"], ("Other", "?"))
        came.append((KINDS.get(kind, "other"), path, int(event["encodedDataLength"])))

    wire.on("Network.requestWillBeSent", note_asked)
    wire.on("Network.loadingFinished", note_came)
    yield came
    wire.detach()


def first_page(page: Page, path: str) -> Counter[str]:
    """Bytes of each kind for the sheet of a new exam."""
    with counted(page) as came:
        page.goto(path, wait_until="load")
        page.wait_for_load_state("networkidle")
        sums: Counter[str] = Counter()
        for kind, address, size in came:
            # What colleagues do is asked after the page stands there.
            if "/updates" not in address:
                sums[kind] += size
        return sums


def entries(page: Page, made: Iterable[str]) -> list[int]:
    """Bytes of the answer to each of some entries."""
    sizes = []
    for entry in made:
        with counted(page) as came:
            with page.expect_response("**/cells*") as answer:
                page.locator(f"#c-{entry}").check()
            answer.value.finished()
            page.locator("[data-state]").first.wait_for(state="detached")
            sizes += [size for _, address, size in came if "/cells" in address]
    return sizes


def main() -> int:
    """Measure, print the table and the aims."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks.weight", description=__doc__)
    parser.formatter_class = argparse.RawDescriptionHelpFormatter
    parser.add_argument("--short", action="store_true", help="two entries in place of five")
    made = ENTRIES[:2] if parser.parse_args().short else ENTRIES
    say_machine(("fastapi", "jinja2", "starlette"))
    with served() as address, chromium() as browser:
        context = browser.new_context(base_url=address, viewport={"width": 1280, "height": 720})
        page = context.new_page()
        sign_in(page, PHYSICIAN)
        new_exam(page, "W-0001")
        sums = first_page(page, page.url)
        sizes = entries(page, made)
        version = browser.version
    page_bytes = sum(size for kind, size in sums.items() if kind != "fonts")
    sys.stdout.write(f"Chromium {version}; bytes over the wire, 1 KB = {KB} bytes\n\n")
    for kind in (*KINDS.values(), "other"):
        sys.stdout.write(f"{kind:24}{sums[kind] / KB:8.1f} KB\n")
    sys.stdout.write(f"{'first page, no fonts':24}{page_bytes / KB:8.1f} KB\n")
    sys.stdout.write(f"{'one entry, median':24}{statistics.median(sizes) / KB:8.1f} KB\n")
    sys.stdout.write(f"{'one entry, most':24}{max(sizes) / KB:8.1f} KB\n\n")
    say_aims(
        {
            "first_page_kb": aim(page_bytes / KB, FIRST_PAGE_AIM_KB),
            "entry_kb": aim(max(sizes) / KB, ENTRY_AIM_KB),
        }
    )
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
