"""Writes come from this program's own pages; what another site sends is refused."""

import pytest

from tests.web.clinic import HERE, PERSON, Clinic
from tests.web.tables import addresses


@pytest.mark.parametrize(
    "headers",
    [
        {"Sec-Fetch-Site": "cross-site"},
        {"Sec-Fetch-Site": "same-site"},
        {"Sec-Fetch-Site": "cross-site", "Origin": HERE},
        {"Origin": "https://evil.example"},
        {"Origin": "null"},
        {"Origin": "https://testserver.evil.example"},
        {"Origin": "https://testserver:81"},
    ],
)
def test_a_write_from_another_site_is_refused(clinic: Clinic, headers: dict[str, str]) -> None:
    """On every address that writes, and nothing is written."""
    exam_id = clinic.new_exam()
    ids = {"exam_id": exam_id, "patient_id": clinic.stored(exam_id).patient.id}
    writes = [path for method, path in addresses(clinic.app, ids) if method == "POST"]
    assert len(writes) >= 20
    for path in writes:
        answer = clinic.client.post(
            path,
            data=PERSON | {"chart_number": "HC-9", "revision": "0"},
            headers=headers,
        )

        assert 403 == answer.status_code, path
        assert "page of another site" in answer.text
    assert [] == clinic.entries(exam_id)
    assert 1 == clinic.get("/").text.count("Exam of ")


@pytest.mark.parametrize(
    "headers",
    [
        {},
        {"Sec-Fetch-Site": "same-origin", "Origin": HERE},
        {"Sec-Fetch-Site": "none"},
        {"Origin": HERE},
    ],
)
def test_a_write_from_our_own_page_or_from_a_program_passes(
    clinic: Clinic, headers: dict[str, str]
) -> None:
    """A browser on plain http sends no Sec-Fetch-Site; a program sends neither."""
    answer = clinic.client.post("/patients/new", data=PERSON, headers=headers)

    assert 303 == answer.status_code


def test_looking_changes_nothing(clinic: Clinic) -> None:
    """No address that is only read may write."""
    exam_id = clinic.new_exam()
    clinic.cell(exam_id, "rise", "", "slow")
    before = clinic.stored(exam_id)
    for path in (f"/exams/{exam_id}", f"/exams/{exam_id}/pdf", f"/exams/{exam_id}/note", "/"):
        clinic.get(path)

    assert before == clinic.stored(exam_id)


@pytest.mark.parametrize(
    "path", ["/exams/{id}/cells", "/exams/{id}/normal", "/exams/{id}/medicines", "/exams/{id}/undo"]
)
def test_an_address_that_only_writes_says_so_when_it_is_read(clinic: Clinic, path: str) -> None:
    """Somebody may reload it; a whole page leads on."""
    answer = clinic.get(path.replace("{id}", clinic.new_exam()))

    assert 405 == answer.status_code
    assert "POST" in answer.headers["allow"]
    assert "Not possible here" in answer.text
