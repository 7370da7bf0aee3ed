"""Two exams of one patient compared, and their course: who may see it, and what it says."""

import re
from collections.abc import Iterable
from dataclasses import replace
from html import unescape

import pytest

from app.assess.assess import assess
from app.assess.assessment import CategoryFound, WarningRaised
from app.exam.record import Exam
from app.knowledge.load import knowledge
from app.web.compare import other_knowledge
from app.web.compare_view import concluded
from tests.web.clinic import Clinic
from tests.web.tables import audit_rows
from tests.web.test_last_time import another
from tests.web.test_review import send, settled

Cells = Iterable[tuple[str, str, str]]
THEN: Cells = (
    ("rest_tremor_hand", "right", "2"),
    ("rest_tremor_hand", "left", "1"),
    ("drift", "left", "2"),
    ("flap", "right", "0"),
    ("tug_s", "", "10"),
    ("walk_m", "", "10"),
    ("walk_s", "", "10"),
)
NOW: Cells = (
    ("rest_tremor_hand", "right", "0"),
    ("rest_tremor_hand", "left", "2"),
    ("flap", "right", "2"),
    ("tug_s", "", "12"),
    ("walk_m", "", "10"),
    ("walk_s", "", "12"),
)


def record(clinic: Clinic, exam_id: str, cells: Cells) -> str:
    """Enter the cells; the exam's id."""
    for finding, side, value in cells:
        assert 200 == clinic.cell(exam_id, finding, side, value).status_code
    return exam_id


def visits(clinic: Clinic) -> tuple[str, str, str]:
    """A patient with two exams: the patient's id and those of the exams."""
    first = record(clinic, clinic.new_exam(), THEN)
    second = record(clinic, another(clinic, first), NOW)
    return clinic.stored(first).patient.id, first, second


def words(html: str) -> str:
    """A piece of a page as it reads."""
    return " ".join(unescape(re.sub(r"<[^>]+>", " ", html)).split())


def parts(page: str) -> dict[str, str]:
    """The sections of the comparison by their id, in words."""
    found = re.findall(
        r'<section class="part" aria-labelledby="([\w-]+)">(.*?)</section>', page, re.S
    )
    return {name: words(html) for name, html in found}


def test_every_difference_stands_in_its_section(clinic: Clinic) -> None:
    """RIGHT and LEFT apart; what was not examined now is not better."""
    patient_id, first, second = visits(clinic)
    page = clinic.get(f"/patients/{patient_id}/compare?then={first}&now={second}").text
    found = parts(page)

    assert "Flapping of the hands (asterixis) RIGHT 0 none 2 definite new" in found["new"]
    assert "Usual walking speed 1 m/s 0.83 m/s 0.17 m/s less; worse" in found["worse"]
    assert "people with Parkinson disease" in found["worse"]
    assert "Hand tremor at rest RIGHT 2 definite 0 none no longer found" in found["better"]
    assert "Hand tremor at rest LEFT 1 slight 2 definite one grade more" in found["one-grade"]
    assert "Timed up and go 10 s 12 s 2 s more; may be error of measurement" in found["within"]
    assert "Pronator drift LEFT 2 definite not examined not known now" in found["not-comparable"]
    assert "Timed walk: distance 10 m 10 m the same" in found["same"]
    order = [name for name in parts(page) if name != "concluded"]
    assert [
        "new", "worse", "better", "one-grade", "different", "within", "not-comparable", "same",
    ] == order  # fmt: skip


def test_the_earlier_exam_always_stands_first(clinic: Clinic) -> None:
    """Chosen the other way round, new would read as gone."""
    patient_id, first, second = visits(clinic)
    there = clinic.get(f"/patients/{patient_id}/compare?then={first}&now={second}").text
    back = clinic.get(f"/patients/{patient_id}/compare?then={second}&now={first}").text
    by_default = clinic.get(f"/patients/{patient_id}/compare").text

    assert parts(there) == parts(back) == parts(by_default)


def test_a_signed_exam_comes_first_and_reads_as_it_was_signed(clinic: Clinic) -> None:
    """Where nothing was chosen the newest unsigned one stands beside it, and says so."""
    patient_id, first, second = visits(clinic)
    assert 303 == send(clinic, first, settled(clinic, first)).status_code
    third = record(clinic, another(clinic, first), NOW)
    page = clinic.get(f"/patients/{patient_id}/compare").text

    assert [first, third] == re.findall(r'<option value="(\w+)" selected>', page)
    assert 1 == page.count("assessed when it was signed, under knowledge")
    assert 1 == page.count("assessed now, under knowledge")
    assert "Falls group" in parts(page)["concluded"]
    beside = clinic.get(f"/patients/{patient_id}/compare?now={second}").text
    assert [first, second] == re.findall(r'<option value="(\w+)" selected>', beside)


def test_another_knowledge_is_said() -> None:
    """A pattern may read otherwise though nothing was found otherwise."""
    assert "" == other_knowledge(["2026.1", "2026.1"])
    assert other_knowledge(["2026.1", "2027.1"]).startswith(
        "The earlier exam was assessed under knowledge version 2026.1, the later one under 2027.1."
    )


@pytest.mark.parametrize("page", ["compare", "course"])
def test_one_exam_is_not_enough(clinic: Clinic, page: str) -> None:
    """And an empty second one is none."""
    first = record(clinic, clinic.new_exam(), THEN)
    another(clinic, first)
    answer = clinic.get(f"/patients/{clinic.stored(first).patient.id}/{page}")

    assert 200 == answer.status_code
    assert "There are not two exams with anything recorded." in answer.text


def test_an_exam_is_not_compared_with_itself(clinic: Clinic) -> None:
    """Everything would read as the same."""
    patient_id, first, _ = visits(clinic)
    answer = clinic.get(f"/patients/{patient_id}/compare?then={first}&now={first}")

    assert 422 == answer.status_code
    assert "Choose two different exams." in answer.text


def test_an_exam_of_somebody_else_is_never_compared(clinic: Clinic) -> None:
    """Two people in one table would be the worst that this page could show."""
    patient_id, first, _ = visits(clinic)
    other = record(clinic, clinic.new_exam(chart_number="HC-9"), NOW)
    for then in (other, "0" * 32, "nothing"):
        answer = clinic.get(f"/patients/{patient_id}/compare?then={then}&now={first}")

        assert 404 == answer.status_code
    assert 404 == clinic.get(f"/patients/{'0' * 32}/compare").status_code
    assert 404 == clinic.get(f"/patients/{'0' * 32}/course").status_code


@pytest.mark.parametrize("page", ["compare", "course"])
def test_who_may_read_charts_may_look_back_and_it_stands_in_the_audit(
    clinic: Clinic, page: str
) -> None:
    """A nurse and a physician may; an administrator may not without emergency access."""
    patient_id, first, second = visits(clinic)
    path = f"/patients/{patient_id}/{page}"

    assert [200, 200, 403] == [
        each.get(path).status_code
        for each in (clinic.nurse, clinic.physician, clinic.administrator)
    ]
    before = len(audit_rows(clinic.app))
    clinic.get(path)
    rows = audit_rows(clinic.app)[before:]
    seen = [first, second] if page == "compare" else [""]
    assert [("read", patient_id, each) for each in seen] == [
        (row.action, row.patient_id, row.exam_id or "") for row in rows
    ]


def test_the_course_is_drawn_with_a_table_beneath(clinic: Clinic) -> None:
    """Sides by line, mark and words; a drawing is named, and nothing stands in it alone."""
    patient_id, _, _ = visits(clinic)
    page = clinic.get(f"/patients/{patient_id}/course").text
    drawn = re.findall(r'<section class="plot".*?</section>', page, re.S)
    tremor = next(each for each in drawn if "Hand tremor at rest" in each)

    assert ["RIGHT 0 none", "LEFT 2 definite"] == re.findall(r'class="end"[^>]*>(.*?)<', tremor)
    assert "Exam RIGHT LEFT" in words(tremor)
    assert all(1 == each.count("<svg") == each.count("<table") for each in drawn)
    assert not re.search(r"style=", page)


def test_the_pages_lead_to_each_other(clinic: Clinic) -> None:
    """From the patient and from the sheet."""
    patient_id, first, second = visits(clinic)

    assert f'href="/patients/{patient_id}/compare"' in clinic.get(f"/patients/{patient_id}").text
    assert f"then={first}&amp;now={second}" in clinic.get(f"/exams/{second}").text


def test_a_rule_that_was_retired_since_still_reads_as_it_was_signed() -> None:
    """What a signed exam concluded does not vanish with the rule; it has its id for a name."""
    now = assess(Exam(), knowledge())
    then = replace(
        now,
        categories=(*now.categories, CategoryFound("retired_pattern", "fits", "right")),
        warnings=(*now.warnings, WarningRaised("retired_warning", "same_day")),
    )
    read = {line.label: (line.then, line.now) for line in concluded(then, now, knowledge())}

    assert ("fits the pattern, RIGHT", "nothing points that way") == read["retired_pattern"]
    assert ("same day", "not raised") == read["retired_warning"]
