"""Decision support for other programs over HTTP: off, guarded, and the same reasoning."""

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from starlette.testclient import TestClient

from app.exam.reading import read_exam
from app.main import create_app
from app.report.fhir.response import response
from app.settings import Settings

TOKEN = "a token that is long enough to be one"
CALLS = "/api/cds-services"
SERVICE = f"{CALLS}/motor-exam"
CARRIED = {"authorization": f"Bearer {TOKEN}"}
SUDDEN = {"findings": {"drift": {"right": 2}, "hx_onset": "sudden", "hx_years": 0}}


def serving(folder: Path, **settings: Any) -> Iterator[TestClient]:
    """A program under these settings."""
    app = create_app(
        Settings(_env_file=None, database_url=f"sqlite:///{folder / 'e.sqlite3'}", **settings)
    )
    with TestClient(app, base_url="https://testserver") as client:
        yield client


@pytest.fixture(scope="module")
def on(tmp_path_factory: pytest.TempPathFactory) -> Iterator[TestClient]:
    """With a token and the description turned on."""
    yield from serving(tmp_path_factory.mktemp("on"), api_token=TOKEN, api_docs=True)


@pytest.fixture(scope="module")
def off(tmp_path_factory: pytest.TempPathFactory) -> Iterator[TestClient]:
    """As it is installed."""
    yield from serving(tmp_path_factory.mktemp("off"))


def a_call(exam: object = None, **changed: Any) -> dict[str, Any]:
    """A call with an exam, or with something else in its place."""
    answers = json.loads(response(read_exam(SUDDEN))) if exam is None else exam
    return {
        "hook": "patient-view",
        "hookInstance": "0b2f3f0e-6d0f-4c58-9a53-9a0c4dbb7a11",
        "context": {"userId": "Practitioner/1", "patientId": "1"},
        "prefetch": {"exam": answers},
    } | changed


def test_it_is_off_until_the_clinic_turns_it_on(off: TestClient) -> None:
    """No token, no service, and nothing that says there could be one."""
    assert 404 == off.get(CALLS, headers=CARRIED).status_code
    assert 404 == off.post(SERVICE, json=a_call(), headers=CARRIED).status_code
    assert 404 == off.get("/api/openapi.json").status_code


@pytest.mark.parametrize("sent", [{}, {"authorization": "Bearer x"}, {"authorization": TOKEN}])
def test_without_its_token_nothing_is_answered(on: TestClient, sent: dict[str, str]) -> None:
    """Neither the list nor the service."""
    for answer in (on.get(CALLS, headers=sent), on.post(SERVICE, json=a_call(), headers=sent)):
        assert (401, "Bearer") == (answer.status_code, answer.headers["www-authenticate"])
        assert {"error": ["The call carries no valid token."]} == answer.json()


# CDS Hooks 2.0, "Discovery": hook, id and description are required; prefetch is a map of queries.
def test_the_list_says_what_to_send(on: TestClient) -> None:
    """Another program needs nothing else to call."""
    (service,) = on.get(CALLS, headers=CARRIED).json()["services"]

    assert ("patient-view", "motor-exam") == (service["hook"], service["id"])
    assert service["description"]
    assert "{{context.patientId}}" in service["prefetch"]["exam"]


def test_an_exam_that_came_with_the_call_is_answered_in_cards(on: TestClient) -> None:
    """As the answers themselves, or as the Bundle that a search gives."""
    answers = json.loads(response(read_exam(SUDDEN)))
    bundle = {"resourceType": "Bundle", "type": "searchset", "entry": [{"resource": answers}]}
    alone = on.post(SERVICE, json=a_call(), headers=CARRIED)
    found = on.post(SERVICE, json=a_call(bundle), headers=CARRIED)

    assert 200 == alone.status_code
    assert "critical" == alone.json()["cards"][0]["indicator"]
    assert alone.json() == found.json()


@pytest.mark.parametrize(
    ("call", "status", "says"),
    [
        (a_call(prefetch=None), 412, "prefetch.exam: the answers to the exam did not come"),
        (a_call({"resourceType": "Bundle", "entry": []}), 412, "did not come"),
        (a_call(hook="order-sign"), 422, "hook: expected patient-view"),
        (a_call(hookInstance="7"), 422, "hookInstance: not a UUID"),
        (a_call(context=None), 422, "context: not an object"),
        (a_call({"resourceType": "Patient"}), 422, "not a QuestionnaireResponse"),
        ([], 422, "call: not an object"),
    ],
)
def test_a_bad_call_is_refused_with_its_place(
    on: TestClient, call: object, status: int, says: str
) -> None:
    """Nothing is concluded from half a call."""
    answer = on.post(SERVICE, json=call, headers=CARRIED)

    assert status == answer.status_code
    assert says in " ".join(answer.json()["error"])


def test_text_that_is_no_json_and_other_services_are_refused(on: TestClient) -> None:
    """Each in a line."""
    assert 422 == on.post(SERVICE, content=b"{", headers=CARRIED).status_code
    assert 404 == on.post(f"{CALLS}/other", json=a_call(), headers=CARRIED).status_code


def test_the_description_covers_the_api_and_no_page(on: TestClient) -> None:
    """Its examples are real: each is accepted by the address that it stands at."""
    described = on.get("/api/openapi.json").json()

    assert {"/api/assess", CALLS, f"{CALLS}/{{service}}"} == set(described["paths"])
    for path, at in described["paths"].items():
        if "post" in at:
            example = at["post"]["requestBody"]["content"]["application/json"]["example"]
            here = path.format(service="motor-exam")
            assert 200 == on.post(here, json=example, headers=CARRIED).status_code, path
