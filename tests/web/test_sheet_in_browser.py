"""The sheet under a person's hands: keys, focus, two screens, a lost connection."""

from playwright.sync_api import Page, Route, expect

from app.exam.record import Untestable
from tests.web.clinic import Clinic
from tests.web.visitor import Visitor

RIGHT = "Hand tremor at rest, RIGHT"
LEFT = "Hand tremor at rest, LEFT"


def radio(page: Page, cell: str, answer: str) -> object:
    """One answer of a cell."""
    return page.get_by_role("group", name=cell, exact=True).get_by_role("radio", name=answer)


def chosen(page: Page, cell: str) -> list[str]:
    """The values of a cell that are chosen."""
    group = page.get_by_role("group", name=cell, exact=True)
    return [str(each) for each in group.locator("input:checked").evaluate_all(
        "inputs => inputs.map(input => input.value)"
    )]  # fmt: skip


def test_a_station_is_recorded_by_keyboard_alone(visitor: Visitor, clinic: Clinic) -> None:
    """One key a grade: it records and moves on, RIGHT to LEFT to the next row."""
    page = visitor.page
    exam_id = visitor.start_exam()
    page.locator(".map").get_by_role("link", name="Finger to nose").focus()
    page.keyboard.press("Enter")
    page.keyboard.press("Tab")  # the button of the station
    page.keyboard.press("Tab")  # the first cell
    for key in "102031":
        page.keyboard.press(key)
    visitor.expect_saved()

    expect(page.locator("#count-reach")).to_have_text("all 6 done")
    recorded = dict(clinic.stored(exam_id).exam.cells)
    assert {
        ("kinetic_tremor", "right"): 1, ("kinetic_tremor", "left"): 0,
        ("endpoint_tremor", "right"): 2, ("endpoint_tremor", "left"): 0,
        ("dysmetria", "right"): 3, ("dysmetria", "left"): 1,
    } == recorded  # fmt: skip


def test_backspace_clears_an_answer(visitor: Visitor, clinic: Clinic) -> None:
    """A radio button cannot be unchosen by itself, and a slip must not stay."""
    page = visitor.page
    exam_id = visitor.start_exam()
    visitor.answer(RIGHT, "2 definite")
    visitor.expect_saved()
    page.keyboard.press("Backspace")
    visitor.expect_saved()

    assert [] == chosen(page, RIGHT)
    assert clinic.value(exam_id, "rest_tremor_hand", "right") is None


def test_cannot_be_tested_waits_for_its_reason(visitor: Visitor, clinic: Clinic) -> None:
    """Without a reason nothing is saved, and that is said."""
    page = visitor.page
    exam_id = visitor.start_exam()
    cell = page.get_by_role("group", name=RIGHT, exact=True)
    cell.locator("summary").click()
    cell.get_by_role("radio", name="cannot be tested").check()
    expect(page.locator("#save-status")).to_have_text(
        "NOT SAVED. “Cannot be tested” needs its reason."
    )
    expect(page.locator("#c-rest_tremor_hand-right-why")).to_be_focused()
    page.keyboard.type("plaster cast")
    page.keyboard.press("Enter")
    visitor.expect_saved()

    assert Untestable("plaster cast") == clinic.value(exam_id, "rest_tremor_hand", "right")


def test_an_entry_keeps_the_focus_where_it_was(visitor: Visitor) -> None:
    """The answer changes the panel, never the control under the hand."""
    page = visitor.page
    visitor.start_exam()
    visitor.answer(RIGHT, "2 definite")
    visitor.expect_saved()

    expect(page.locator("#c-rest_tremor_hand-right-2")).to_be_focused()


def test_details_unfold_on_the_side_where_the_finding_is_present(visitor: Visitor) -> None:
    """The other side is not asked, so that it cannot be recorded there by mistake."""
    page = visitor.page
    visitor.start_exam()
    expect(page.locator("#c-posture_tremor_onset-right")).to_be_hidden()
    visitor.answer("Tremor with the arms held out, RIGHT", "1 slight")
    expect(page.locator("#c-posture_tremor_onset-right")).to_be_visible()
    expect(page.locator("#c-posture_tremor_onset-left")).to_be_hidden()
    visitor.answer("Tremor with the arms held out, RIGHT", "0 none")
    expect(page.locator("#c-posture_tremor_onset-right")).to_be_hidden()
    visitor.expect_saved()


def test_what_was_opened_in_the_panel_stays_open(visitor: Visitor) -> None:
    """Somebody who reads the reasons while they go on must not lose the place."""
    page = visitor.page
    visitor.start_exam()
    visitor.answer(RIGHT, "2 definite")
    visitor.expect_saved()
    page.locator(".pattern summary").first.click()
    visitor.answer(LEFT, "0 none")
    expect(page.locator("#count-rest")).to_contain_text("2 done")

    expect(page.locator(".pattern details").first).to_have_attribute("open", "")


def test_the_rest_of_a_station_is_normal_only_where_nothing_was_entered(
    visitor: Visitor, clinic: Clinic
) -> None:
    """And the cells that it marked say so."""
    page = visitor.page
    exam_id = visitor.start_exam()
    visitor.answer(RIGHT, "2 definite")
    page.locator("#normal-rest").click()
    visitor.expect_saved()
    expect(page.locator("#c-rest_tremor_hand-left-message")).to_contain_text("in bulk")
    expect(page.locator("#c-rest_tremor_hand-right-message")).not_to_contain_text("in bulk")

    assert ["2"] == chosen(page, RIGHT)
    assert ["0"] == chosen(page, LEFT)
    assert 2 == clinic.value(exam_id, "rest_tremor_hand", "right")
    assert clinic.stored(exam_id).cells["rest_tremor_hand", "left"].bulk is True  # type: ignore[index]


def test_the_second_of_two_screens_is_told_and_loses_nothing(
    visitor: Visitor, colleague: Visitor, clinic: Clinic
) -> None:
    """Both values stand beside the cell, what was chosen stays chosen, and either can be taken."""
    exam_id = visitor.start_exam()
    colleague.page.goto(f"/exams/{exam_id}")
    visitor.answer(RIGHT, "2 definite")
    visitor.expect_saved()
    colleague.answer(RIGHT, "1 slight")

    message = colleague.page.locator("#c-rest_tremor_hand-right-message")
    expect(message).to_contain_text("Dr I. Brandt (physician")
    expect(message).to_contain_text("recorded “2 definite”. Yours, “1 slight”, is not saved.")
    expect(colleague.page.locator("#save-status")).to_contain_text("NOT SAVED")
    assert ["1"] == chosen(colleague.page, RIGHT)
    assert 2 == clinic.value(exam_id, "rest_tremor_hand", "right")

    message.get_by_role("button", name="Record “1 slight”").click()
    colleague.expect_saved()
    assert 1 == clinic.value(exam_id, "rest_tremor_hand", "right")
    expect(message).to_be_empty()


def test_a_colleagues_value_can_be_kept(
    visitor: Visitor, colleague: Visitor, clinic: Clinic
) -> None:
    """Keeping theirs shows it in the cell and sends nothing."""
    exam_id = visitor.start_exam()
    colleague.page.goto(f"/exams/{exam_id}")
    visitor.answer(RIGHT, "2 definite")
    visitor.expect_saved()
    colleague.answer(RIGHT, "1 slight")
    colleague.page.get_by_role("button", name="Keep “2 definite”").click()

    assert ["2"] == chosen(colleague.page, RIGHT)
    colleague.expect_saved()
    assert 1 == len(clinic.entries(exam_id))


def test_a_colleagues_entries_arrive_with_the_next_answer(
    visitor: Visitor, colleague: Visitor
) -> None:
    """A panel that knew more than the sheet shows would be a riddle."""
    exam_id = visitor.start_exam()
    colleague.page.goto(f"/exams/{exam_id}")
    visitor.answer(RIGHT, "2 definite")
    visitor.expect_saved()
    colleague.answer(LEFT, "0 none")
    colleague.expect_saved()

    assert ["2"] == chosen(colleague.page, RIGHT)
    assert ["0"] == chosen(colleague.page, LEFT)


def test_a_colleagues_value_never_falls_upon_what_is_being_typed(
    visitor: Visitor, colleague: Visitor, clinic: Clinic
) -> None:
    """It arrives with the answer to another entry; what is in the field stays, and collides."""
    exam_id = visitor.start_exam()
    # What comes by itself every other second would be there before the hand is.
    visitor.page.route("**/updates*", lambda route: route.fulfill(status=204))
    colleague.page.goto(f"/exams/{exam_id}")
    colleague.page.get_by_role("textbox", name="Steps for a half turn", exact=True).fill("5")
    colleague.page.keyboard.press("Enter")
    colleague.expect_saved()

    page = visitor.page
    held: list[Route] = []
    page.route("**/cells", lambda route: held.append(route), times=1)
    with page.expect_request("**/cells"):
        visitor.answer(RIGHT, "2 definite")
    field = page.get_by_role("textbox", name="Steps for a half turn", exact=True)
    field.press_sequentially("7")
    held[0].continue_()
    expect(page.locator("#count-rest")).to_contain_text("1 done")
    expect(field).to_have_value("7")
    page.keyboard.press("Enter")

    expect(page.locator("#c-turn_steps-message")).to_contain_text(
        "recorded “5 steps”. Yours, “7 steps”, is not saved."
    )
    assert 5 == clinic.value(exam_id, "turn_steps")


def test_entries_arrive_in_their_order_however_fast_they_are_made(
    visitor: Visitor, clinic: Clinic
) -> None:
    """One is sent after the other, and the last choice of a cell is what stays."""
    page = visitor.page
    exam_id = visitor.start_exam()
    page.locator("#c-rest_tremor_hand-right-0").focus()
    page.keyboard.type("123012")
    page.locator("#c-rest_tremor_hand-right-0").focus()
    page.keyboard.type("3")
    visitor.expect_saved()
    entries = [(each.finding, each.side) for each in clinic.entries(exam_id)]

    assert [
        ("rest_tremor_hand", "right"), ("rest_tremor_hand", "left"),
        ("rest_tremor_leg", "right"), ("rest_tremor_leg", "left"),
        ("rest_tremor_jaw", None), ("face_still", None),
    ] == list(dict.fromkeys(entries))  # fmt: skip
    assert 3 == clinic.value(exam_id, "rest_tremor_hand", "right")


def test_a_lost_connection_is_loud_and_loses_nothing(visitor: Visitor, clinic: Clinic) -> None:
    """Half a minute in mid-station: entries wait in their order and are sent when it is back."""
    page = visitor.page
    page.clock.install()
    exam_id = visitor.start_exam()
    visitor.answer(RIGHT, "1 slight")
    visitor.expect_saved()
    visitor.expects_no_answer = True
    visitor.context.set_offline(True)
    visitor.answer(RIGHT, "2 definite")
    visitor.answer(LEFT, "1 slight")
    page.clock.run_for(30_000)
    status = page.locator("#save-status")
    expect(status).to_contain_text("NOT SAVED")
    expect(status).to_contain_text("2 entries kept and sent again")
    assert 1 == clinic.value(exam_id, "rest_tremor_hand", "right")

    visitor.context.set_offline(False)
    visitor.expect_saved()
    entries = [(each.finding, each.side, each.value) for each in clinic.entries(exam_id)]
    assert [
        ("rest_tremor_hand", "right", 1),
        ("rest_tremor_hand", "right", 2),
        ("rest_tremor_hand", "left", 1),
    ] == entries


def test_an_entry_whose_answer_a_proxy_lost_is_sent_again_and_there_once(
    visitor: Visitor, clinic: Clinic
) -> None:
    """An app server died after the commit: the proxy says 502. It can still be taken back."""
    page = visitor.page
    page.clock.install()
    exam_id = visitor.start_exam()

    def lose(route: Route) -> None:
        assert 200 == route.fetch().status
        route.fulfill(status=502, body="Bad Gateway")

    visitor.expects_no_answer = True
    page.route("**/cells*", lose, times=1)
    visitor.answer(RIGHT, "2 definite")
    status = page.locator("#save-status")
    expect(status).to_contain_text("1 entry kept and sent again")
    page.clock.run_for(3_000)
    visitor.expect_saved()
    assert [2] == [each.value for each in clinic.entries(exam_id)]
    page.locator("#undo").click()
    expect(status).to_contain_text("taken back")

    assert clinic.value(exam_id, "rest_tremor_hand", "right") is None
    # It is the proxy's, and no answer of the program.
    assert visitor.broken_promises.pop().startswith("502 from ")


def test_leaving_with_an_unsaved_entry_is_asked_about(visitor: Visitor) -> None:
    """The only pop-up of the sheet, and only where something would be lost."""
    page = visitor.page
    visitor.start_exam()
    visitor.expects_no_answer = True
    visitor.context.set_offline(True)
    visitor.answer(RIGHT, "2 definite")
    expect(page.locator("#save-status")).to_contain_text("NOT SAVED")
    with page.expect_event("dialog") as asked:
        page.close(run_before_unload=True)

    assert "beforeunload" == asked.value.type
    asked.value.dismiss()
    visitor.context.set_offline(False)
    visitor.expect_saved()


def test_a_refused_value_says_so_beside_its_field(visitor: Visitor, clinic: Clinic) -> None:
    """What was typed stays, and the rest of the sheet goes on."""
    page = visitor.page
    exam_id = visitor.start_exam()
    field = page.get_by_role("textbox", name="Steps for a half turn", exact=True)
    field.fill("400")
    page.keyboard.press("Enter")
    message = page.locator("#c-turn_steps-message")
    expect(message).to_have_text("400 is not from 1 to 60 steps")
    visitor.answer(RIGHT, "2 definite")
    expect(page.locator("#save-status")).to_contain_text("NOT SAVED: 1 marked below")
    expect(field).to_have_value("400")
    field.fill("4")
    page.keyboard.press("Enter")
    visitor.expect_saved()

    expect(message).to_be_empty()
    assert 4 == clinic.value(exam_id, "turn_steps")


def test_medicines_are_read_line_by_line_and_never_replaced(visitor: Visitor) -> None:
    """A near miss is a question in words; the line stays as it was typed."""
    page = visitor.page
    visitor.start_exam()
    field = page.get_by_label("Medicines taken now, one a line")
    field.fill("metoclopramde 10 mg\nlevodopa 100 mg")
    page.get_by_label("takes no medicines").focus()
    visitor.expect_saved()

    lines = page.locator(".medicine-lines li")
    expect(lines.filter(has_text="metoclopramde")).to_contain_text(
        "not recognised, not checked: did you mean metoclopramide?"
    )
    expect(field).to_have_value("metoclopramde 10 mg\nlevodopa 100 mg")
