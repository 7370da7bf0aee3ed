"""Taking back an entry over HTTP: by whom, when, and what the sheet is told."""

import re
from typing import Any

import pytest

from tests.web.clinic import HTMX, Clinic
from tests.web.test_updates import sign_now


@pytest.fixture
def exam_id(clinic: Clinic) -> str:
    """A new exam."""
    return clinic.new_exam()


def test_an_entry_is_taken_back_by_who_made_it(clinic: Clinic, exam_id: str) -> None:
    """The answer is that of an entry: the cell as it was, and what the exam adds up to now."""
    clinic.cell(exam_id, "drift", "right", "1")
    made = clinic.cell(exam_id, "drift", "right", "3")
    assert 'data-made="2"' in made.text
    assert "data-made" not in clinic.cell(exam_id, "drift", "right", "3").text
    answer = undone(clinic, exam_id, of=2)

    assert (200, 1) == (answer.status_code, clinic.value(exam_id, "drift", "right"))
    assert 'id="c-drift-right"' in answer.text
    assert "taken back" in answer.text


def test_what_a_colleague_wrote_since_is_not_taken_away(clinic: Clinic, exam_id: str) -> None:
    """It is said who, and the sheet shows what stands there now."""
    clinic.cell(exam_id, "turn_en_bloc", "", "1")
    clinic.nurse.cell(exam_id, "turn_en_bloc", "", "2")
    answer = undone(clinic, exam_id, of=1)

    assert (409, 2) == (answer.status_code, clinic.value(exam_id, "turn_en_bloc"))
    assert "NOT TAKEN BACK" in answer.text
    assert "R. Okafor (nurse" in answer.text
    # Nor can one take back what the other wrote, or what nobody did.
    assert [403, 403] == [undone(clinic, exam_id, of=of).status_code for of in (2, 7)]
    assert 2 == clinic.stored(exam_id).revision


def test_what_is_sent_again_because_its_answer_was_lost_is_recognised(
    clinic: Clinic, exam_id: str
) -> None:
    """An app server died after the commit: the second try makes nothing, and names what was made.

    Without the name the entry could not be taken back any more; and a second try at taking back
    must not say that it failed.
    """
    sent = [clinic.cell(exam_id, "drift", "right", "3", revision=0) for _ in range(2)]
    rest = {"station": "posture", "revision": "1"}
    normal = [
        clinic.client.post(f"/exams/{exam_id}/normal", data=rest, headers=HTMX) for _ in range(2)
    ]
    assert ['data-made="1"'] * 2 == [made_in(each.text) for each in sent]
    assert ['data-made="2"'] * 2 == [made_in(each.text) for each in normal]
    recorded = len(clinic.entries(exam_id))
    taken = [undone(clinic, exam_id, of=1) for _ in range(2)]

    assert [200, 200] == [each.status_code for each in taken]
    assert "taken back" in taken[1].text
    assert (None, recorded + 1) == (
        clinic.value(exam_id, "drift", "right"), len(clinic.entries(exam_id))
    )  # fmt: skip


def made_in(text: str) -> str:
    """What an answer says that was made."""
    found = re.search(r'data-made="\d+"', text)
    return found[0] if found else ""


def test_nothing_is_taken_back_out_of_a_signed_exam(clinic: Clinic, exam_id: str) -> None:
    """And the sheet that is still open is told that it is closed."""
    clinic.cell(exam_id, "drift", "right", "1")
    sign_now(clinic, exam_id)
    answer = undone(clinic, exam_id, of=1)

    assert (409, 1) == (answer.status_code, clinic.value(exam_id, "drift", "right"))
    assert "takes no more entries" in answer.text


def undone(clinic: Clinic, exam_id: str, *, of: int) -> Any:
    """Take back one write as the sheet's script does."""
    form = {"of": str(of), "revision": "1"}
    return clinic.client.post(f"/exams/{exam_id}/undo", data=form, headers=HTMX)
