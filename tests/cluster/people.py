"""The people at their browsers: they send each entry as static/sheet.js does, and lose none."""

import re
import time
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import Any

import httpx2

from tests.web.clinic import HTMX, PERSON, TOKEN_HEADER, Member, id_in

# The sheet waits three seconds; nobody looks here, so less will do.
RETRY_S = 0.1
MOST_TRIES = 200


@dataclass(frozen=True)
class Acknowledged:
    """One entry that the server said is saved. made: the revision that it said it made."""

    by: str
    finding: str
    side: str
    value: str
    made: int


@dataclass
class Person:
    """Somebody at a browser that knows only the proxy."""

    member: Member
    client: httpx2.Client
    exam_id: str = ""
    revision: int = 0
    retries: int = 0
    most_tries: int = MOST_TRIES
    acknowledged: list[Acknowledged] = field(default_factory=list)

    @classmethod
    @contextmanager
    def at(cls, address: str, member: Member) -> Iterator["Person"]:
        """Sign somebody in through the page, and close the browser at the end."""
        # As a browser says from which page a form comes.
        with httpx2.Client(base_url=address, timeout=60, headers={"Origin": address}) as client:
            person = cls(member, client)
            page = client.get("/sign-in").text
            form = {
                "sign_in_name": member.sign_in_name,
                "password": member.password,
                "form_token": found(r'name="form_token" value="(\w+)"', page),
            }
            answer = client.post("/sign-in", data=form)
            assert 303 == answer.status_code, answer.text
            home = person.get("/").text
            client.headers[TOKEN_HEADER] = found(r'name="form-token" content="(\w+)"', home)
            yield person

    def get(self, path: str) -> Any:
        """Ask for a page; a browser that gets no answer asks again."""
        return self._answered("GET", path)

    def send(self, path: str, form: Mapping[str, str]) -> Any:
        """Send a form until it is answered."""
        return self._answered("POST", path, data=dict(form))

    def start_exam(self, **changed: str) -> str:
        """A new patient and their exam, open on the sheet."""
        answer = self.send("/patients/new", PERSON | changed)
        assert 303 == answer.status_code, answer.text
        self.open_exam(id_in(answer.headers["location"]))
        return self.exam_id

    def open_exam(self, exam_id: str) -> None:
        """Open the sheet of an exam."""
        self.exam_id = exam_id
        self.revision = _revision_in(self.get(f"/exams/{exam_id}").text)

    def enter(self, finding: str, side: str, value: str, *, answer_is_lost: bool = False) -> None:
        """Enter one cell and hear that it is saved, however often it has to be sent.

        answer_is_lost: it is saved and the answer does not arrive, as when a server dies then; what
        is sent again is the same to the letter.
        """
        form = {
            "finding": finding,
            "side": side,
            "value": value,
            "revision": str(self.revision),
            "seen": str(self.revision),
        }
        path = f"/exams/{self.exam_id}/cells"
        if answer_is_lost:
            assert 200 == self._answered("POST", path, data=form, headers=HTMX).status_code
            self.retries += 1
        answer = self._answered("POST", path, data=form, headers=HTMX)
        assert 200 == answer.status_code, (finding, side, value, answer.status_code, answer.text)
        self.revision = _revision_in(answer.text)
        made = int(found(r'data-made="(\d+)"', answer.text))
        self.acknowledged.append(Acknowledged(self.member.name, finding, side, value, made))

    def updates(self, station: str = "") -> str:
        """What colleagues did since; "" where it is nothing."""
        asked = {"since": str(self.revision), "state": "open", "station": station}
        answer = self._answered("GET", f"/exams/{self.exam_id}/updates", params=asked)
        assert answer.status_code in (200, 204), answer.text
        if 'id="revision"' in answer.text:
            self.revision = _revision_in(answer.text)
        text: str = answer.text
        return text

    def _answered(self, method: str, path: str, **more: Any) -> Any:
        """Send until there is an answer of the program's, as the sheet does: none, and any of 500
        and more, is sent again.
        """
        for _ in range(self.most_tries):
            try:
                answer = self.client.request(method, path, **more)
                if answer.status_code < 500:
                    return answer
            except httpx2.TransportError:
                pass
            self.retries += 1
            time.sleep(RETRY_S)
        raise AssertionError(f"{method} {path} was not answered in {self.most_tries} tries")


def found(pattern: str, text: str) -> str:
    """The first group of what is found; it has to be there."""
    match = re.search(pattern, text)
    assert match, (pattern, text[:2000])
    return match[1]


def _revision_in(text: str) -> int:
    return int(found(r'id="revision" value="(\d+)"', text))
