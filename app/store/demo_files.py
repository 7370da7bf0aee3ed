"""The files of the demonstration, moved in time so that they are recent."""

import tomllib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from pathlib import Path
from typing import Any

from app.exam.faults import BadExam
from app.exam.reading import parse_exam
from app.exam.record import Exam
from app.exam.vocabulary import vocabulary
from app.store.accounts import DEMO_PREFIX, sign_in_key
from app.store.on_paper import Examined, OnPaper
from app.store.patients import NewPatient, check_patient
from app.store.refusals import BadForm
from app.store.signed_content import Amendment
from app.store.signing import checked_amendment
from app.store.tables import ROLES


class BadDemo(ValueError):
    """The demonstration cannot be loaded; the message names the file."""


@dataclass(frozen=True)
class DemoExam(Examined):
    """One exam of the demonstration, with the moment at which it began to be recorded.

    impression, plan: of the physician; with an impression the exam is one to be signed, and then to
    be amended at the moment beside the amendment. bulk: stations whose rest was marked normal.
    handed_over: by the nurse, when she had recorded her part.
    """

    exam: Exam
    started_at: datetime
    reason: str
    impression: str = ""
    plan: str = ""
    bulk: tuple[str, ...] = ()
    handed_over: bool = False
    on_paper: OnPaper | None = None
    amended: tuple[Amendment, datetime] | None = None


@dataclass(frozen=True)
class DemoPatient:
    """One person of the demonstration and their exams, oldest first."""

    new: NewPatient
    exams: tuple[DemoExam, ...]


@dataclass(frozen=True)
class DemoAccount:
    """An account of the demonstration; its password is told to everybody."""

    sign_in_name: str
    printed_name: str
    role: str
    password: str


@dataclass(frozen=True)
class Demo:
    """An invented clinic. Among its accounts are a nurse and a physician."""

    clinic: str
    accounts: tuple[DemoAccount, ...]
    patients: tuple[DemoPatient, ...]


def read_demo(folder: Path, now: datetime) -> Demo:
    """Read the demonstration from its files, moved in time so that it ends by now.

    Raises: BadDemo.
    """
    file = folder / "clinic.toml"
    try:
        tables = tomllib.loads(file.read_text(encoding="utf-8"))
        as_of = _moment(tables["as_of"])
        # Whole days, so that the exams keep their time of day.
        moved = timedelta(days=(now - as_of).days)
        return Demo(
            clinic=tables["clinic"],
            accounts=_accounts(tables["account"]),
            patients=tuple(
                _patient(folder, table, moved, now.date()) for table in tables["patient"]
            ),
        )
    except BadDemo:
        raise
    except KeyError as missing:
        raise BadDemo(f"{file.name}: {missing} is missing") from missing
    except (OSError, ValueError) as fault:
        raise BadDemo(f"{file.name}: {fault}") from fault


def _accounts(tables: list[Mapping[str, Any]]) -> tuple[DemoAccount, ...]:
    listed = tuple(
        DemoAccount(each["sign_in_name"], each["printed_name"], each["role"], each["password"])
        for each in tables
    )
    if not set(ROLES) <= {each.role for each in listed}:
        raise ValueError(f"there must be an account for each of {', '.join(ROLES)}")
    for each in listed:
        if not sign_in_key(each.sign_in_name).startswith(DEMO_PREFIX):
            # Otherwise nobody would know it again outside the demonstration.
            raise ValueError(f"{each.sign_in_name} does not begin with {DEMO_PREFIX}")
    return listed


def _patient(folder: Path, table: Mapping[str, Any], moved: timedelta, today: date) -> DemoPatient:
    raw = {key: value for key, value in table.items() if key != "exam"}
    raw["birth_date"] = (date.fromisoformat(raw["birth_date"]) + moved).isoformat()
    exams = tuple(
        DemoExam(
            exam=_exam(folder / "exams" / written["file"]),
            started_at=_moment(written["started_at"]) + moved,
            reason=written["reason"],
            impression=written.get("impression", ""),
            plan=written.get("plan", ""),
            bulk=_stations(written.get("bulk", ())),
            handed_over=written.get("handed_over", False),
            on_paper=_on_paper(written, moved),
            amended=_amended(written.get("amended"), moved),
        )
        for written in table["exam"]
    )
    return DemoPatient(check_patient(raw, today), exams)


def _stations(ids: Iterable[str]) -> tuple[str, ...]:
    known = {each.id for each in vocabulary().stations}
    for each in ids:
        if each not in known:
            raise ValueError(f"bulk: {each} is not a station")
    return tuple(ids)


def _on_paper(written: Mapping[str, Any], moved: timedelta) -> OnPaper | None:
    if "examined_at" not in written:
        return None
    return OnPaper(_moment(written["examined_at"]) + moved, written["examined_by"])


def _amended(
    written: Mapping[str, Any] | None, moved: timedelta
) -> tuple[Amendment, datetime] | None:
    if written is None:
        return None
    raw = Amendment(written["kind"], written["text"], written["reason"])
    try:
        return checked_amendment(raw), _moment(written["signed_at"]) + moved
    except BadForm as fault:
        raise ValueError(f"amended: {fault}") from fault


def _moment(written: datetime) -> datetime:
    if written.tzinfo is None:
        raise ValueError(f"{written} has no offset from UTC")
    return written


def _exam(file: Path) -> Exam:
    try:
        return parse_exam(file.read_bytes())
    except (OSError, BadExam) as fault:
        raise BadDemo(f"{file.name}: {fault}") from fault
