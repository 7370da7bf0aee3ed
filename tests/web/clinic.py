"""The program used over HTTP, as a browser uses it: with and without scripts."""

import re
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import UTC, datetime
from functools import cache
from typing import Any

from fastapi import FastAPI
from sqlalchemy import Engine
from sqlmodel import Session
from starlette.testclient import TestClient

from app.exam.record import Recorded
from app.exam.vocabulary import Side
from app.people.passwords import hash_password
from app.people.tokens import form_token, hash_token, new_token
from app.store.account_changes import add_account
from app.store.accounts import Account, account_named
from app.store.actor import PROGRAM, Actor
from app.store.engine import reading, writing
from app.store.entries import EntryRecord, history
from app.store.exams import ExamRecord, exam_record
from app.store.proofs import set_password
from app.store.sign_ins import start_sign_in

PERSON = {
    "chart_number": "HC-2041",
    "family_name": "Lindqvist",
    "given_name": "Aurelia",
    "birth_date": "1951-03-09",
    "sex": "female",
    "reason": "Slower since spring",
}
HTMX = {"HX-Request": "true"}
HERE = "https://testserver"
COOKIE = "__Host-evenhand"
FORM_COOKIE = "__Host-evenhand-form"
TOKEN_HEADER = "X-Form-Token"
PASSWORD = "twelve herons over the weir"


@dataclass(frozen=True)
class Member:
    """Somebody who works in the clinic; all whom a test adds have the same password."""

    sign_in_name: str
    name: str
    role: str
    password: str = field(default=PASSWORD, repr=False)


NURSE = Member("r.okafor", "R. Okafor", "nurse")
PHYSICIAN = Member("i.brandt", "Dr I. Brandt", "physician")
COLLEAGUE = Member("a.reyes", "Dr A. Reyes", "physician")
ADMINISTRATOR = Member("l.marsh", "L. Marsh", "administrator")
MEMBERS = (NURSE, PHYSICIAN, COLLEAGUE, ADMINISTRATOR)


def add_members(engine: Engine) -> None:
    """Give everybody an account with the password, where they have none."""
    now = datetime.now(UTC)
    with writing(engine) as session:
        if account_named(session, NURSE.sign_in_name):
            return
        for each in MEMBERS:
            add_member(session, each, now)


def add_member(session: Session, member: Member, now: datetime) -> Account:
    """Give one an account with the password."""
    made = add_account(
        session, member.sign_in_name, member.name, member.role, actor=PROGRAM, now=now
    )
    set_password(session, made.id, _hashed(), actor=PROGRAM, now=now)
    return made


def new_sign_in(engine: Engine, member: Member) -> str:
    """Sign somebody in without the page; the token that their browser has to hold."""
    token, now = new_token(), datetime.now(UTC)
    with writing(engine) as session:
        held = account_named(session, member.sign_in_name)
        assert held
        actor = Actor(member.name, member.role, held.id, "testclient")
        start_sign_in(session, held.id, hash_token(token), actor=actor, now=now)
    return token


@cache
def _hashed() -> str:
    return hash_password(PASSWORD)


@dataclass
class Clinic:
    """One browser's view of the program, and the database behind it.

    member: who is signed in in it.
    """

    app: FastAPI
    client: TestClient
    member: Member | None = None
    others: dict[Member, "Clinic"] = field(default_factory=dict)

    @classmethod
    @contextmanager
    def of(
        cls, app: FastAPI, member: Member | None = PHYSICIAN, *, has_members: bool = True
    ) -> Iterator["Clinic"]:
        """Start the program, give everybody an account and open a browser with one signed in.

        No error of the program is raised here.
        """
        with _browser(app) as client:
            clinic = cls(app, client)
            if has_members:
                add_members(app.state.engine)
            if member:
                clinic.start_sign_in(member)
            yield clinic

    def other_browser(self, member: Member | None, address: str = "testclient") -> "Clinic":
        """Another browser on the same running program. address: where it stands."""
        other = Clinic(self.app, _browser(self.app, address))
        if member:
            other.start_sign_in(member)
        return other

    def browser_of(self, member: Member) -> "Clinic":
        """The browser in which this person is signed in; always the same one."""
        if member == self.member:
            return self
        if member not in self.others:
            self.others[member] = self.other_browser(member)
        return self.others[member]

    @property
    def nurse(self) -> "Clinic":
        """The nurse's browser."""
        return self.browser_of(NURSE)

    @property
    def physician(self) -> "Clinic":
        """The physician's browser."""
        return self.browser_of(PHYSICIAN)

    @property
    def colleague(self) -> "Clinic":
        """The browser of a second physician."""
        return self.browser_of(COLLEAGUE)

    @property
    def administrator(self) -> "Clinic":
        """The administrator's browser."""
        return self.browser_of(ADMINISTRATOR)

    def start_sign_in(self, member: Member) -> str:
        """Sign somebody in without the page, as it costs a hash; the token of the sign-in."""
        token = new_sign_in(self.app.state.engine, member)
        self.hold(token)
        self.client.headers[TOKEN_HEADER] = form_token(token)
        self.member = member
        return token

    def hold(self, token: str) -> None:
        """Put a sign-in into the browser, as the answer of the server does."""
        self.client.cookies.set(COOKIE, token, domain="testserver.local")

    @property
    def token(self) -> str | None:
        """The sign-in that the browser holds."""
        return self.client.cookies.get(COOKIE)

    def sign_in(self, member: Member, password: str = PASSWORD, **more: str) -> Any:
        """Sign somebody in through the page; the browser keeps what the answer gives it."""
        self.client.headers.pop(TOKEN_HEADER, None)
        form = {"sign_in_name": member.sign_in_name, "password": password} | more
        return self.post_form("/sign-in", form)

    def post_form(self, path: str, fields: Mapping[str, str], page: str = "") -> Any:
        """Send a form with the token of the page on which it stands."""
        token = self.form_token(page or path)
        return self.client.post(path, data={"form_token": token} | dict(fields))

    def form_token(self, page: str) -> str:
        """The token that the forms of a page carry."""
        found = re.search(r'name="form_token" value="(\w+)"', self.client.get(page).text)
        assert found, page
        return found[1]

    def new_patient(self, **changed: str) -> Any:
        """Fill the form for a new patient."""
        return self.client.post("/patients/new", data=PERSON | changed)

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


def _browser(app: FastAPI, address: str = "testclient") -> TestClient:
    return TestClient(
        app,
        base_url=HERE,
        client=(address, 50000),
        raise_server_exceptions=False,
        follow_redirects=False,
    )


def id_in(path: str) -> str:
    """The id in an address."""
    found = re.search(r"/(?:exams|patients)/([0-9a-f]{32})", path)
    assert found, path
    return found[1]
