"""How many presses an exam takes: the promise of speed, in counts and never in seconds.

The same walks are timed by the keystroke-level model in benchmarks/hands.
"""

from playwright.sync_api import ViewportSize

from benchmarks.hands import cases
from benchmarks.hands.hand import Hand
from tests.web.clinic import Clinic
from tests.web.visitor import Visitor

MOST_BESIDE_THE_GRADES = 10
DESK: ViewportSize = {"width": 1280, "height": 720}


def test_a_normal_exam_takes_eight_presses(visitor: Visitor, clinic: Clinic) -> None:
    """A key a station, and the steps of the turn; everything of the quick pass is recorded."""
    visitor.page.set_viewport_size(DESK)
    exam_id = visitor.start_exam()
    visitor.page.locator("#c-rest_tremor_hand-right input").first.focus()
    hand = Hand(visitor.page)
    cases.normal_exam(hand)
    cases.wait_until_saved(visitor.page)

    assert (8, 0) == (hand.count.keys, hand.count.points)
    assert 2 == clinic.value(exam_id, "turn_steps")
    for station in cases.EXAMINED:
        assert visitor.page.locator(f"#count-{station}").inner_text().startswith("all ")


def test_a_sign_takes_one_press(visitor: Visitor, clinic: Clinic) -> None:
    """Fourteen signs, what is asked about them, and the rest of each station."""
    visitor.page.set_viewport_size(DESK)
    exam_id = visitor.start_exam()
    visitor.page.locator("#c-rest_tremor_hand-right input").first.focus()
    hand = Hand(visitor.page)
    graded = cases.parkinsonism(hand)
    cases.wait_until_saved(visitor.page)

    assert hand.count.keys <= graded + MOST_BESIDE_THE_GRADES
    assert {"arm_resistance": 2, "finger_tap_decrement": 3, "rest_tremor_hand": 2} == {
        finding: clinic.value(exam_id, finding, "right")
        for finding in ("arm_resistance", "finger_tap_decrement", "rest_tremor_hand")
    }
    assert ("delayed", "both", "short", 5) == (
        clinic.value(exam_id, "posture_tremor_onset", "right"),
        clinic.value(exam_id, "arm_resistance_directions", "right"),
        clinic.value(exam_id, "step_length"),
        clinic.value(exam_id, "turn_steps"),
    )


def test_a_nurses_part_takes_nineteen_presses(nurse: Visitor, clinic: Clinic) -> None:
    """Five questions, no medicines, a normal gait, the turn and one time."""
    exam_id = nurse.start_exam()
    hand = Hand(nurse.page)
    cases.nurses_part(hand)
    cases.wait_until_saved(nurse.page)

    assert (19, 0) == (hand.count.keys, hand.count.points)
    stored = clinic.stored(exam_id).exam
    assert () == stored.medicines
    assert {"hx_onset", "hx_falls_12m", "turn_steps", "tug_s"} <= {cell[0] for cell in stored.cells}


def test_a_sign_takes_one_tap(tablet: Visitor, clinic: Clinic) -> None:
    """By thumb at 768 by 1024: a tap a sign, one a station, and no target under 44 px."""
    exam_id = tablet.start_exam()
    hand = Hand(tablet.page)
    cases.parkinsonism_by_touch(hand)
    cases.wait_until_saved(tablet.page)

    taps = len(cases.ANSWERS) + len(cases.EXAMINED) + 1
    assert taps == hand.count.points - len(cases.EXAMINED)
    assert (3, "both") == (
        clinic.value(exam_id, "finger_tap_decrement", "right"),
        clinic.value(exam_id, "arm_resistance_directions", "right"),
    )
    assert [] == tablet.page.evaluate(TOO_SMALL)


# Every control of the sheet that can be seen, and is less than 44 px wide or high.
TOO_SMALL = """() => [...document.querySelectorAll(
    "#sheet .answers .answer, #sheet button, #sheet summary, #sheet .typed input, .map a"
  )]
  .filter((each) => each.checkVisibility({visibilityProperty: true}))
  .filter((each) => !each.matches(".spoken"))
  .filter((each) => {
    const box = each.getBoundingClientRect();
    return Math.min(box.width, box.height) < 44;
  })
  .map((each) => `${each.textContent.trim().slice(0, 40)} ${each.getBoundingClientRect().height}`)
"""
