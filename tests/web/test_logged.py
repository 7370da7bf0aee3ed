"""One server as it runs in a clinic: what it says on its console, and to requests that are none.

The log tells what happened to requests, and nothing about a patient.
"""

import json
import logging
import os
import socket
import sys
from collections.abc import Iterator
from contextlib import ExitStack, suppress
from typing import Any, cast

import httpx2
import pytest
from sqlalchemy.exc import IntegrityError

from app.store.engine import make_engine
from app.web.logged import JSON, TEXT, Lines
from tests.cluster.machines import AppServer, free_port
from tests.cluster.people import Person
from tests.evidence.searched import Searched, known_words, named_in
from tests.web.clinic import NURSE, PASSWORD, PERSON, PHYSICIAN, Clinic, add_members
from tests.web.test_review import settled

TYPED = "Left hand shakes since the funeral"
WRONG_PASSWORD = "seven otters under the bridge"


@pytest.fixture(scope="module")
def server(tmp_path_factory: pytest.TempPathFactory) -> Iterator[AppServer]:
    """A server with the invented clinic; its console is standard output and error in one."""
    folder = tmp_path_factory.mktemp("demonstration")
    file, log = folder / "evenhand.sqlite3", folder / "console.log"
    given = {
        "EVENHAND_DATABASE_URL": f"sqlite:///{file}", "EVENHAND_DEMO": "true",
        "EVENHAND_SEAL_FOLDER": os.environ["EVENHAND_SEAL_FOLDER"], "EVENHAND_LOG": "json",
        "EVENHAND_PLAIN_HTTP": "true", "EVENHAND_WORKERS": "1",
    }  # fmt: skip
    server = AppServer("app", free_port(), os.environ | given, log)
    server.start()
    try:
        server.wait_until_ready()
        engine = make_engine(f"sqlite:///{file}")
        add_members(engine)
        engine.dispose()
        yield server
    finally:
        server.stop()


def day(server: AppServer) -> list[str]:
    """Somebody looks everywhere, records, errs, signs and is refused; the ids that were used."""
    with Person.at(server.address, NURSE) as nurse:
        exam_id = nurse.start_exam()
        nurse.enter("turn_en_bloc", "", "2")
        nurse.send(f"/exams/{exam_id}/medicines", {"medicines": TYPED})
        nurse.send("/", {"search": PERSON["family_name"]})
        nurse.send("/patients/new", PERSON | {"birth_date": "yesterday"})
        nurse.send("/patients/new", PERSON)
    with Person.at(server.address, PHYSICIAN) as physician:
        physician.open_exam(exam_id)
        physician.send(f"/exams/{exam_id}/cells", {"finding": TYPED, "value": TYPED})
        for path in ("", "/review", "/pdf", "/note", "/why/parkinsonism"):
            physician.get(f"/exams/{exam_id}{path}")
        for path in (PERSON["family_name"], f"patients/{PERSON['chart_number']}", f"?name={TYPED}"):
            physician.get(f"/{path}")
        form = settled(cast(Clinic, physician), exam_id)
        physician.send(f"/exams/{exam_id}/sign", form | {"password": WRONG_PASSWORD})
        answer = physician.send(f"/exams/{exam_id}/sign", form)
        assert 303 == answer.status_code, answer.text
        physician.get("/admin/accounts")
        physician.client.headers["X-Form-Token"] = TYPED
        physician.send("/sign-out", {})
    with httpx2.Client(base_url=server.address) as nobody:
        nobody.post("/api/assess", content=json.dumps({"name": PERSON["family_name"]}))
        nobody.post("/sign-in", data={"sign_in_name": NURSE.sign_in_name, "password": PASSWORD})
        nobody.request("LINDQVIST", f"/{PERSON['family_name']}")
    return [exam_id]


def test_a_body_that_comes_slowly_holds_up_nobody(server: AppServer) -> None:
    """More senders than the server has threads, each in the middle of a form."""
    head = "POST /sign-in HTTP/1.1\r\nHost: x\r\nContent-Length: 100000\r\n\r\nsign_in_name="
    with ExitStack() as waiting:
        for _ in range(60):
            slow = waiting.enter_context(socket.create_connection(("127.0.0.1", server.port)))
            slow.sendall(head.encode())
        with httpx2.Client(base_url=server.address, timeout=60) as client:
            assert 200 == client.get("/sign-in").status_code
            assert 200 == client.get("/readyz").status_code


@pytest.mark.parametrize(
    "head",
    [
        "Content-Length: 3\r\nContent-Length: 30",
        "Content-Length: 3, 30",
        "Content-Length: -3",
        "Content-Length : 3",
        "Content-Length: 3\r\nTransfer-Encoding: xchunked",
        "Transfer-Encoding: chunked\r\nTransfer-Encoding: identity",
        "X-Folded: a\r\n b\x00c",
        "X-Long: " + "a" * 200_000,
    ],
)
def test_a_request_whose_end_is_not_clear_is_refused_and_nothing_after_it_read(
    server: AppServer, head: str
) -> None:
    """Or a proxy in front and the program could see different requests in the same bytes."""
    smuggled = "0\r\n\r\nGET /readyz HTTP/1.1\r\nHost: x\r\n\r\n"
    with socket.create_connection(("127.0.0.1", server.port), timeout=60) as sending:
        with suppress(ConnectionError):
            sending.sendall(f"POST / HTTP/1.1\r\nHost: x\r\n{head}\r\n\r\n{smuggled}".encode())
        got = b""
        with suppress(ConnectionError):
            while more := sending.recv(65536):
                got += more

    assert 1 >= got.count(b"HTTP/1.1")
    assert b"" == got or got.startswith(b"HTTP/1.1 4")


def test_a_day_of_work_leaves_no_name_and_no_number_in_the_log(server: AppServer) -> None:
    """All that a server with the invented patients writes to its console, from its start on."""
    ids = day(server)
    server.stop()
    text = server.said()
    lines = [json.loads(line) for line in text.splitlines()]
    own = {TYPED, WRONG_PASSWORD, *ids}
    words = known_words() | {word.casefold() for word in own}

    assert [] == [(line, found) for line in text.splitlines() if (found := named_in(line, words))]
    answered = [line for line in lines if line["event"] == "answered"]
    assert {"time", "level", "event", "method", "route", "request", "status", "ms"} == set(
        answered[0]
    )
    told = {(line["route"], line["status"]) for line in answered}
    assert {("/exams/{exam_id}/sign", 303), ("/exams/{exam_id}/cells", 422), ("", 404)} <= told
    assert {("/admin/accounts", 403), ("/sign-out", 403), ("/api/assess", 422)} <= told
    assert len({line["request"] for line in answered}) == len(answered)


def test_a_line_that_names_somebody_fails_the_test(searched: Searched) -> None:
    """Whoever writes it and however it is escaped; and a line of the program is one of them."""
    before, own = searched.lines, logging.getLogger("app.web.test")
    for name in (PERSON["family_name"], "Przykład", "DEMO-0003", PERSON["birth_date"].encode()):
        with pytest.raises(AssertionError, match="names somebody"), searched.searching():
            own.info("opened %s", name)
    with searched.searching():
        own.info("opened an exam")
        logging.getLogger("another").warning("no glyph for %s", PERSON["family_name"])

    assert "przykład" in known_words()
    assert before + 6 <= searched.lines
    assert [] == searched.found


def test_what_a_page_logs_is_searched(clinic: Clinic, searched: Searched) -> None:
    """In this process as at a served address."""
    before = searched.lines
    clinic.get("/")

    assert before + 1 == searched.lines


def logged(record: logging.LogRecord, style: str = JSON) -> Any:
    """The line of a record."""
    line = Lines(style).format(record)
    assert "\n" not in line
    return json.loads(line) if style == JSON else line


def record(name: str, says: str, *, fields: Any = None, error: bool = False) -> logging.LogRecord:
    """A record as a logger makes it."""
    made = logging.LogRecord(name, logging.ERROR, __file__, 7, says, (), None)
    made.exc_info = sys.exc_info() if error else None
    made.fields = fields or {}
    return made


def test_a_fault_is_told_by_class_and_place_and_never_in_its_words() -> None:
    """What a database refuses is repeated in its message, with all that was to be written."""
    try:
        try:
            raise ValueError(PERSON["family_name"])
        except ValueError as inner:
            raise IntegrityError("INSERT", {"name": PERSON["given_name"]}, inner) from inner
    except IntegrityError:
        made = record("app.web.guard", "a request failed", fields={"route": "/x"}, error=True)
        found = logged(made)
    types = [each["type"] for each in found["fault"]]

    assert ["sqlalchemy.exc.IntegrityError", "builtins.ValueError"] == types
    assert found["fault"][0]["at"][-1].startswith("web/test_logged.py:")
    assert "/x" == found["route"]
    for word in (PERSON["family_name"], PERSON["given_name"], "INSERT"):
        assert word not in json.dumps(found)
        assert word not in logged(made, TEXT)


def test_what_other_packages_say_is_told_without_their_words() -> None:
    """A package that prints, draws or asks may repeat what it was given."""
    found = logged(record("weasyprint", f"no glyph for {PERSON['family_name']}"))

    assert "weasyprint said something at test_logged:7" == found["event"]
    assert "Uvicorn running" == logged(record("uvicorn.error", "Uvicorn running"))["event"]


@pytest.mark.parametrize("style", [JSON, TEXT])
def test_nothing_that_was_sent_begins_a_line_of_its_own(style: str) -> None:
    """Or somebody could write into the log what never happened."""
    said = Lines(style).format(
        record("app", "one\nERROR two\x1b[2J", fields={"route": "a\nb\u2028"})
    )

    assert said.isascii()
    assert said.isprintable()
