"""The cases: what is recorded, and how a pair of hands gets it into the page."""

from collections.abc import Mapping

from playwright.sync_api import Page, expect

from app.exam.vocabulary import vocabulary
from benchmarks.hands.hand import Hand

Cell = tuple[str, str]
EXAMINED = ("rest", "posture", "reach", "repeat", "tone", "gait")
TURN_STEPS = ("turn_steps", "")

# An invented person whose right side is slow, stiff and shakes at rest: 14 abnormal cells, and what
# the sheet asks about them. The digit is the key that answers.
ABNORMAL: Mapping[Cell, str] = {
    ("rest_tremor_hand", "right"): "2",
    ("face_still", ""): "1",
    ("arm_raise_slow", "right"): "1",
    ("posture_tremor", "right"): "1",
    ("finger_tap_slow", "right"): "2",
    ("finger_tap_decrement", "right"): "3",
    ("finger_tap_decrement", "left"): "1",
    ("toe_tap_slow", "right"): "1",
    ("toe_tap_decrement", "right"): "2",
    ("arm_resistance", "right"): "2",
    ("leg_resistance", "right"): "1",
    ("step_length", ""): "1",
    ("arm_swing_reduced", "right"): "2",
    ("stooped", ""): "1",
}
ASKED: Mapping[Cell, str] = {
    ("posture_tremor_onset", "right"): "2",
    ("arm_resistance_directions", "right"): "1",
    ("arm_resistance_speed", "right"): "1",
    ("arm_resistance_varies", "right"): "0",
    ("arm_activation_only", "right"): "0",
    ("leg_resistance_directions", "right"): "1",
    ("leg_resistance_speed", "right"): "1",
    ("leg_resistance_varies", "right"): "0",
    ("leg_activation_only", "right"): "0",
}
ANSWERS = {**ABNORMAL, **ASKED}
HISTORY: tuple[tuple[str, ...], ...] = (
    ("0",), ("2", "Enter"), ("1", "Enter"), ("1",), ("0",),
)  # fmt: skip
# On a busy machine; nobody waits for it in the exam.
SAVED_MS = 60_000
IMPRESSION = "Slow, stiff and shaking at rest on the right for two years."
PLAN = "Refer to neurology before any treatment; falls advice given."


def normal_exam(hand: Hand) -> None:
    """Everything that is examined is normal: a key a station, and the steps of the turn.

    The history stands already, and the hand is at the first cell of the examination.
    """
    for _ in EXAMINED:
        hand.think()
        hand.press("r")
    _turn(hand, "2")


def parkinsonism(hand: Hand) -> int:
    """Cell by cell down to the last sign of each station, then the rest of it; cells graded."""
    graded = 0
    for station in EXAMINED:
        left = [cell for cell in ANSWERS if vocabulary()[cell[0]].station == station]
        seen = ""
        while left:
            cell = hand.cell
            # One look at a row settles both sides of it, and what it asks for.
            row = vocabulary()[cell[0]].detail_of or cell[0]
            if cell in left and row != seen:
                hand.think()
                seen = row
            hand.press(ANSWERS.get(cell, "0") if cell != TURN_STEPS else "Enter")
            graded += cell != TURN_STEPS
            if cell in left:
                left.remove(cell)
        hand.think()
        hand.press("r")
    _turn(hand, "5")
    return graded + 1


def parkinsonism_by_touch(hand: Hand) -> None:
    """The same by thumb: a tap a sign, and one for the rest of each station."""
    page = hand.page
    for station in EXAMINED:
        hand.swipe(page.locator(f"#{station}"))
        for (finding, side), digit in ANSWERS.items():
            if vocabulary()[finding].station != station:
                continue
            if finding in {cell[0] for cell in ABNORMAL}:
                hand.think()
            dom = f"#c-{finding}{f'-{side}' if side else ''}"
            radio = page.locator(f"{dom} [data-key='{digit}']")
            hand.tap(radio)
        hand.think()
        hand.tap(page.locator(f"#normal-{station}"))
    hand.think()
    hand.tap(page.locator("#c-turn_steps-text"))
    hand.type("5")
    hand.press("Enter")


def nurses_part(hand: Hand) -> None:
    """History, no medicines, a normal gait, and a timed up and go read off a stopwatch."""
    for keys in HISTORY:
        hand.think()
        hand.press(*keys)
    hand.think()
    hand.press("Tab", "Space")  # takes no medicines
    hand.press("PageDown")
    hand.think()
    hand.press("r")
    _turn(hand, "2")
    hand.press("PageDown")
    hand.think()
    hand.type("12.4")
    hand.press("Enter")


def review_and_sign(hand: Hand, initials: str, birth_year: str, password: str) -> None:
    """Impression, plan, every suggestion taken over, and the signature."""
    page = hand.page
    hand.think()
    hand.click(page.get_by_role("link", name="Review and sign"))
    expect(page.locator("#review")).to_be_visible()
    for name, text in (("Impression", IMPRESSION), ("Plan", PLAN)):
        hand.think()
        hand.click(page.get_by_label(name, exact=True))
        hand.type(text)
    for step in page.locator(".suggestion input[value=taken]").all():
        hand.think()
        hand.click(step)
    for field, text in (
        ("#initials", initials), ("#birth_year", birth_year), ("#password", password)
    ):  # fmt: skip
        hand.click(page.locator(field))
        hand.type(text)
    hand.think()
    hand.click(page.locator("#sign"))
    expect(page.get_by_text("SIGNED").first).to_be_visible()


def wait_until_saved(page: Page) -> None:
    """Until everything that was entered is saved; nobody waits for it in the exam."""
    expect(page.locator("[data-state]")).to_have_count(0, timeout=SAVED_MS)
    expect(page.locator("#save-status .not-saved")).to_have_count(0, timeout=SAVED_MS)


def _turn(hand: Hand, steps: str) -> None:
    if hand.cell != TURN_STEPS:
        raise RuntimeError(f"the hand is at {hand.cell}")
    hand.think()
    hand.press(*steps, "Enter")
