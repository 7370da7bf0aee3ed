"""Patients: who they are, and how they are found again."""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime
from uuid import uuid4

from sqlalchemy import ColumnElement, or_
from sqlalchemy.exc import IntegrityError
from sqlalchemy.orm import Mapped
from sqlmodel import Session, col, select

from app.exam.reading import MAX_AGE, SEXES
from app.language.words import _
from app.store.actor import PROGRAM, Actor
from app.store.audit import note
from app.store.free_text import BadText, check_line, check_name, exact_key, search_key
from app.store.refusals import BadForm, NotFound
from app.store.tables import PatientRow

LONGEST_CHART_NUMBER = 40
LONGEST_NAME = 100
MOST_FOUND = 50
# The last code point: no text that begins with a prefix sorts after the prefix and this.
LAST = "\U0010ffff"


@dataclass(frozen=True)
class PatientCard:
    """Who a patient is. The id is random and says nothing about them."""

    id: str
    chart_number: str
    family_name: str
    given_name: str
    birth_date: date
    sex: str | None


@dataclass(frozen=True)
class NewPatient:
    """A patient to be added, checked by check_patient."""

    chart_number: str
    family_name: str
    given_name: str
    birth_date: date
    sex: str | None


def check_patient(raw: Mapping[str, str], today: date) -> NewPatient:
    """Check what was typed for a new patient.

    raw: chart_number, family_name, given_name, birth_date as 1950-12-31, sex or "".
    Raises: BadForm, with every fault.
    """
    faults: dict[str, str] = {}
    chart_number = _line(raw, "chart_number", _("the chart number"), LONGEST_CHART_NUMBER, faults)
    family_name = _line(raw, "family_name", _("the family name"), LONGEST_NAME, faults)
    given_name = _line(raw, "given_name", _("the given name"), LONGEST_NAME, faults)
    birth_date = _birth_date(raw.get("birth_date", "").strip(), today, faults)
    sex = raw.get("sex", "").strip() or None
    if sex is not None and sex not in SEXES:
        faults["sex"] = _("choose female or male, or leave it out if unknown")
    if faults or birth_date is None:
        raise BadForm(faults)
    return NewPatient(chart_number, family_name, given_name, birth_date, sex)


def add_patient(
    session: Session, new: NewPatient, now: datetime, *, actor: Actor = PROGRAM
) -> PatientCard:
    """Add a patient.

    Raises: BadForm, where the chart number is taken; case makes no difference.
    """
    key = exact_key(new.chart_number)
    taken = BadForm(
        {
            "chart_number": _("the chart number {chart_number} is already taken").format(
                chart_number=new.chart_number
            )
        }
    )
    if session.exec(select(PatientRow.id).where(PatientRow.chart_key == key)).first() is not None:
        raise taken
    row = PatientRow(
        id=uuid4().hex,
        chart_number=new.chart_number,
        family_name=new.family_name,
        given_name=new.given_name,
        birth_date=new.birth_date,
        sex=new.sex,
        created_at=now,
        chart_key=key,
        family_first_key=search_key(f"{new.family_name} {new.given_name}"),
        given_first_key=search_key(f"{new.given_name} {new.family_name}"),
    )
    try:
        with session.begin_nested():
            session.add(row)
    except IntegrityError as error:
        # On PostgreSQL somebody else may have added it since we looked.
        if "chart_key" in str(error.orig):
            raise taken from None
        raise
    note(session, actor, "add_patient", at=now, patient_id=row.id)
    return card(row)


def patient(session: Session, patient_id: str) -> PatientCard:
    """One patient.

    Raises: NotFound.
    """
    row = session.get(PatientRow, patient_id) if is_id(patient_id) else None
    if row is None:
        raise NotFound(_("there is no such patient"))
    return card(row)


def patient_with_number(session: Session, chart_number: str) -> PatientCard | None:
    """The patient who has this chart number, whatever its case; None where nobody has."""
    try:
        key = exact_key(check_line(chart_number, longest=LONGEST_CHART_NUMBER))
    except BadText:
        return None
    row = session.exec(select(PatientRow).where(PatientRow.chart_key == key)).one_or_none()
    return None if row is None else card(row)


def find_patients(session: Session, text: str) -> list[PatientCard]:
    """Patients whose family name, given name or chart number begins so, by name; at most 50.

    Both names together are found in either order. Case and accents make no difference in names.
    """
    try:
        line = check_line(text, longest=LONGEST_CHART_NUMBER + 2 * LONGEST_NAME)
    except BadText:
        # Nothing that is stored holds such text, and a database may refuse to be asked.
        return []
    begins_so = [_begins(col(PatientRow.chart_key), exact_key(line))]
    names = search_key(line.replace(",", " "))
    if names or not line:
        begins_so.append(_begins(col(PatientRow.family_first_key), names))
        begins_so.append(_begins(col(PatientRow.given_first_key), names))
    by_name = (
        col(PatientRow.family_first_key),
        col(PatientRow.birth_date),
        col(PatientRow.chart_key),
    )
    found = session.exec(
        select(PatientRow).where(or_(*begins_so)).order_by(*by_name).limit(MOST_FOUND)
    )
    return [card(row) for row in found]


def card(row: PatientRow) -> PatientCard:
    """The patient as a value."""
    return PatientCard(
        id=row.id,
        chart_number=row.chart_number,
        family_name=row.family_name,
        given_name=row.given_name,
        birth_date=row.birth_date,
        sex=row.sex,
    )


def age_on(birth_date: date, day: date) -> int:
    """Whole years of age on a day; who is born on 29 February turns on 1 March."""
    return day.year - birth_date.year - ((day.month, day.day) < (birth_date.month, birth_date.day))


def is_id(text: str) -> bool:
    """Whether this can be the id of a patient or an exam at all."""
    return re.fullmatch("[0-9a-f]{32}", text) is not None


def _begins(key: Mapped[str], prefix: str) -> ColumnElement[bool]:
    # A range, because an index serves it and LIKE differs between the databases.
    return (key >= prefix) & (key <= prefix + LAST)


def _line(
    raw: Mapping[str, str], field: str, name: str, longest: int, faults: dict[str, str]
) -> str:
    try:
        return check_name(raw.get(field, ""), longest=longest)
    except BadText as fault:
        faults[field] = f"{name} {fault}"
        return ""


def _birth_date(text: str, today: date, faults: dict[str, str]) -> date | None:
    if not text:
        faults["birth_date"] = _("the birth date is missing")
        return None
    try:
        # fromisoformat alone would read a week number too.
        birth_date = (
            date.fromisoformat(text) if re.fullmatch(r"[0-9]{4}(-[0-9]{2}){2}", text) else None
        )
    except ValueError:
        birth_date = None
    if birth_date is None:
        faults["birth_date"] = _("the birth date is not a date: write it as 1950-12-31")
    elif birth_date > today:
        faults["birth_date"] = _("the birth date lies in the future")
    elif age_on(birth_date, today) > MAX_AGE:
        faults["birth_date"] = _("the birth date is more than {MAX_AGE} years ago").format(
            MAX_AGE=MAX_AGE
        )
    else:
        return birth_date
    return None
