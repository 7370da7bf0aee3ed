"""The exam by keyboard alone, at the speed of the exam, and the slips of a hand at the keys."""

from playwright.sync_api import Page, expect

from app.exam.record import Untestable
from tests.web.clinic import Clinic
from tests.web.visitor import Visitor


def focused(page: Page) -> str:
    """The cell, or else the element, that has the focus."""
    return str(
        page.evaluate(
            """() => {
              const active = document.activeElement;
              return (active.closest("[data-save=cell]") ?? active).id;
            }"""
        )
    )


def press(page: Page, *keys: str) -> None:
    """Press one key after the other."""
    for key in keys:
        page.keyboard.press(key)


def test_a_normal_exam_takes_a_key_a_station(visitor: Visitor, clinic: Clinic) -> None:
    """One key marks the rest of a station and goes on to what the rest does not answer."""
    page = visitor.page
    exam_id = visitor.start_exam()
    assert "c-hx_onset" == focused(page)
    press(page, "PageDown", "PageDown")
    assert "c-rest_tremor_hand-right" == focused(page)
    press(page, *"rrrrrr")
    assert "c-turn_steps" == focused(page)
    press(page, "4", "Enter", "PageDown")
    assert "c-tug_s" == focused(page)
    visitor.expect_saved()

    for station in ("rest", "posture", "reach", "repeat", "tone", "gait"):
        expect(page.locator(f"#count-{station}")).to_contain_text("all")
    assert 4 == clinic.value(exam_id, "turn_steps")
    assert 8 == len({each.revision for each in clinic.entries(exam_id)}) + 1


def test_arrows_move_from_cell_to_cell_and_change_nothing(visitor: Visitor, clinic: Clinic) -> None:
    """A stray arrow must not change a grade: down one side of the body, across, and back."""
    page = visitor.page
    exam_id = visitor.start_exam()
    page.locator("#c-rest_tremor_hand-right-0").focus()
    way = []
    for key in ("ArrowLeft", "ArrowRight", "ArrowRight", "ArrowDown", "ArrowDown", "ArrowDown",
                "ArrowUp", "ArrowUp", "ArrowLeft", "ArrowUp", "PageDown", "PageUp"):  # fmt: skip
        press(page, key)
        way.append(focused(page).removeprefix("c-"))

    assert [
        "rest_tremor_hand-right", "rest_tremor_hand-left", "rest_tremor_hand-left",
        "rest_tremor_leg-left", "rest_tremor_jaw", "face_still",
        "rest_tremor_jaw", "rest_tremor_leg-left", "rest_tremor_leg-right",
        "rest_tremor_hand-right", "arm_raise_slow-right", "rest_tremor_hand-right",
    ] == way  # fmt: skip
    press(page, "Space")
    visitor.expect_saved()
    assert {("rest_tremor_hand", "right"): 0} == dict(clinic.stored(exam_id).exam.cells)


def test_every_answer_has_a_digit(visitor: Visitor, clinic: Clinic) -> None:
    """0 is the normal one; where none is normal the digits begin at 1; y and n are yes and no."""
    page = visitor.page
    exam_id = visitor.start_exam()
    page.locator("#c-base input").first.focus()
    press(page, "2")
    page.locator("#c-walking_aid input").first.focus()
    press(page, "4")
    page.locator("#c-posture_tremor-right input").first.focus()
    press(page, "2", "0")
    assert "c-posture_tremor_onset-right" == focused(page)
    press(page, "0", "2")
    page.locator("#c-hx_unsteady input").first.focus()
    press(page, "7", "1", "n")
    visitor.expect_saved()

    assert {
        ("hx_unsteady", None): True,
        ("hx_fear_of_falling", None): False,
        ("posture_tremor", "right"): 2,
        ("posture_tremor", "left"): 0,
        ("posture_tremor_onset", "right"): "delayed",
        ("base", None): "wide",
        ("walking_aid", None): "wheelchair",
    } == dict(clinic.stored(exam_id).exam.cells)


def test_cannot_be_tested_is_one_key_and_a_reason(visitor: Visitor, clinic: Clinic) -> None:
    """The last reason is offered for the next cell; Escape leaves a cell as it was."""
    page = visitor.page
    exam_id = visitor.start_exam()
    page.locator("#c-drift-left-0").focus()
    press(page, "x")
    page.keyboard.type("arm in plaster")
    press(page, "Enter")
    visitor.expect_saved()
    assert "c-flap-right" == focused(page)
    press(page, "ArrowRight", "x", "Enter")
    visitor.expect_saved()
    press(page, "x", "Escape", "1")
    visitor.expect_saved()
    page.locator("#c-turn_steps-text").focus()
    press(page, "x")
    page.keyboard.type("not safe today")
    press(page, "Enter")
    visitor.expect_saved()

    plaster = Untestable("arm in plaster")
    assert {
        ("drift", "left"): plaster,
        ("flap", "left"): plaster,
        ("head_tremor", None): 1,
        ("turn_steps", None): Untestable("not safe today"),
    } == dict(clinic.stored(exam_id).exam.cells)


def test_undo_takes_back_step_by_step_and_shows_where(visitor: Visitor, clinic: Clinic) -> None:
    """A grade, a whole station marked normal, a typed number; the focus goes to what changed."""
    page = visitor.page
    exam_id = visitor.start_exam()
    undo = page.get_by_role("button", name="Undo the last entry")
    expect(undo).to_be_hidden()
    page.locator("#c-dysmetria-right-0").focus()
    press(page, "2", "1", "ArrowUp", "r")
    page.locator("#c-turn_steps-text").focus()
    press(page, "7", "Enter")
    visitor.expect_saved()
    press(page, "Control+z")
    visitor.expect_saved()
    expect(page.locator("#c-turn_steps-text")).to_be_focused()
    expect(page.locator("#c-turn_steps-text")).to_have_value("")
    press(page, "Control+z", "Control+z")
    expect(page.locator("#count-reach")).to_contain_text("1 done")
    assert "c-dysmetria-left" == focused(page)
    assert {("dysmetria", "right"): 2} == dict(clinic.stored(exam_id).exam.cells)
    undo.click()
    expect(undo).to_be_hidden()
    visitor.expect_saved()

    assert {} == dict(clinic.stored(exam_id).exam.cells)
    page.locator("#c-kinetic_tremor-right-0").focus()
    press(page, "r")
    expect(page.locator("#count-reach")).to_contain_text("all 6 done")
    visitor.expect_saved()
    # What was entered before is not forgotten in silence.
    page.reload()
    press(page, "Control+z")
    expect(page.locator("#key-says")).to_contain_text("Nothing entered since this page was loaded")


def test_what_is_taken_back_and_entered_anew_at_once_is_no_collision(
    visitor: Visitor, clinic: Clinic
) -> None:
    """The hand is faster than the line: undo and the right digit follow each other."""
    page = visitor.page
    exam_id = visitor.start_exam()
    visitor.expects_no_answer = True
    page.locator("#c-dysmetria-right-0").focus()
    press(page, "3")
    visitor.expect_saved()
    visitor.context.set_offline(True)
    press(page, "Control+z", "ArrowLeft", "1")
    expect(page.locator("#save-status")).to_contain_text("NOT SAVED")
    visitor.context.set_offline(False)
    visitor.expect_saved()

    assert [3, None, 1] == [each.value for each in clinic.entries(exam_id)]
    expect(page.locator("#c-dysmetria-right-1")).to_be_checked()


def test_a_stuck_key_two_keys_at_once_a_double_tap_and_a_paste(
    visitor: Visitor, clinic: Clinic
) -> None:
    """What a hand does by mistake records one answer at most."""
    page = visitor.page
    exam_id = visitor.start_exam()
    first = page.locator("#c-rest_tremor_hand-right-0")
    first.focus()
    for _ in range(4):
        page.keyboard.down("2")
    page.keyboard.up("2")
    expect(page.locator("#c-rest_tremor_hand-left")).to_be_visible()
    assert "c-rest_tremor_hand-left" == focused(page)
    page.evaluate(
        """() => {
          const down = (key) => document.activeElement.dispatchEvent(new KeyboardEvent("keydown",
            {key, code: `Digit${key}`, bubbles: true, cancelable: true}));
          down("1"); down("3");
        }"""
    )
    expect(page.locator("#key-says")).to_contain_text("Two keys at once")
    assert "c-rest_tremor_leg-right" == focused(page)
    page.evaluate(
        """() => {
          const pasted = new DataTransfer();
          pasted.setData("text/plain", "3");
          document.activeElement.dispatchEvent(new ClipboardEvent("paste",
            {clipboardData: pasted, bubbles: true, cancelable: true}));
        }"""
    )
    page.locator("#c-rest_tremor_leg-left-1").dblclick()
    page.locator("#normal-reach").dblclick()
    visitor.expect_saved()

    reach = {cell for cell in clinic.stored(exam_id).exam.cells if cell[0] in (
        "kinetic_tremor", "endpoint_tremor", "dysmetria")}  # fmt: skip
    assert 6 == len(reach)
    assert {
        ("rest_tremor_hand", "right"): 2,
        ("rest_tremor_hand", "left"): 1,
        ("rest_tremor_leg", "left"): 1,
    } == {
        cell: value
        for cell, value in clinic.stored(exam_id).exam.cells.items()
        if cell not in reach
    }
    assert 9 == len(clinic.entries(exam_id))
