"""The FHIR document and the answers over HTTP: who may, what is noted, what was signed."""

import base64
import json
from datetime import UTC, datetime
from typing import Any

from app.report.fhir.response import exam_from_response
from app.store.engine import reading
from app.web.fhir import document_of
from tests.report.fhir_rules import cell_of, faults_of, narratives, of_type
from tests.web.clinic import Clinic
from tests.web.tables import audit_rows
from tests.web.test_clinic_words import CORD, NOW, STEP, WARNING, set_words
from tests.web.test_review import TREMOR, amendment, examined, send, settled


def fetched(clinic: Clinic, exam_id: str, what: str = "fhir") -> Any:
    """One of the documents of an exam."""
    answer = clinic.get(f"/exams/{exam_id}/{what}")
    assert 200 == answer.status_code
    assert "application/fhir+json" == answer.headers["content-type"]
    return answer


def told_by_command(clinic: Clinic, exam_id: str) -> bytes:
    """The document as a command makes it, which knows nobody."""
    with reading(clinic.app.state.engine) as session:
        site = clinic.app.state.templates.site
        return document_of(session, exam_id, site, now=datetime.now(UTC))


def test_a_draft_says_so_and_who_recorded_what(clinic: Clinic) -> None:
    """By each of two people their part; the page of the exam leads to it."""
    exam_id = examined(clinic, *TREMOR)
    clinic.nurse.cell(exam_id, "turn_en_bloc", "", "1")
    answer = fetched(clinic, exam_id)
    (composition,) = of_type(answer.content, "Composition")
    roles = {f"urn:uuid:{it['id']}": it for it in of_type(answer.content, "PractitionerRole")}
    by = {
        cell_of(each)[0]: roles[each["performer"][0]["reference"]]["code"][0]["text"]
        for each in of_type(answer.content, "Observation")
        if "performer" in each
    }

    assert [] == faults_of(answer.content)
    assert "preliminary" == composition["status"]
    assert [] == of_type(answer.content, "DocumentReference")
    assert ("nurse", "physician") == (by["turn_en_bloc"], by["finger_tap_slow"])
    assert "DRAFT.fhir.json" in answer.headers["content-disposition"]
    assert "Lindqvist" not in answer.headers["content-disposition"]
    assert f'href="/exams/{exam_id}/fhir"' in clinic.get(f"/exams/{exam_id}").text
    assert [] == faults_of(told_by_command(clinic, exam_id))


def test_a_signed_document_holds_the_page_and_never_changes(clinic: Clinic) -> None:
    """The stored bytes; the same document whatever the clinic sets later; then an addendum."""
    set_words(clinic, **{WARNING: NOW, STEP: "Ambulance desk 7070"})
    exam_id = examined(clinic, *TREMOR, *CORD)
    assert 303 == send(clinic, exam_id, settled(clinic, exam_id)).status_code
    first = fetched(clinic, exam_id).content
    set_words(clinic, name="Dale Clinic", **{WARNING: "Ring 6060", STEP: ""})

    assert first == fetched(clinic, exam_id).content == told_by_command(clinic, exam_id)
    assert [] == faults_of(first)
    (page,) = of_type(first, "DocumentReference")
    stored = clinic.get(f"/exams/{exam_id}/documents/0").content
    assert base64.b64decode(page["content"][0]["attachment"]["data"]) == stored
    assert "Ring <b>5050</b> / then book the scanner" in narratives(first)
    assert "Dale Clinic" not in first.decode()
    (composition,) = of_type(first, "Composition")
    assert ("final", "legal") == (composition["status"], composition["attester"][0]["mode"])
    assert f'href="/exams/{exam_id}/fhir"' in clinic.get(f"/exams/{exam_id}").text

    assert 303 == send(clinic, exam_id, amendment(clinic, exam_id), "amend").status_code
    second = fetched(clinic, exam_id).content
    (composition,) = of_type(second, "Composition")
    assert [] == faults_of(second)
    assert "amended" == composition["status"]
    assert json.loads(first)["identifier"] == composition["relatesTo"][0]["targetIdentifier"]
    assert "Bloods are normal." in narratives(second)


def test_the_answers_are_the_exam(clinic: Clinic) -> None:
    """As it stands, and the questions for whoever wants to ask them."""
    exam_id = examined(clinic, *TREMOR)
    answer = fetched(clinic, exam_id, "QuestionnaireResponse")
    asked = clinic.nurse.get("/fhir/Questionnaire")

    assert clinic.stored(exam_id).exam == exam_from_response(answer.content)
    assert "in-progress" == answer.json()["status"]
    assert asked.json()["url"] == answer.json()["questionnaire"]


def test_who_opens_no_chart_gets_no_document(clinic: Clinic) -> None:
    """And whoever gets one is noted."""
    exam_id = clinic.new_exam()
    for what in ("fhir", "QuestionnaireResponse"):
        path = f"/exams/{exam_id}/{what}"
        assert 403 == clinic.administrator.get(path).status_code
        assert 401 == clinic.other_browser(None).get(path).status_code
        assert 200 == clinic.nurse.get(path).status_code
    assert 401 == clinic.other_browser(None).get("/fhir/Questionnaire").status_code
    assert 404 == clinic.get(f"/exams/{'0' * 32}/fhir").status_code

    noted = [(row.name, row.exam_id) for row in audit_rows(clinic.app) if row.action == "fhir"]
    assert [("R. Okafor", exam_id)] * 2 == noted
