"""The page from which an administrator fetches the signed exams."""

import csv
import io
import zipfile
from typing import Any

import pytest

from app.report.data.files import CSV_ENCODING
from tests.web.clinic import ADMINISTRATOR, PERSON, Clinic
from tests.web.tables import audit_rows
from tests.web.test_review import settled

EXPORT = "/admin/export"


def fetched(answer: Any) -> dict[str, bytes]:
    """The files of an archive."""
    with zipfile.ZipFile(io.BytesIO(answer.content)) as archive:
        assert archive.testzip() is None
        return {name: archive.read(name) for name in archive.namelist()}


def test_an_administrator_fetches_what_is_signed_in_either_form(clinic: Clinic) -> None:
    """One archive; its name names nobody, and the audit has it before it leaves."""
    exam_id = clinic.new_exam()
    form = settled(clinic, exam_id)
    assert 303 == clinic.client.post(f"/exams/{exam_id}/sign", data=form).status_code
    page = clinic.administrator.get(EXPORT)
    answers = {
        form: clinic.administrator.client.post(EXPORT, data={"form": form, "format": "csv"})
        for form in ("removed", "identified")
    }
    files = {form: fetched(answer) for form, answer in answers.items()}
    exams = {
        form: [*csv.DictReader(io.StringIO(held["exams.csv"].decode(CSV_ENCODING)))]
        for form, held in files.items()
    }
    rows = [row for row in audit_rows(clinic.app) if row.action == "export"]

    assert "Signed exams: 1." in page.text
    assert "application/zip" == answers["removed"].headers["content-type"]
    assert "no-store" in answers["removed"].headers["cache-control"]
    assert (
        'filename="evenhand-identifiers-removed-'
        in (answers["removed"].headers["content-disposition"])
    )
    assert [exam_id] == [row["exam"] for row in exams["identified"]]
    assert [PERSON["chart_number"]] == [row["chart_number"] for row in exams["identified"]]
    told = b"".join(files["removed"].values()).decode("utf-8", "replace")
    assert 1 == len(exams["removed"])
    assert [] == [
        each
        for each in (exam_id, *(PERSON[name] for name in PERSON if name != "sex"))
        if each in told
    ]
    assert [(ADMINISTRATOR.name, "administrator")] * 2 == [(row.name, row.role) for row in rows]
    assert ["identifiers removed", "identified"] == [
        "identifiers removed" if "removed" in row.detail else "identified" for row in rows
    ]
    assert "exported signed exams" in clinic.administrator.get("/admin/audit").text


@pytest.mark.parametrize("form", [{}, {"form": "removed", "format": "../x"}, {"format": "csv"}])
def test_what_the_page_does_not_offer_is_not_made(clinic: Clinic, form: dict[str, str]) -> None:
    """Nothing leaves by a form that was typed by hand, least of all the form with names."""
    answer = clinic.administrator.client.post(EXPORT, data={"x": "y"} | form)

    assert 422 == answer.status_code
    assert [] == [row for row in audit_rows(clinic.app) if row.action == "export"]
