"""An exam that was done on paper is typed in as any other, and says so wherever it is shown."""

import re
from datetime import datetime, timedelta
from html import unescape
from typing import Any

from playwright.sync_api import expect

from app.report.phrases import day
from tests.report.reading import words_of
from tests.web.clinic import PERSON, Clinic
from tests.web.test_admin_audit import lines
from tests.web.test_axe import faults
from tests.web.test_review import send, settled
from tests.web.visitor import Visitor

EXAMINED = datetime.now().astimezone() - timedelta(days=1)
PAPER = {
    "examined_on": f"{EXAMINED:%Y-%m-%d}",
    "examined_time": "14:10",
    "examined_by": "Dr Per Prøve, physician",
}
# Who entered it, and when, follows.
SAYS = f"{day(EXAMINED)} 14:10 on paper by Dr Per Prøve, physician, entered "


def plain(answer: Any) -> str:
    """What is read of a page."""
    return " ".join(unescape(re.sub(r"<[^>]+>", " ", answer.text)).split())


def on_paper(clinic: Clinic) -> str:
    """An exam that was done on paper."""
    return clinic.new_exam(**PAPER)


def test_every_page_about_the_exam_says_so(clinic: Clinic) -> None:
    """Lists, the sheet, its review, why it concludes, and what leaves the program."""
    exam_id = on_paper(clinic)
    clinic.sheet(exam_id, {"value.rest_tremor_hand.left": "2", "value.finger_tap_slow.left": "2"})
    patient = f"/patients/{clinic.stored(exam_id).patient.id}"
    exam = f"/exams/{exam_id}"
    for path in ("/", patient, exam, f"{exam}/review"):
        assert SAYS in plain(clinic.get(path)), path
    why = re.findall(r'href="(/exams/\w+/why/[^"]+)"', clinic.get(f"/exams/{exam_id}").text)
    assert SAYS in plain(clinic.get(unescape(why[0])))
    by = "on paper by Dr Per Prøve, physician, entered"
    assert f"Motor exam of {day(EXAMINED)} {by}" in plain(clinic.get(f"/exams/{exam_id}/note"))
    drafted = words_of(clinic.get(f"/exams/{exam_id}/pdf").content)
    assert re.search(f"Examined {day(EXAMINED)} 14:10 UTC.* {by}", drafted[0])

    signed = send(clinic, exam_id, settled(clinic, exam_id))

    assert 303 == signed.status_code
    assert SAYS in plain(clinic.get(f"/exams/{exam_id}"))


def test_the_audit_tells_when_and_by_whom_it_was_examined(clinic: Clinic) -> None:
    """Beside who entered it and when."""
    exam_id = on_paper(clinic)
    told = [each["what"] for each in lines(clinic.administrator.get("/admin/audit"))]

    assert (
        f"started an exam examined on paper {day(EXAMINED)} 14:10, by Dr Per Prøve, physician"
        in told
    )
    assert clinic.stored(exam_id).on_paper is not None


def test_a_patient_who_is_known_may_have_been_examined_on_paper_too(clinic: Clinic) -> None:
    first = clinic.new_exam()
    patient = f"/patients/{clinic.stored(first).patient.id}"
    answer = clinic.client.post(patient, data={"reason": ""} | PAPER)
    page = plain(clinic.get(patient))

    assert 303 == answer.status_code
    assert 1 == page.count(SAYS)
    # Where it may be chosen, in either place.
    assert 2 == plain(clinic.get(f"{patient}/compare")).count(SAYS)
    # The one that was done later stands first, although it was entered before.
    assert page.index(SAYS) > page.index(day(datetime.now().astimezone()))


def test_any_other_exam_says_nothing_of_paper(clinic: Clinic) -> None:
    """Fields that are left empty are no answer."""
    exam_id = clinic.new_exam(**dict.fromkeys(PAPER, ""))

    assert clinic.stored(exam_id).on_paper is None
    assert "on paper" not in plain(clinic.get(f"/exams/{exam_id}"))


def test_what_is_wrong_comes_back_with_all_that_was_typed(clinic: Clinic) -> None:
    """With the faults of patient and paper together; the fold is open, and nothing is kept."""
    wrong = {"family_name": "", "examined_time": "25:10", "examined_by": ""}
    answer = clinic.client.post("/patients/new", data=PERSON | PAPER | wrong)
    text = unescape(answer.text)

    assert 422 == answer.status_code
    for fault in (
        "The family name is missing",
        "The time of the exam is not a time: write it as 14:10",
        "Who examined is missing",
    ):
        assert fault in text
    assert '<details class="on-paper" open>' in text
    assert f'value="{PAPER["examined_on"]}"' in text
    assert 0 == clinic.get("/").text.count("Exam of ")

    exam_id = clinic.new_exam()
    patient = f"/patients/{clinic.stored(exam_id).patient.id}"
    again = clinic.client.post(patient, data=PAPER | {"reason": "Why", "examined_on": "1950-01-01"})

    assert 422 == again.status_code
    assert "more than 31 days ago: keep the paper in the chart" in unescape(again.text)
    assert 'value="Why"' in again.text
    assert 1 == clinic.get("/").text.count("Exam of ")


def test_a_nurse_marks_it_and_types_it_in_with_the_usual_keys(nurse: Visitor) -> None:
    """The mark is all that is added."""
    page = nurse.page
    page.goto(f"{nurse.address}/patients/new")
    fold = page.get_by_text("The exam was done on paper earlier")
    expect(page.get_by_label("Time of the exam")).to_be_hidden()
    for name in ("chart_number", "family_name", "given_name", "birth_date"):
        page.fill(f"#{name}", PERSON[name])
    page.get_by_role("radio", name="female", exact=True).check()
    fold.click()
    page.get_by_label("Date of the exam").fill(PAPER["examined_on"])
    page.get_by_label("Time of the exam").fill(PAPER["examined_time"])
    page.get_by_label("Examined by").fill(PAPER["examined_by"])
    assert [] == faults(page)
    page.get_by_role("button", name="Save and start the exam").click()

    expect(page.locator("main")).to_contain_text(f"Exam of {SAYS}")
    # Its scripts answer keys once the page has loaded.
    page.wait_for_load_state()
    page.locator("#c-heel_strike_reduced-right-0").focus()
    page.keyboard.press("2")
    page.keyboard.press("1")
    expect(page.locator("#c-heel_strike_reduced-right-2")).to_be_checked()
    expect(page.locator("#c-heel_strike_reduced-left-1")).to_be_checked()
