"""Every write carries the token of its sign-in, and no look at a page writes anything."""

import pytest
from fastapi import FastAPI

from app.store.audit_tables import AuditRow
from app.web.form_token import PUBLIC_FORMS
from tests.web.clinic import MEMBERS, NURSE, PERSON, TOKEN_HEADER, Clinic
from tests.web.tables import addresses, audit_rows, kept

# What stands in addresses beside the ids of patients and exams.
KNOWN = {
    "category_id": "parkinsonism",
    "warning_id": "short_course",
    "sign_id": "bradykinesia",
    "rule": "parkinsonism",
    "finding": "rest_tremor_hand",
    "number": "0",
}
# A form that every route would take, were it let in.
FORM = PERSON | {
    "chart_number": "HC-9", "revision": "0", "finding": "rest_tremor_hand", "side": "right",
    "value": "1", "station": "rest", "medicines": "aspirin", "search": "Lind",
    "password": "twelve herons over the weir", "new_password": "another one, quite long",
    "again": "another one, quite long",
}  # fmt: skip


@pytest.fixture
def ids(clinic: Clinic) -> dict[str, str]:
    """A patient with an exam."""
    exam_id = clinic.new_exam()
    return KNOWN | {"exam_id": exam_id, "patient_id": clinic.stored(exam_id).patient.id}


def writes(clinic: Clinic, ids: dict[str, str]) -> list[tuple[str, str]]:
    """Every method and address that is not only read."""
    found = [each for each in addresses(clinic.app, ids) if each[0] not in ("GET", "HEAD")]
    assert len(found) >= 20
    return found


def refused(app: FastAPI, since: int) -> list[AuditRow]:
    """The refusals that were noted after so many rows."""
    return [row for row in audit_rows(app)[since:] if row.action == "refused"]


def test_a_write_without_its_token_is_refused_and_changes_nothing(
    clinic: Clinic, ids: dict[str, str]
) -> None:
    """A cookie travels with any request; the token is known to our own pages alone."""
    other = clinic.other_browser(NURSE)
    theirs, mine = other.client.headers[TOKEN_HEADER], clinic.client.headers.pop(TOKEN_HEADER)
    wrong: list[dict[str, str]] = [{"form_token": token} for token in ("", theirs, mine[:-1])]
    before = kept(clinic.app)
    for method, path in writes(clinic, ids):
        for token in ({}, *wrong):
            noted = len(audit_rows(clinic.app))
            answer = clinic.client.request(method, path, data=FORM | token)

            assert 403 == answer.status_code, (path, token)
            assert "open the page again" in answer.text
            assert 1 == len(refused(clinic.app, noted)), path
    twice = {"form_token": [mine, mine]}
    assert 403 == clinic.client.post(f"/exams/{ids['exam_id']}/cells", data=twice).status_code
    assert before == kept(clinic.app)
    assert 200 == clinic.get("/").status_code


def test_the_token_of_an_earlier_sign_in_is_worth_nothing(clinic: Clinic) -> None:
    """It ends with the sign-in that it belonged to."""
    old = clinic.client.headers[TOKEN_HEADER]
    clinic.client.post("/sign-out")
    clinic.sign_in(NURSE)

    answer = clinic.client.post("/patients/new", data=PERSON | {"form_token": old})
    assert 403 == answer.status_code


def test_a_write_by_nobody_is_refused_and_changes_nothing(
    clinic: Clinic, ids: dict[str, str]
) -> None:
    """With the page that leads on: the sign-in form."""
    nobody = clinic.other_browser(None)
    before = kept(clinic.app)
    for method, path in writes(clinic, ids):
        noted = len(audit_rows(clinic.app))
        answer = nobody.client.request(method, path, data=FORM)

        is_public = path in PUBLIC_FORMS
        assert (403 if is_public else 401) == answer.status_code, path
        assert is_public or 'action="/sign-in"' in answer.text
        assert ["Nobody"] == [row.name for row in refused(clinic.app, noted)], path
    assert before == kept(clinic.app)


def test_a_refusal_names_the_pattern_and_nothing_that_was_sent(
    clinic: Clinic, ids: dict[str, str]
) -> None:
    """An address that somebody made up may hold a name."""
    clinic.client.headers.pop(TOKEN_HEADER)
    clinic.client.post(f"/exams/{ids['exam_id']}/cells?part=Lindqvist", data=FORM)
    clinic.client.post("/Lindqvist/Aurelia", data=FORM)
    known, unknown = refused(clinic.app, 0)

    expected = '{"method":"POST","route":"/exams/{exam_id}/cells","status":403}'
    assert (expected, ids["exam_id"]) == (known.detail, known.exam_id)
    assert '{"method":"POST","route":"","status":403}' == unknown.detail
    for row in (known, unknown):
        assert "Lindqvist" not in repr(row)
        assert "Aurelia" not in repr(row)


def test_looking_at_any_page_writes_nothing(clinic: Clinic, ids: dict[str, str]) -> None:
    """A page can be opened by a link, by a reload and by a search engine."""
    paths = [path for method, path in addresses(clinic.app, ids) if method == "GET"]
    assert len(paths) >= 20
    before = kept(clinic.app)
    for member in (*MEMBERS, None):
        browser = clinic.browser_of(member) if member else clinic.other_browser(None)
        for path in paths:
            since = "?since=0" if path.endswith("/updates") else ""
            status = browser.get(path + since).status_code

            assert status in (200, 204, 303, 401, 403, 404, 405, 409), (path, status)
            assert member or status != 303, path
        assert before == kept(clinic.app), member


def test_only_what_is_public_is_shown_to_nobody(clinic: Clinic, ids: dict[str, str]) -> None:
    """Everything that is not named here needs a sign-in."""
    nobody = clinic.other_browser(None)
    shown = {
        path.partition("?")[0]
        for method, path in addresses(clinic.app, ids)
        if method == "GET" and nobody.get(path).status_code == 200
    }
    public = {"/about", "/paper", "/healthz", "/readyz", *PUBLIC_FORMS}

    assert public == {path for path in shown if not path.startswith("/knowledge")}
    for path in ("/static/site.css", "/static/lock.js"):
        assert 200 == nobody.get(path).status_code


def test_the_api_needs_no_token_reads_no_cookie_and_keeps_nothing(clinic: Clinic) -> None:
    """It is for programs; what it is given goes back to them."""
    before, noted = kept(clinic.app), len(audit_rows(clinic.app))
    nobody = clinic.other_browser(None)
    answer = nobody.client.post("/api/assess", json={"findings": {"rise": "slow"}})

    assert 200 == answer.status_code
    assert 422 == nobody.client.post("/api/assess", json={"findings": 1}).status_code
    assert (before, noted) == (kept(clinic.app), len(audit_rows(clinic.app)))
