"""What every answer carries, whatever was asked, by whom, and however it went."""

from collections.abc import Iterator
from typing import Any

import pytest
from fastapi import FastAPI

from app.main import create_app
from app.settings import Settings
from app.store.refusals import Away, Busy
from app.web.guard import CONTENT_SECURITY_POLICY, HSTS
from tests.web.clinic import ADMINISTRATOR, HERE, Clinic
from tests.web.tables import addresses

SECRET = "Lindqvist, 1951-03-09"


def check(answer: Any, place: object) -> None:
    """The guards are there, once each, and nothing that opens a door."""
    headers = answer.headers
    is_file = answer.request.url.path.startswith("/static/")
    expected = {
        "content-security-policy": CONTENT_SECURITY_POLICY,
        "x-content-type-options": "nosniff",
        "referrer-policy": "same-origin",
        "cross-origin-opener-policy": "same-origin",
        "cross-origin-resource-policy": "same-origin",
        "strict-transport-security": HSTS,
        "cache-control": "no-cache" if is_file else "no-store",
    }

    assert expected == {name: headers.get(name) for name in expected}, place
    assert 16 == len(headers["x-request-id"]), place
    assert "unsafe" not in headers["content-security-policy"]
    assert not {"access-control-allow-origin", "server", "x-powered-by"} & set(headers), place
    if answer.content and answer.headers["content-type"].startswith("text/"):
        assert "charset=utf-8" in headers["content-type"], place
    for cookie in headers.get_list("set-cookie"):
        assert cookie.startswith("__Host-"), place
        for part in ("Secure", "HttpOnly", "Path=/", "SameSite="):
            assert part in cookie, (place, cookie)
        assert "Domain=" not in cookie


@pytest.fixture
def broken(settings: Settings) -> FastAPI:
    """The program with an address for each way in which it can fail by itself."""
    app = create_app(settings)

    @app.get("/broken/fault")
    def fault() -> None:
        raise RuntimeError(SECRET)

    @app.get("/broken/busy")
    def busy() -> None:
        raise Busy("the database is busy")

    @app.get("/broken/away")
    def away() -> None:
        raise Away("the database is away", is_unsure=True)

    return app


def asked(clinic: Clinic) -> Iterator[tuple[str, Any]]:
    """Every address of the program, read and written, and those beside it."""
    exam_id = clinic.new_exam()
    ids = {"exam_id": exam_id, "patient_id": clinic.stored(exam_id).patient.id}
    nobody, administrator = clinic.other_browser(None), clinic.browser_of(ADMINISTRATOR)
    for method, path in addresses(clinic.app, ids):
        yield f"{method} {path}", clinic.client.request(method, path)
        # One answer of each kind will do: a PDF takes a second, and a refused write is noted.
        if method == "GET" and not path.endswith(("/pdf", "/leaflet", "/fhir", "/paper")):
            yield f"nobody {path}", nobody.get(path)
        if path.startswith(("/admin", "/emergency")):
            yield f"administrator {method} {path}", administrator.client.request(method, path)
    for method, path in (("GET", "/api/cds-services"), ("POST", "/api/assess")):
        yield path, clinic.client.request(method, path, content=b"{")
    for path in ("/nowhere", "/static/site.css", "/static/none.css", "/docs", "/openapi.json"):
        yield path, clinic.get(path)
    for path in ("/broken/fault", "/broken/busy", "/broken/away"):
        yield path, clinic.get(path)
    for method in ("TRACE", "OPTIONS", "PUT", "DELETE", "HEAD"):
        yield method, clinic.client.request(method, "/")
    posted = clinic.client.post
    yield "too large", posted("/", content=b"x" * 300_000)
    yield "another site", posted("/", headers={"Origin": "https://elsewhere.example"})
    yield "no form", posted("/patients/new", content=b"{}", headers={"content-type": "text/plain"})
    yield "sign out", posted("/sign-out")


def test_every_answer_of_every_address_carries_the_guards(broken: FastAPI) -> None:
    """Pages, files, PDFs, redirects and each kind of error, for whoever asks."""
    statuses = set()
    with Clinic.of(broken) as clinic:
        for place, answer in asked(clinic):
            check(answer, place)
            statuses.add(answer.status_code)

            assert SECRET not in answer.text
            assert "Traceback" not in answer.text

    assert {200, 303, 403, 404, 405, 413, 415, 422, 500, 503} <= statuses


def test_no_trick_with_a_path_leads_anywhere(clinic: Clinic) -> None:
    """Only the files below static/ are served, none is listed, and nothing sends one elsewhere."""
    for path in (
        "/static/../app/main.py", "/static/..%2fapp%2fmain.py", "/static/%2e%2e/app/main.py",
        "/static/..%5capp%5cmain.py", "/static//etc/passwd", "/static/%2fetc%2fpasswd",
        "/static/site.css%00.html", "/static/", "/static", "/static/vendor/", "//elsewhere.example",
        "/%00", "/exams/..%2f..%2fetc", "/%ff%fe", "/exams/" + "a" * 5000, "/.git/HEAD", "/.env",
    ):  # fmt: skip
        answer = clinic.client.request("GET", HERE + path)
        check(answer, path)

        assert answer.status_code in (307, 404, 405), (path, answer.status_code)
        assert "def " not in answer.text
        assert "root:" not in answer.text
        if "location" in answer.headers:
            assert answer.headers["location"].startswith((HERE, "/")), path
            assert not answer.headers["location"].startswith("//")
