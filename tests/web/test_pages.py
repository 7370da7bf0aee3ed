"""Every address answers a whole page with the same frame, the same guards and nothing of others."""

import dataclasses
import json
import re
from collections.abc import Iterator
from html import unescape
from pathlib import Path

import pytest
from fastapi import FastAPI
from fastapi.routing import APIRoute
from jinja2 import Environment, FileSystemLoader, nodes

from app.assess.words import DISCLAIMER
from app.main import create_app
from app.settings import ROOT, Settings
from app.web import (
    account_pages,
    compare_pages,
    pages,
    registry_pages,
    review_pages,
    verify,
    worklist_pages,
)
from app.web.guard import CONTENT_SECURITY_POLICY
from app.web.routers import ROUTERS
from tests.web.clinic import HTMX, PHYSICIAN, Clinic
from tests.web.test_knowledge_pages import LISTS

PAGE_OF = {
    "worklist.html": worklist_pages.WorklistPage,
    "worklist_updates.html": worklist_pages.WorklistUpdatesPage,
    "patient_new.html": pages.NewPatientPage,
    "patient.html": pages.PatientPage,
    "compare.html": compare_pages.ComparePage,
    "course.html": compare_pages.CoursePage,
    "exam.html": pages.ExamPage,
    "saved.html": pages.SavedPage,
    "updates.html": pages.UpdatesPage,
    "note.html": pages.NotePage,
    "error.html": pages.ErrorPage,
    "sign_in.html": account_pages.SignInPage,
    "locked.html": account_pages.LockedPage,
    "first.html": account_pages.FirstPage,
    "invited.html": account_pages.InvitedPage,
    "me.html": account_pages.OwnAccountPage,
    "second_factor.html": account_pages.SecondFactorPage,
    "review.html": review_pages.ReviewPage,
    "review_saved.html": review_pages.ReviewPage,
    "signed.html": review_pages.SignedPage,
    "amend.html": review_pages.AmendPage,
    "provider.html": account_pages.ProviderPage,
    "provider_refused.html": account_pages.ProviderRefusedPage,
    "verify.html": verify.VerifyFilesPage,
    "registry.html": registry_pages.RegistryPage,
}
PARTS_OF = {
    "exam.html": ("base.html", "_faults.html", "_panel.html"),
    "saved.html": ("_panel.html",),
    "updates.html": (),
    "worklist_updates.html": (),
    "review_saved.html": (),
}


@pytest.fixture
def exam_id(clinic: Clinic) -> str:
    """A new exam."""
    return clinic.new_exam()


def every_page(clinic: Clinic, exam_id: str) -> list[str]:
    """Every address that answers HTML."""
    patient_id = clinic.stored(exam_id).patient.id
    return [
        "/", "/patients/new", f"/patients/{patient_id}", f"/exams/{exam_id}",
        f"/exams/{exam_id}?part=nurse", f"/exams/{exam_id}/note", f"/exams/{exam_id}/review",
        f"/patients/{patient_id}/compare", f"/patients/{patient_id}/course", "/me", "/verify",
        "/registry",
    ]  # fmt: skip


def test_every_address_answers_a_whole_page(clinic: Clinic, exam_id: str) -> None:
    """Also to htmx: the back button asks that way."""
    for path in every_page(clinic, exam_id):
        for headers in ({}, HTMX, HTMX | {"HX-History-Restore-Request": "true"}):
            answer = clinic.client.get(path, headers=headers)

            assert 200 == answer.status_code, path
            assert answer.text.startswith("<!DOCTYPE html>"), path
            assert answer.text.rstrip().endswith("</html>"), path
            assert DISCLAIMER in answer.text, path


def test_the_pages_of_this_list_are_all_there_are() -> None:
    """A new page must come into the tests above and below."""
    routes = {
        route.path
        for router in ROUTERS
        for route in router.routes
        if isinstance(route, APIRoute) and "GET" in (route.methods or ())
    }

    assert {
        "/", "/updates", "/patients/new", "/patients/{patient_id}",
        "/patients/{patient_id}/compare", "/patients/{patient_id}/course", "/exams/{exam_id}",
        "/exams/{exam_id}/note", "/exams/{exam_id}/leaflet", "/exams/{exam_id}/pdf",
        "/exams/{exam_id}/updates",
        "/exams/{exam_id}/review", "/exams/{exam_id}/amend",
        "/exams/{exam_id}/documents/{number}", "/exams/{exam_id}/documents/{number}/{name}",
        "/exams/{exam_id}/fhir", "/exams/{exam_id}/QuestionnaireResponse",
        "/fhir/Questionnaire", "/api/cds-services", "/verify", "/registry",
    } == routes  # fmt: skip


def test_every_answer_carries_the_guards(clinic: Clinic, exam_id: str) -> None:
    """Errors, files and redirects too."""
    got = [
        *map(clinic.get, every_page(clinic, exam_id)),
        clinic.get(f"/exams/{exam_id}/pdf"),
        clinic.get("/nowhere"),
        clinic.get("/static/site.css"),
        clinic.get("/static/nothing.css"),
        clinic.client.delete("/"),
        clinic.client.post("/", content=b"x" * 300_000),
        clinic.new_patient(chart_number="HC-7"),
        clinic.client.post("/api/assess", json={"findings": {"nothing": 1}}),
    ]
    assert {200, 303, 404, 405, 413, 422} == {answer.status_code for answer in got}
    for answer in got:
        assert CONTENT_SECURITY_POLICY == answer.headers["content-security-policy"]
        assert "nosniff" == answer.headers["x-content-type-options"]
        assert "same-origin" == answer.headers["referrer-policy"]
        assert "HX-Request" in answer.headers["vary"]
        is_file = answer.request.url.path.startswith("/static/")
        assert ("no-cache" if is_file else "no-store") == answer.headers["cache-control"]


def test_the_policy_allows_this_program_and_nothing_else() -> None:
    """Pinned, because one word more would open a door."""
    expected = (
        "default-src 'self'; script-src 'self'; style-src 'self'; object-src 'none'; "
        "base-uri 'none'; frame-ancestors 'none'; form-action 'self'"
    )

    assert expected == CONTENT_SECURITY_POLICY


def test_htmx_is_held_short(clinic: Clinic, exam_id: str) -> None:
    """No eval, no inline style, no copy of a page, a time limit; 409 and 422 are swapped in."""
    found = re.search(
        r"name=\"htmx-config\"\s+content='([^']+)'", clinic.get(f"/exams/{exam_id}").text
    )
    assert found

    assert {
        "allowEval": False,
        "allowScriptTags": False,
        "includeIndicatorStyles": False,
        "historyEnabled": False,
        "historyCacheSize": 0,
        "historyRestoreAsHxRequest": False,
        "selfRequestsOnly": True,
        "timeout": 10000,
        "defaultSettleDelay": 0,
        "responseHandling": [
            {"code": "204", "swap": False},
            {"code": "[23]..", "swap": True},
            {"code": "409|422", "swap": True},
            {"code": ".*", "swap": False, "error": True},
        ],
    } == json.loads(found[1])


def test_no_template_holds_a_style_or_a_script_of_its_own() -> None:
    """The policy would refuse it, and only in the browser."""
    for file in (ROOT / "templates").glob("*.html"):
        text = file.read_text()

        assert not re.search(
            r"<style|\sstyle=|\son\w+=|hx-on|javascript:|<script(?! src=)", text
        ), file


@pytest.mark.usefixtures("without_accounts")
def test_every_page_says_that_it_is_a_demonstration(settings: Settings, tmp_path: Path) -> None:
    """Only where it is one."""
    with Clinic.of(create_app(settings.model_copy(update={"demo": True}))) as demo:
        exam_id = demo.new_exam()
        for path in [*every_page(demo, exam_id), *LISTS, "/nowhere"]:
            assert "Every person here is invented" in demo.get(path).text, path
    other = {"database_url": f"sqlite:///{tmp_path / 'earnest.sqlite3'}"}
    with Clinic.of(create_app(settings.model_copy(update=other))) as earnest:
        assert "invented" not in earnest.get("/").text


def test_no_identifier_of_a_patient_stands_in_an_address(clinic: Clinic, exam_id: str) -> None:
    """Addresses end up in logs, histories and bookmarks."""
    found = clinic.client.post("/", data={"search": "lindq"})
    hrefs = [
        href
        for text in [found.text, *(clinic.get(path).text for path in every_page(clinic, exam_id))]
        for href in re.findall(r'(?:href|action|hx-post)="([^"]+)"', text)
    ]

    assert f"/patients/{clinic.stored(exam_id).patient.id}" in hrefs
    for secret in ("lindq", "aurelia", "2041", "1951"):
        assert [] == [href for href in hrefs if secret in href.lower()]


def test_the_schema_and_its_page_are_off(clinic: Clinic) -> None:
    """They are for nobody who uses the program."""
    for path in ("/docs", "/redoc", "/openapi.json"):
        assert 404 == clinic.get(path).status_code


def test_what_a_person_typed_is_never_markup(clinic: Clinic) -> None:
    """Through every text field and back onto every page."""
    evil = "<script>alert(1)</script>'\"><img src=x onerror=alert(2)>"
    exam_id = clinic.new_exam(
        family_name=evil, given_name=evil, reason=evil, chart_number="<b>9</b>"
    )
    clinic.cell(exam_id, "rise", "", "untestable", why=evil)
    clinic.sheet(exam_id, {"medicines": evil})
    texts = [clinic.get(path).text for path in every_page(clinic, exam_id)]
    texts.append(clinic.client.post("/", data={"search": evil}).text)
    texts.append(clinic.cell(exam_id, "base", "", "wide").text)

    for text in texts:
        assert "<script>alert" not in text
        assert "<img" not in text
        assert "<b>9" not in text
    assert any(evil in unescape(text) for text in texts)


def test_every_template_reads_only_what_its_page_holds() -> None:
    """A misspelt name fails here and not in front of a patient."""
    environment = Environment(loader=FileSystemLoader(ROOT / "templates"), autoescape=True)
    templates = {file.name for file in (ROOT / "templates").glob("[!_]*.html")} - {"base.html"}
    assert templates == set(PAGE_OF)
    for name, page in PAGE_OF.items():
        held = {field.name for field in dataclasses.fields(page)}
        held |= {each for each in dir(page) if isinstance(getattr(page, each, None), property)}
        for part in (name, *PARTS_OF.get(name, ("base.html", "_faults.html"))):
            read = set(names_read(environment, ROOT / "templates" / part, "page"))

            assert set() == read - held, (part, page)


def names_read(environment: Environment, file: Path, variable: str) -> Iterator[str]:
    """The attributes that a template reads of one variable."""
    for node in environment.parse(file.read_text()).find_all(nodes.Getattr):
        if isinstance(node.node, nodes.Name) and node.node.name == variable:
            yield node.attr


def test_the_pdf_is_inline_and_its_name_names_nobody(clinic: Clinic, exam_id: str) -> None:
    """A file name is seen by many; it says that this is a draft."""
    answer = clinic.get(f"/exams/{exam_id}/pdf")

    assert "application/pdf" == answer.headers["content-type"]
    assert (
        f'inline; filename="evenhand-exam-{exam_id[:8]}-r0-DRAFT.pdf"'
        == (answer.headers["content-disposition"])
    )
    assert "no-store" == answer.headers["cache-control"]


def test_the_note_is_the_text_that_the_report_writes(clinic: Clinic, exam_id: str) -> None:
    """Shown as it is, so that marking and copying it gives the same."""
    clinic.cell(exam_id, "rest_tremor_hand", "right", "2")
    text = unescape(clinic.get(f"/exams/{exam_id}/note").text)

    assert "DRAFT" in text
    assert "LINDQVIST, Aurelia" in text
    assert "Hand tremor at rest" in text


def test_the_worklist_shows_the_newest_exam_first_and_how_far_it_is(clinic: Clinic) -> None:
    """Found again without a search."""
    first = clinic.new_exam()
    second = clinic.new_exam(chart_number="HC-2", family_name="Osei")
    clinic.cell(first, "rise", "", "slow")
    text = clinic.get("/").text

    assert text.index(f"/exams/{second}") < text.index(f"/exams/{first}")
    assert f"1 entry, the last by {PHYSICIAN.name}" in text
    assert "nothing recorded yet" in text


def test_a_patient_is_found_and_another_exam_started(clinic: Clinic) -> None:
    """The name stands in the body of the request alone."""
    exam_id = clinic.new_exam()
    patient_id = clinic.stored(exam_id).patient.id
    found = clinic.client.post("/", data={"search": "lindqvist"})
    assert f'href="/patients/{patient_id}"' in found.text
    assert "Nobody found" in clinic.client.post("/", data={"search": "zzz"}).text

    started = clinic.client.post(f"/patients/{patient_id}", data={"reason": "Again"})
    assert 303 == started.status_code
    assert "Again" in clinic.get(f"/patients/{patient_id}").text


def test_an_unforeseen_failure_is_a_whole_page_with_its_guards(app: FastAPI) -> None:
    """And tells nothing of the inside."""

    @app.get("/broken")
    def broken() -> None:
        raise RuntimeError("secret detail")

    with Clinic.of(app) as clinic:
        answer = clinic.get("/broken")

        assert 500 == answer.status_code
        assert "Something went wrong here" in answer.text
        assert "secret" not in answer.text
        assert CONTENT_SECURITY_POLICY == answer.headers["content-security-policy"]
