"""How an entry gets from the sheet into the exam: one by one, and as a whole form."""

from decimal import Decimal
from html import unescape

import pytest

from app.exam.record import Untestable
from app.exam.vocabulary import Scale, vocabulary
from app.web.entered import read_cell
from app.web.exams import WITH_NORMAL
from app.web.sheet import Typed, options_of, typed_of
from tests.web.clinic import HTMX, Clinic


@pytest.fixture
def exam_id(clinic: Clinic) -> str:
    """A new exam."""
    return clinic.new_exam()


@pytest.mark.parametrize(
    ("finding", "side", "typed", "expected"),
    [
        ("rest_tremor_hand", "right", "2", 2),
        ("rest_tremor_hand", "left", "0", 0),
        ("nystagmus", "", "yes", True),
        ("clonus", "left", "no", False),
        ("rise", "", "falls_back", "falls_back"),
        ("turn_steps", "", " 7 ", 7),
        ("tug_s", "", "12.40", Decimal("12.40")),
        ("hx_years", "", "0.5", Decimal("0.5")),
    ],
)
def test_an_entry_is_kept_as_it_was_given(
    clinic: Clinic, exam_id: str, finding: str, side: str, typed: str, expected: object
) -> None:
    """By the script and by the form alike, with the decimals that were typed."""
    key = f"{finding}.{side}" if side else finding
    other = clinic.new_exam(chart_number="HC-2")

    assert 200 == clinic.cell(exam_id, finding, side, typed).status_code
    assert 303 == clinic.sheet(other, {f"value.{key}": typed}).status_code
    for each in (exam_id, other):
        kept = clinic.value(each, finding, side)
        assert expected == kept
        assert str(expected) == str(kept)
        assert typed.strip() in clinic.get(f"/exams/{each}").text


def test_an_entry_carries_who_made_it(clinic: Clinic, exam_id: str) -> None:
    """Name and role, of the browser that sent it."""
    clinic.cell(exam_id, "rise", "", "slow")
    clinic.nurse.cell(exam_id, "base", "", "wide")

    made = [(entry.finding, entry.by, entry.role) for entry in clinic.entries(exam_id)]
    assert [("rise", "Dr I. Brandt", "physician"), ("base", "R. Okafor", "nurse")] == made


def test_the_answer_to_an_entry_is_the_panel_and_the_pieces_that_changed(
    clinic: Clinic, exam_id: str
) -> None:
    """The new revision, when it was saved, the counts, and no whole page."""
    text = clinic.cell(exam_id, "rest_tremor_hand", "right", "2").text

    assert "<html" not in text
    assert 'name="revision" id="revision" value="1" hx-swap-oob="true"' in text
    assert "saved " in text
    assert "1 done, 16 left" in text
    assert "supports and does not replace" in text
    assert '<fieldset class="cell' not in text
    assert "Recording as" not in text


def test_an_entry_without_htmx_answers_with_the_sheet(clinic: Clinic, exam_id: str) -> None:
    """The address of an entry works for every browser."""
    form = {"finding": "rise", "side": "", "value": "slow", "revision": "0"}
    answer = clinic.client.post(f"/exams/{exam_id}/cells", data=form)
    assert (303, f"/exams/{exam_id}") == (answer.status_code, answer.headers["location"])

    refused = clinic.client.post(f"/exams/{exam_id}/cells", data=form | {"value": "x"})
    assert 422 == refused.status_code
    assert refused.text.startswith("<!DOCTYPE html>")
    assert "x is not one of" in unescape(refused.text)


def test_every_answer_is_recorded_as_what_it_says() -> None:
    """“clear”, of a response to levodopa, was also what cleared a cell, and was never recorded."""
    answers = [
        (finding, option.value)
        for finding in vocabulary().values()
        if finding.scale not in (Scale.COUNT, Scale.NUMBER)
        for option in options_of(finding, "")
    ]

    assert len(answers) > 300
    assert answers == [
        (finding, typed_of(read_cell(finding, Typed(value, ""), None)).value)
        for finding, value in answers
    ]


def test_a_value_can_be_cleared(clinic: Clinic, exam_id: str) -> None:
    """Not examined is a state of its own and comes back."""
    clinic.cell(exam_id, "rise", "", "slow")
    clinic.cell(exam_id, "tug_s", "", "12")
    clinic.cell(exam_id, "rise", "", "not-examined")
    clinic.sheet(exam_id, {"value.tug_s": ""})

    assert {} == dict(clinic.stored(exam_id).exam.cells)
    assert 4 == len(clinic.entries(exam_id))


def test_what_cannot_be_tested_is_kept_with_its_reason(clinic: Clinic, exam_id: str) -> None:
    """And a reason alone says as much, where the button was overlooked."""
    clinic.cell(exam_id, "rise", "", "untestable", why="in a wheelchair")
    clinic.sheet(exam_id, {"why.rest_tremor_hand.left": "plaster cast", "why.tug_s": "no space"})

    assert Untestable("in a wheelchair") == clinic.value(exam_id, "rise")
    assert Untestable("plaster cast") == clinic.value(exam_id, "rest_tremor_hand", "left")
    assert Untestable("no space") == clinic.value(exam_id, "tug_s")


def test_a_value_takes_the_place_of_an_old_reason(clinic: Clinic, exam_id: str) -> None:
    """The old reason still stands in the plain form; only a new one contradicts a value."""
    clinic.cell(exam_id, "rise", "", "untestable", why="in a wheelchair")
    assert (
        303
        == clinic.sheet(exam_id, {"value.rise": "slow", "why.rise": "in a wheelchair"}).status_code
    )
    assert "slow" == clinic.value(exam_id, "rise")

    refused = clinic.sheet(exam_id, {"value.rise": "normal", "why.rise": "tired"})
    assert 422 == refused.status_code
    assert "A value and a reason why it cannot be tested" in unescape(refused.text)
    assert "slow" == clinic.value(exam_id, "rise")


def test_a_form_that_changes_nothing_writes_nothing(clinic: Clinic, exam_id: str) -> None:
    """Save pressed twice is one entry, also for what the form shows again."""
    fields = {
        "value.rise": "slow", "value.tug_s": "12.40", "why.base": "no", "medicines": "aspirin",
    }  # fmt: skip
    clinic.sheet(exam_id, fields)
    before = clinic.stored(exam_id).revision
    clinic.sheet(exam_id, fields | {"value.base": "untestable"})

    assert before == clinic.stored(exam_id).revision


def test_a_cell_that_the_form_does_not_hold_is_left_alone(clinic: Clinic, exam_id: str) -> None:
    """The nurse's part does not show the physician's findings."""
    clinic.cell(exam_id, "rest_tremor_hand", "right", "2")
    answer = clinic.client.post(
        f"/exams/{exam_id}?part=nurse", data={"revision": "1", "value.rise": "slow"}
    )

    assert f"/exams/{exam_id}?part=nurse" == answer.headers["location"]
    assert 2 == clinic.value(exam_id, "rest_tremor_hand", "right")


def test_one_fault_in_a_form_and_nothing_of_it_is_written(clinic: Clinic, exam_id: str) -> None:
    """All or nothing, so that nobody has to find out which half was kept."""
    answer = clinic.sheet(
        exam_id,
        {"value.rise": "slow", "value.tug_s": "0", "medicines": "aspirin", "normal": "rest"},
    )

    assert 422 == answer.status_code
    assert [] == clinic.entries(exam_id)
    assert 'id="c-rise-slow" value="slow" checked' in answer.text
    assert 'id="c-tug_s-text" value="0"' in answer.text
    assert ">aspirin</textarea>" in answer.text


def test_a_whole_form_is_one_write(clinic: Clinic, exam_id: str) -> None:
    """Values, medicines and the rest of a station in one transaction."""
    clinic.sheet(exam_id, {"value.dysmetria.right": "2", "medicines": "aspirin", "normal": "reach"})
    stored = clinic.stored(exam_id)

    assert 2 == clinic.value(exam_id, "dysmetria", "right")
    assert 0 == clinic.value(exam_id, "dysmetria", "left")
    assert ("aspirin",) == stored.exam.medicines
    assert {False: 1, True: 5} == {
        bulk: sum(each.bulk is bulk for each in stored.cells.values()) for bulk in (False, True)
    }


def test_medicines_not_asked_none_and_listed_are_three_things(clinic: Clinic, exam_id: str) -> None:
    """The rules treat them differently."""
    states = []
    for fields in (
        {"medicines": "aspirin"},
        {"medicines": "", "no_medicines": "yes"},
        {"medicines": ""},
    ):
        clinic.sheet(exam_id, fields)
        states.append(clinic.stored(exam_id).exam.medicines)

    assert [("aspirin",), (), None] == states


def test_two_tabs_collide_in_one_cell_and_both_values_are_shown(
    clinic: Clinic, exam_id: str
) -> None:
    """Nothing is written over, and what was chosen stays chosen."""
    colleague = clinic.colleague
    clinic.cell(exam_id, "rest_tremor_hand", "right", "2", revision=0)
    by_script = colleague.cell(exam_id, "rest_tremor_hand", "right", "1", revision=0)
    by_form = colleague.sheet(
        exam_id, {"value.rest_tremor_hand.right": "1", "value.rise": "slow"}, revision=0
    )

    for answer in (by_script, by_form):
        assert 409 == answer.status_code
        text = unescape(answer.text)
        assert "Dr I. Brandt (physician" in text
        assert "recorded “2 definite”. Yours, “1 slight”, is not saved." in text
    assert 'id="c-rest_tremor_hand-right-1" value="1" checked' in by_form.text
    assert 'id="c-rise-slow" value="slow" checked' in by_form.text
    assert 'id="revision" value="1"' in by_form.text
    assert 1 == len(clinic.entries(exam_id))

    # The form has shown theirs, so sending it again is a decision.
    again = colleague.sheet(
        exam_id, {"value.rest_tremor_hand.right": "1", "value.rise": "slow"}, revision=1
    )
    assert 303 == again.status_code
    assert 1 == clinic.value(exam_id, "rest_tremor_hand", "right")


def test_two_tabs_in_two_cells_do_not_collide(clinic: Clinic, exam_id: str) -> None:
    """Nurse and physician work at the same time; each answer brings the other's entries along."""
    colleague = clinic.colleague
    clinic.cell(exam_id, "rest_tremor_hand", "right", "2", revision=0)
    answer = colleague.cell(exam_id, "rise", "", "slow", revision=0)

    assert 200 == answer.status_code
    assert 'id="c-rest_tremor_hand-right-2" value="2" checked' in answer.text
    assert 1 == answer.text.count('<fieldset class="cell')


def test_an_entry_rests_on_what_its_author_saw_and_not_on_what_the_page_shows_by_now(
    clinic: Clinic, exam_id: str
) -> None:
    """Entries wait in line; one answer moves the page on while the next one still waits."""
    colleague = clinic.colleague
    clinic.cell(exam_id, "rest_tremor_hand", "right", "2", revision=0)
    answer = colleague.cell(exam_id, "rest_tremor_hand", "right", "1", revision=1, seen="0")

    assert 409 == answer.status_code


def test_the_same_value_from_two_tabs_is_no_collision(clinic: Clinic, exam_id: str) -> None:
    """And an entry whose answer was lost can be sent again."""
    clinic.cell(exam_id, "rise", "", "slow", revision=0)

    assert 200 == clinic.cell(exam_id, "rise", "", "slow", revision=0).status_code
    assert 1 == len(clinic.entries(exam_id))


def test_medicines_collide_as_a_whole(clinic: Clinic, exam_id: str) -> None:
    """The lines that were typed stay in the field; theirs are said."""
    colleague = clinic.colleague
    clinic.sheet(exam_id, {"medicines": "aspirin"}, revision=0)
    by_form = colleague.sheet(exam_id, {"medicines": "levodopa"}, revision=0)
    by_script = colleague.client.post(
        f"/exams/{exam_id}/medicines", data={"medicines": "levodopa", "revision": "0"}, headers=HTMX
    )

    for answer in (by_form, by_script):
        assert 409 == answer.status_code
        assert "recorded “aspirin”. Yours, “levodopa”, are not saved." in answer.text
    assert ">levodopa</textarea>" in by_form.text
    assert ("aspirin",) == clinic.stored(exam_id).exam.medicines


def test_medicines_of_a_colleague_arrive_with_the_next_answer(clinic: Clinic, exam_id: str) -> None:
    """Else an old list in an open field would later write over them."""
    colleague = clinic.colleague
    clinic.sheet(exam_id, {"medicines": "aspirin"}, revision=0)

    assert ">aspirin</textarea>" in colleague.cell(exam_id, "rise", "", "slow", revision=0).text


@pytest.mark.parametrize("station", WITH_NORMAL)
def test_the_rest_of_a_station_is_marked_in_one_act(
    clinic: Clinic, exam_id: str, station: str
) -> None:
    """Core findings with a normal value, each an entry of its own that says how it came."""
    answer = clinic.client.post(
        f"/exams/{exam_id}/normal", data={"station": station, "revision": "0"}, headers=HTMX
    )
    expected = {
        (finding.id, side): finding.normal_value()
        for finding in vocabulary().at(station)
        if finding.core and finding.detail_of is None and finding.normal_value() is not None
        for side in finding.sides
    }

    assert 200 == answer.status_code
    assert expected == dict(clinic.stored(exam_id).exam.cells)
    assert all(entry.bulk for entry in clinic.entries(exam_id))
    assert len(expected) == answer.text.count("marked normal with the rest of the station")
