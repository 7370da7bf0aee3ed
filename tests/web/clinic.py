"""The program used over HTTP, as a browser uses it: with and without scripts."""

import re
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any

from fastapi import FastAPI
from starlette.testclient import TestClient

from app.exam.record import Recorded
from app.exam.vocabulary import Side
from app.store.engine import reading
from app.store.entries import EntryRecord, history
from app.store.exams import ExamRecord, exam_record

PERSON = {
    "chart_number": "HC-2041",
    "family_name": "Lindqvist",
    "given_name": "Aurelia",
    "birth_date": "1951-03-09",
    "sex": "female",
    "reason": "Slower since spring",
}
NURSE = {"role": "nurse", "recorder": "R. Okafor"}
PHYSICIAN = {"role": "physician", "recorder": "Dr I. Brandt"}
HTMX = {"HX-Request": "true"}


@dataclass
class Clinic:
    """One browser's view of the program, and the database behind it."""

    app: FastAPI
    client: TestClient

    @classmethod
    @contextmanager
    def of(cls, app: FastAPI) -> Iterator["Clinic"]:
        """Start the program and open a browser; no error of the program is raised here."""
        with TestClient(app, raise_server_exceptions=False, follow_redirects=False) as client:
            yield cls(app, client)

    def other_browser(self, **recorder: str) -> "Clinic":
        """A second browser on the same running program."""
        other = Clinic(
            self.app,
            TestClient(self.app, raise_server_exceptions=False, follow_redirects=False),
        )
        other.client.cookies.set("recording-as", f"{recorder['role']}:{recorder['recorder']}")
        return other

    def new_patient(self, **changed: str) -> Any:
        """Fill the form for a new patient."""
        return self.client.post("/patients/new", data=PERSON | PHYSICIAN | changed)

    def new_exam(self, **changed: str) -> str:
        """A new patient with an exam; its id."""
        answer = self.new_patient(**changed)
        assert 303 == answer.status_code, answer.text
        return id_in(answer.headers["location"])

    def get(self, path: str) -> Any:
        """Ask for a page."""
        return self.client.get(path)

    def cell(self, exam_id: str, finding: str, side: str, value: str, **more: Any) -> Any:
        """Enter one cell as the sheet's script does."""
        revision = str(more.pop("revision", self.stored(exam_id).revision))
        form = {"finding": finding, "side": side, "value": value, "revision": revision} | more
        return self.client.post(f"/exams/{exam_id}/cells", data=form, headers=HTMX)

    def sheet(self, exam_id: str, fields: Mapping[str, str], **more: Any) -> Any:
        """Save the sheet as a browser without scripts does."""
        revision = str(more.pop("revision", self.stored(exam_id).revision))
        return self.client.post(f"/exams/{exam_id}", data={"revision": revision} | dict(fields))

    def stored(self, exam_id: str) -> ExamRecord:
        """The exam as the database has it."""
        with reading(self.app.state.engine) as session:
            return exam_record(session, exam_id)

    def value(self, exam_id: str, finding: str, side: str = "") -> Recorded | None:
        """What stands in one cell."""
        return self.stored(exam_id).exam.cells.get((finding, Side(side) if side else None))

    def entries(self, exam_id: str) -> list[EntryRecord]:
        """Every entry of the exam."""
        with reading(self.app.state.engine) as session:
            return history(session, exam_id)


def id_in(path: str) -> str:
    """The id in an address."""
    found = re.search(r"/(?:exams|patients)/([0-9a-f]{32})", path)
    assert found, path
    return found[1]
