"""What a sheet that is open hears of the others: only what is new, and nothing about itself."""

import re
from datetime import UTC, datetime, timedelta
from html import unescape
from typing import Any

import pytest
from sqlalchemy import update
from sqlmodel import Session

from app.store.accounts import account_named
from app.store.actor import Recorder
from app.store.audit import head
from app.store.engine import reading, writing
from app.store.people_tables import SignInRow
from app.store.sign_ins import sign_ins_of
from app.store.signing import hand_over
from tests.store.desk import signed, to_sign
from tests.web.clinic import HTMX, NURSE, PHYSICIAN, Clinic, Member, add_member


@pytest.fixture
def exam_id(clinic: Clinic) -> str:
    """A new exam."""
    return clinic.new_exam()


def updates(clinic: Clinic, exam_id: str, since: int = 0, **more: str) -> Any:
    """Ask as an open sheet does."""
    params = {"since": str(since)} | more
    return clinic.client.get(f"/exams/{exam_id}/updates", params=params, headers=HTMX)


def cells_in(answer: Any) -> list[str]:
    """The cells that the answer puts into the sheet."""
    return re.findall(r'id="(c-[\w-]+)" tabindex="-1"', answer.text)


def recorder(clinic: Clinic, member: Member) -> Recorder:
    """Somebody with their account, as the store names them."""
    with reading(clinic.app.state.engine) as session:
        held = account_named(session, member.sign_in_name)
    assert held
    return Recorder(member.name, member.role, held.id, "testclient")


def sign_now(clinic: Clinic, exam_id: str) -> None:
    """The physician signs."""
    engine = clinic.app.state.engine
    now = datetime.now().astimezone()
    signed(engine, exam_id, to_sign(engine, exam_id, now, recorder(clinic, PHYSICIAN)))


def test_nothing_new_is_an_empty_answer(clinic: Clinic, exam_id: str) -> None:
    """Asked every other second, it must cost next to nothing."""
    clinic.cell(exam_id, "turn_steps", "", "4")
    answer = updates(clinic, exam_id, since=1)

    assert (204, "") == (answer.status_code, answer.text)


def test_a_colleagues_entry_comes_with_all_that_follows_from_it(
    clinic: Clinic, exam_id: str
) -> None:
    """The cell, who recorded it, the counts, the panel, and the revision that it makes."""
    clinic.nurse.cell(exam_id, "turn_steps", "", "4")
    answer = updates(clinic, exam_id)
    text = unescape(answer.text)

    assert 200 == answer.status_code
    assert ["c-turn_steps"] == cells_in(answer)
    assert 'value="4"' in text
    assert re.search(r'data-by="by R. Okafor, \d\d:\d\d"', text)
    assert 'id="revision" value="1"' in text
    assert 'hx-swap-oob="innerHTML:#count-gait"' in text
    assert "What it adds up to" in text
    # What the last own entry was answered with stands in the head of the page.
    assert "#save-status" not in text


def test_what_one_recorded_oneself_is_no_news(clinic: Clinic, exam_id: str) -> None:
    """Nobody is told about their own hand."""
    clinic.cell(exam_id, "turn_steps", "", "4")
    answer = updates(clinic, exam_id)

    assert ["c-turn_steps"] == cells_in(answer)
    assert 'class="news"' not in answer.text


def test_a_namesake_is_somebody_else(clinic: Clinic, exam_id: str) -> None:
    """Two people of one name and one role have two accounts."""
    namesake = Member("i.brandt.2", PHYSICIAN.name, PHYSICIAN.role)
    with writing(clinic.app.state.engine) as session:
        add_member(session, namesake, datetime.now(UTC))
    theirs = clinic.browser_of(namesake)
    form = {"revision": "0", "saved": "0", "impression": "Mine", "plan": ""}
    theirs.client.post(f"/exams/{exam_id}/review", data=form)
    theirs.cell(exam_id, "turn_steps", "", "4")
    reviewed = clinic.client.post(f"/exams/{exam_id}/review", data=form | {"impression": "Ours"})

    assert 'class="news"' in updates(clinic, exam_id).text
    assert 'class="news"' not in updates(theirs, exam_id).text
    assert 409 == reviewed.status_code
    assert "Somebody else is reviewing this exam too" in reviewed.text


def test_a_part_of_the_sheet_hears_of_its_own_cells(clinic: Clinic, exam_id: str) -> None:
    """A cell that is not on the page has no place there; the panel knows it all the same."""
    clinic.cell(exam_id, "rest_tremor_hand", "right", "2")
    clinic.cell(exam_id, "turn_steps", "", "4")

    assert ["c-rest_tremor_hand-right", "c-turn_steps"] == sorted(
        cells_in(updates(clinic.nurse, exam_id, part="whole"))
    )
    assert ["c-turn_steps"] == cells_in(updates(clinic.nurse, exam_id, part="nurse"))
    assert "Hand tremor at rest" in updates(clinic.nurse, exam_id, part="nurse").text


def test_medicines_come_as_a_whole(clinic: Clinic, exam_id: str) -> None:
    """With the way back to what stood there."""
    form = {"medicines": "levodopa 100 mg", "revision": "0"}
    clinic.nurse.client.post(f"/exams/{exam_id}/medicines", data=form, headers=HTMX)
    text = unescape(updates(clinic, exam_id).text)

    assert "levodopa 100 mg</textarea>" in text
    assert "R. Okafor (nurse" in text
    assert 'data-take="theirs" data-cell="medicines" data-value="levodopa 100 mg"' in text


def test_who_else_is_here_is_said_once(clinic: Clinic, exam_id: str) -> None:
    """By name, role and station; not again while it is the same, and never about oneself."""
    updates(clinic.nurse, exam_id, station="gait")
    first = updates(clinic, exam_id, station="tone")
    mark = re.search(r'data-here="(\w+)"', first.text)

    assert "R. Okafor (nurse) is in Rise, walk and turn" in first.text
    assert "Brandt" not in first.text
    # Nothing was recorded: the panel is left alone.
    assert "none" == first.headers["hx-reswap"]
    assert "What it adds up to" not in first.text
    assert mark
    assert 204 == updates(clinic, exam_id, station="tone", here=mark[1]).status_code

    updates(clinic.nurse, exam_id, station="medicines")
    moved = updates(clinic, exam_id, station="tone", here=mark[1])
    assert "R. Okafor (nurse) is in Medicines" in moved.text


def test_no_name_stands_in_the_address(clinic: Clinic, exam_id: str) -> None:
    """Addresses are written down on their way."""
    updates(clinic.nurse, exam_id, station="gait")
    mark = re.search(r'data-here="([^"]*)"', updates(clinic, exam_id).text)

    assert mark
    assert re.fullmatch(r"[0-9a-f]{16}", mark[1])


def test_an_exam_that_was_handed_over_says_so(clinic: Clinic, exam_id: str) -> None:
    """And is still recorded."""
    with writing(clinic.app.state.engine) as session:
        hand_over(session, exam_id, actor=recorder(clinic, NURSE), now=datetime.now().astimezone())
    text = updates(clinic, exam_id).text

    assert '<span data-exam="ready">ready for the physician</span>' in text
    assert 204 == updates(clinic, exam_id, state="ready").status_code
    assert 200 == clinic.cell(exam_id, "turn_steps", "", "4").status_code


def test_a_signed_exam_says_who_signed_it_and_takes_nothing_more(
    clinic: Clinic, exam_id: str
) -> None:
    """Also as the answer to an entry that came too late: 409, and no entry."""
    clinic.cell(exam_id, "turn_steps", "", "4")
    sign_now(clinic, exam_id)
    text = updates(clinic.nurse, exam_id, since=1).text
    late = clinic.nurse.cell(exam_id, "turn_steps", "", "5", revision=1)

    assert '<span data-exam="signed" data-closed>signed</span>' in text
    assert re.search(r"This exam was signed by Dr I. Brandt, \d\d:\d\d.", text)
    assert 409 == late.status_code
    assert "data-closed" in late.text
    assert "The exam was signed meanwhile" in late.text
    assert 1 == len(clinic.entries(exam_id))


def test_a_whole_form_that_comes_after_the_signature_keeps_what_was_typed(
    clinic: Clinic, exam_id: str
) -> None:
    """Without scripts nobody was told before: 409, the values as they were typed, and no entry."""
    sign_now(clinic, exam_id)
    answer = clinic.nurse.sheet(exam_id, {"value.turn_steps": "5", "medicines": "bisoprolol"})

    assert 409 == answer.status_code
    assert "The exam was signed meanwhile" in answer.text
    assert "This exam was signed" in answer.text
    assert [] == clinic.entries(exam_id)
    assert "Steps for a half turn: 5\nMedicines: bisoprolol</pre>" in answer.text


def test_asking_is_no_activity_and_no_reading(clinic: Clinic, exam_id: str) -> None:
    """The page asks by itself: an empty room's screen must lock, and the audit would drown."""
    clinic.nurse.cell(exam_id, "turn_steps", "", "4")
    engine = clinic.app.state.engine
    with writing(engine) as session:
        session.connection().execute(
            update(SignInRow).values(active_at=datetime.now(UTC) - timedelta(minutes=1))
        )

    def facts(session: Session) -> Any:
        held = account_named(session, PHYSICIAN.sign_in_name)
        assert held
        return head(session), [each.active_at for each in sign_ins_of(session, held.id)]

    with reading(engine) as session:
        before = facts(session)
    assert 200 == updates(clinic, exam_id, station="gait").status_code

    with reading(engine) as session:
        assert before == facts(session)
    clinic.get(f"/exams/{exam_id}")
    with reading(engine) as session:
        assert before != facts(session)


@pytest.mark.parametrize(
    ("params", "status"),
    [
        ({"since": "1"}, 422),
        ({"since": "-1"}, 422),
        ({"since": "9" * 40}, 422),
        ({"since": "soon"}, 422),
        ({}, 422),
        ({"since": "0", "station": "kitchen"}, 422),
    ],
)  # fmt: skip
def test_a_question_that_no_page_asks_is_refused(
    clinic: Clinic, exam_id: str, params: dict[str, str], status: int
) -> None:
    """A revision that the exam never had, or a place that it does not have."""
    answer = clinic.client.get(f"/exams/{exam_id}/updates", params=params, headers=HTMX)

    assert status == answer.status_code


def test_who_may_not_see_the_chart_hears_nothing(clinic: Clinic, exam_id: str) -> None:
    """No exam, nobody signed in, or a role without charts."""
    nobody = clinic.other_browser(None)

    assert 404 == updates(clinic, "0" * 32).status_code
    assert 404 == updates(clinic, "nonsense").status_code
    assert 401 == updates(nobody, exam_id).status_code
    assert 403 == updates(clinic.administrator, exam_id).status_code
