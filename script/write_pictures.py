"""Draw the pictures of the guides and of the README on the demonstration clinic.

Each is a part of a real page, 1280 pixels wide at most, in few enough colours to be a small file.
The clock of the server and of the browser stands still, so that a second run draws the same.
"""

import io
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta, tzinfo
from pathlib import Path

from PIL import Image, ImageChops
from playwright.sync_api import Browser, FloatRect, Locator, Page, expect

from benchmarks import serving

DOCS = Path(__file__).resolve().parent.parent / "docs"
IMAGES = DOCS / "guide" / "images"
# Ten minutes after the newest exam of seed_demo/clinic.toml was begun, so that no date is moved.
NOW = datetime(2026, 11, 25, 18, 10, tzinfo=UTC)
COLOURS = 64  # letters on plain grounds; more is not seen
UNSEEN = 24  # of 255: so much the edges of letters differ from one run to the next
MARGIN = 12
PATHWAY = "Call 5050 and stay with the patient; the physician on duty decides on the way there."


class _StandsStill(type):
    """Every moment counts as one of the replaced class."""

    def __instancecheck__(cls, value: object) -> bool:
        return isinstance(value, datetime)


class _Stopped(datetime, metaclass=_StandsStill):
    """The class `datetime` of a day that does not go on."""

    @classmethod
    def now(cls, tz: tzinfo | None = None) -> datetime:
        """Always the same moment."""
        return NOW.astimezone(tz) if tz else NOW.astimezone().replace(tzinfo=None)


def stop_the_clock() -> None:
    """Let every module of the program, all of them imported by now, read NOW."""
    for name, module in list(sys.modules.items()):
        if name.startswith("app.") and getattr(module, "datetime", None) is datetime:
            module.datetime = _Stopped  # type: ignore[attr-defined]


# ---------------------------------------------------------------- taking a picture


def draw(page: Page, file: Path, *parts: Locator, height: float = 4000) -> None:
    """Keep what these parts of the page take up, or what the window shows.

    height: at most so much of it, from its top.
    """
    page.mouse.move(0, 0)
    page.evaluate("document.fonts.ready")
    clip = _around(page, parts, height) if parts else None
    taken = page.screenshot(clip=clip, animations="disabled", caret="hide")
    few = Image.open(io.BytesIO(taken)).convert("RGB").quantize(COLOURS, dither=Image.Dither.NONE)
    is_new = _differs(file, few)
    if is_new:
        file.parent.mkdir(parents=True, exist_ok=True)
        few.save(file, optimize=True)
    size = f"{few.width} x {few.height}, {file.stat().st_size} bytes"
    print(f"{file.relative_to(DOCS.parent)}: {'drawn' if is_new else 'the same'}, {size}")


def _differs(file: Path, drawn: Image.Image) -> bool:
    """Whether anybody could see a difference to the file."""
    if not file.exists():
        return True
    with Image.open(file) as kept:
        if kept.size != drawn.size:
            return True
        differences = ImageChops.difference(kept.convert("RGB"), drawn.convert("RGB"))
    return max(most for _, most in differences.getextrema()) > UNSEEN


def _around(page: Page, parts: tuple[Locator, ...], height: float) -> FloatRect:
    boxes = [box for part in parts if (box := part.bounding_box())]
    size = page.viewport_size
    if not boxes or not size:
        raise RuntimeError("there is nothing to draw")
    left = max(0.0, min(box["x"] for box in boxes) - MARGIN)
    top = max(0.0, min(box["y"] for box in boxes) - MARGIN)
    right = min(size["width"], max(box["x"] + box["width"] for box in boxes) + MARGIN)
    bottom = min(size["height"], max(box["y"] + box["height"] for box in boxes) + MARGIN)
    # Whole pixels: parts of one are drawn a little differently each time.
    wide, high = round(right - left), round(min(height, bottom - top))
    return {"x": round(left), "y": round(top), "width": wide, "height": high}


@contextmanager
def somebody(browser: Browser, address: str, account: tuple[str, str]) -> Iterator[Page]:
    """A person who has signed in, at a window of their own."""
    context = browser.new_context(
        base_url=address, viewport={"width": 1280, "height": 900}, reduced_motion="reduce"
    )
    page = context.new_page()
    serving.sign_in(page, account)
    yield page
    context.close()


# ---------------------------------------------------------------- working the pages


def choose(page: Page, *ids: str) -> None:
    """Answer cells, each by the id of its answer, and wait until they are saved."""
    for each in ids:
        page.locator(f"#c-{each}").evaluate("answer => answer.click()")
    expect(page.locator("[data-state]")).to_have_count(0)
    expect(page.locator("#save-status")).to_contain_text("saved")


def to(page: Page, part: Locator, space: int = 120) -> None:
    """Scroll until a part stands so far below the top of the window."""
    top = part.evaluate("part => part.getBoundingClientRect().top + scrollY")
    page.evaluate("top => scrollTo({top, behavior: 'instant'})", top - space)


def open_exam(page: Page, chart_number: str, which: int = 0) -> None:
    """An exam of a patient, 0 the newest, through the search as a person does."""
    page.goto("/")
    page.get_by_label("Find a patient").fill(chart_number)
    page.get_by_role("button", name="Find").click()
    page.locator("section[aria-labelledby=found] a.person").click()
    page.locator("section[aria-labelledby=exams] a.person").nth(which).click()
    page.wait_for_load_state()


def fill_review(page: Page) -> None:
    """Confirm, acknowledge, write and decide what a signature asks for; and who the patient is."""
    page.get_by_role("link", name="Review and sign").click()
    expect(page.locator("#sign")).to_be_visible()
    page.wait_for_load_state()
    for tick in page.locator(".tick input").all():
        tick.check()
    page.get_by_label("Impression", exact=True).fill(
        "Feet stick to the floor, three falls; forgetful, and hurries to the toilet."
    )
    page.get_by_label("Plan", exact=True).fill("Imaging of the brain, and refer to neurology.")
    for taken in page.locator(".suggestion input[value=taken]").all():
        taken.evaluate("answer => answer.click()")
    expect(page.locator("#lacking")).to_contain_text("Nothing is left to settle")
    page.locator("#initials").fill("RE")
    page.locator("#birth_year").fill("1949")


# ---------------------------------------------------------------- the pictures


def of_the_administrator(page: Page) -> None:
    """The clinic's own words beside a warning; who may sign in."""
    draw(page, IMAGES / "accounts.png", page.locator("main"))
    page.goto("/admin/clinic")
    page.locator("details.pathways").first.evaluate("fold => { fold.open = true }")
    field = page.locator("[id='pathway.cord_compression']")
    field.fill(PATHWAY)
    field.blur()
    to(page, page.get_by_role("heading", name="Local pathways"))
    draw(page, IMAGES / "pathways.png", page.locator("main"), height=640)
    page.get_by_role("button", name="Save").click()
    page.wait_for_load_state()


def of_the_physician(page: Page) -> None:
    """Review, signature, what is signed, the sheet with last time, and a comparison."""
    open_exam(page, "DEMO-0005")
    fill_review(page)
    confirm = page.locator("#to-confirm")
    to(page, confirm)
    recorded = page.locator("section[aria-labelledby=entered-title]")
    draw(page, IMAGES / "review.png", confirm, recorded, height=520)
    signing = page.locator(".signing")
    to(page, signing, 200)
    draw(page, IMAGES / "sign.png", signing)
    page.locator("#password").fill(serving.PHYSICIAN[1])
    page.locator("#sign").click()
    expect(page.get_by_text("SIGNED").first).to_be_visible()
    open_exam(page, "DEMO-0002")
    repeat = page.locator("#repeat")
    page.locator("#c-finger_tap_slow-right input:checked").focus()
    to(page, repeat, 64)
    draw(page, DOCS / "images" / "sheet.png", page.locator("body"), height=800)
    draw(page, IMAGES / "last-time.png", repeat, height=330)
    page.get_by_role("link", name="Compare with last time").click()
    draw(page, IMAGES / "compare.png", page.locator("main"), height=700)


def of_a_new_exam(page: Page) -> None:
    """The help at a row."""
    serving.new_exam(page, "GUIDE-1")
    page.locator("#c-arm_swing_reduced-right-0").focus()
    gait = page.locator("#gait")
    to(page, gait)
    page.keyboard.press("?")
    draw(page, IMAGES / "help.png", gait, height=560)
    page.keyboard.press("Escape")


def of_an_emergency(page: Page) -> None:
    """What calls a physician: beside the sheet, and above the list."""
    choose(page, "hx_bladder-retention", "hx_bowel_or_saddle-yes")
    page.evaluate("scrollTo(0, 0)")
    draw(page, IMAGES / "call.png", page.locator("body"), height=520)
    other = page.context.new_page()
    other.goto("/")
    draw(other, IMAGES / "worklist.png", other.locator("body"), height=760)
    other.close()


def of_two(nurse: Page, physician: Page) -> None:
    """Two at one exam, and a cell that both wrote."""
    physician.goto(nurse.url.partition("?")[0] + "?part=whole")
    nurse.locator("#c-arm_swing_reduced-right-1").evaluate("answer => answer.focus()")
    to(nurse, nurse.locator("#gait"), 80)
    choose(physician, "arm_swing_reduced-right-2")
    expect(nurse.locator("#c-arm_swing_reduced-right .collision")).to_be_visible()
    expect(nurse.locator("#here")).not_to_be_empty()
    draw(nurse, IMAGES / "collision.png", nurse.locator("body"), height=520)
    nurse.get_by_role("button", name="Keep").click()


def of_no_answer(page: Page) -> None:
    """Entries that are not saved."""
    page.context.set_offline(True)
    page.locator("#c-veering-0").evaluate("answer => answer.click()")
    page.locator("#c-stooped-0").evaluate("answer => answer.click()")
    expect(page.locator("#save-status")).to_contain_text("2 entries kept")
    to(page, page.locator("#c-walking_tremor_hand-right"))
    draw(page, IMAGES / "not-saved.png", page.locator("body"), height=420)
    page.context.set_offline(False)
    expect(page.locator("[data-state]")).to_have_count(0)


def of_a_watch(page: Page) -> None:
    """A watch that has run for nine seconds and a half."""
    page.clock.install(time=NOW)
    page.reload()
    page.clock.pause_at(NOW + timedelta(minutes=1))
    measures = page.locator("#measures")
    to(page, measures)
    page.locator("[data-cell=c-tug_s] .watch-press").click()
    page.clock.run_for(9500)
    draw(page, IMAGES / "watch.png", measures, height=330)


def main() -> None:
    """Draw every picture; each guide names some of them."""
    with serving.served() as address, serving.chromium() as browser:
        with somebody(browser, address, serving.ADMINISTRATOR) as administrator:
            of_the_administrator(administrator)
        with somebody(browser, address, serving.PHYSICIAN) as physician:
            of_the_physician(physician)
            with somebody(browser, address, serving.NURSE) as nurse:
                of_a_new_exam(nurse)
                of_an_emergency(nurse)
                of_two(nurse, physician)
                of_no_answer(nurse)
                of_a_watch(nurse)


if __name__ == "__main__":
    stop_the_clock()
    main()
