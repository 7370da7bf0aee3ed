"""What was done and whose answer was lost is sent again to the letter: it is done once, and shown.

The sheet sends its entries again by itself (tests/cluster); here it is the person who does.
"""

from datetime import timedelta
from types import ModuleType
from typing import Any

import pytest

import app.store.sent_again
from app.web import review, signed_exam
from tests.web.clinic import Clinic, id_in
from tests.web.test_review import TREMOR, amendment, examined, send, settled, signed

FORM = {"reason": "Two falls"}


def test_a_signature_that_is_sent_again_leads_to_the_signed_page(clinic: Clinic) -> None:
    """It was answered that the exam is closed, as if somebody else had signed something else."""
    exam_id = examined(clinic, *TREMOR)
    form = settled(clinic, exam_id)
    first = send(clinic, exam_id, form)
    again = send(clinic, exam_id, form)
    other = send(clinic, exam_id, form | {"plan": "Something else."})
    colleagues = send(clinic.colleague, exam_id, form)

    assert [303, 303] == [first.status_code, again.status_code]
    assert first.headers["location"] == again.headers["location"]
    # What would not stand on the page that was signed is not said to be signed.
    assert [409, 409] == [other.status_code, colleagues.status_code]
    assert 1 == len(signed(clinic, exam_id))


@pytest.mark.parametrize(
    ("module", "step", "to"),
    [(review, "_save", "sign"), (signed_exam, "amend_signed", "amend")],
)
def test_the_same_form_twice_under_way_is_signed_once_and_both_lead_to_the_page(
    clinic: Clinic, monkeypatch: pytest.MonkeyPatch, module: ModuleType, step: str, to: str
) -> None:
    """The second had passed the door when the first was signed, and was told “nothing recorded”.

    Found by the long run of kills.
    """
    exam_id = examined(clinic, *TREMOR)
    form = settled(clinic, exam_id)
    if to == "amend":
        send(clinic, exam_id, form)
        form = amendment(clinic, exam_id)
    taken = getattr(module, step)
    first: list[int] = []

    def meanwhile(*given: Any) -> Any:
        monkeypatch.setattr(module, step, taken)
        first.append(send(clinic, exam_id, form, to).status_code)
        return taken(*given)

    monkeypatch.setattr(module, step, meanwhile)
    second = send(clinic, exam_id, form, to)

    assert [303, 303] == [*first, second.status_code]
    assert (1 if to == "sign" else 2) == len(signed(clinic, exam_id))


def test_an_amendment_that_is_sent_again_is_not_written_twice(clinic: Clinic) -> None:
    """Nor is its author told that somebody else was first."""
    exam_id = examined(clinic, *TREMOR)
    send(clinic, exam_id, settled(clinic, exam_id))
    form = amendment(clinic, exam_id)
    answers = [send(clinic, exam_id, form, "amend") for _ in range(2)]
    other = send(clinic, exam_id, form | {"text": "Something else."}, "amend")

    assert [303, 303, 412] == [each.status_code for each in (*answers, other)]
    assert ["exam", "addendum"] == [each.kind for each in signed(clinic, exam_id)]


def test_a_start_that_is_sent_again_opens_the_exam_that_it_started(
    clinic: Clinic, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A second open exam would be one in which nobody finds what was entered in the first."""
    path = f"/patients/{clinic.stored(clinic.new_exam()).patient.id}"

    def start(by: Clinic = clinic, **changed: str) -> str:
        return id_in(by.client.post(path, data=FORM | changed).headers["location"])

    first = start()

    assert first == start()
    assert 3 == len({first, start(clinic.nurse), start(reason="Another")})
    # Once something is entered, or after a while, it is another exam that is meant.
    assert 200 == clinic.cell(first, "drift", "right", "1").status_code
    later = start()
    assert first != later
    monkeypatch.setattr(app.store.sent_again, "STARTED_AGAIN", timedelta(0))
    assert later != start()


def test_a_new_patient_that_is_sent_again_is_the_same_patient(clinic: Clinic) -> None:
    """The exam opens; the chart number that is taken is their own."""
    first, again = clinic.new_patient(), clinic.new_patient()

    assert (303, first.headers["location"]) == (again.status_code, again.headers["location"])
    assert 422 == clinic.new_patient(given_name="Beata").status_code
    assert 422 == clinic.nurse.new_patient().status_code
