"""Patients: a new one with their first exam, and one with all their exams."""

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from datetime import UTC, datetime

from fastapi import APIRouter, Request
from starlette.responses import Response

from app.language.words import _
from app.store.engine import reading, writing
from app.store.exams import exams_of, start_exam
from app.store.on_paper import LONGEST_AGO, PAPER_FIELDS, check_on_paper
from app.store.patients import (
    PatientCard,
    add_patient,
    check_patient,
    find_patients,
    patient,
    patient_with_number,
)
from app.store.refusals import BadForm
from app.store.sent_again import started_before
from app.web.allowed import may, require
from app.web.answers import see_other, show
from app.web.fields import fields_of, summary_of
from app.web.forms import FormFields
from app.web.identity import SignedIn
from app.web.noted import noted
from app.web.pages import NewPatientPage, PaperFields, PatientPage, Who
from app.web.sheet import part_for, sheet_path
from app.web.wording import exam_line, today, who

router = APIRouter()

_KEY = "chart_number"
_FIELDS = (_KEY, "family_name", "given_name", "birth_date", "sex", "reason")
# A choice that is made, so that an overlooked field is not taken for it.
NOT_RECORDED = "not recorded"


@router.get("/patients/new")
def show_new_patient(request: Request) -> Response:
    """An empty form."""
    require(request, "patient", "write")
    return show(request, "patient_new.html", _new_patient_page({}, {}))


@router.post("/patients/new")
def save_new_patient(request: Request, form: FormFields) -> Response:
    """Add the patient, start their exam and open its sheet: all of it or nothing."""
    require(request, "patient", "write")
    me = require(request, "exam", "write")
    raw = {name: form.get(name, "") for name in (*_FIELDS, *PAPER_FIELDS)}
    now = datetime.now(UTC)
    faults: dict[str, str] = {}
    if not raw["sex"]:
        faults["sex"] = _("Choose one; “not recorded” is an answer")
    try:
        # Whatever is wrong with the other, the form comes back with the faults of both.
        with _gathered(faults):
            checked = check_patient(raw | {"sex": raw["sex"].replace(NOT_RECORDED, "")}, today())
        with _gathered(faults):
            paper = check_on_paper(raw, now)
        if faults:
            raise BadForm(faults)
        with writing(request.app.state.engine) as session:
            card = add_patient(session, checked, now, actor=me.recorder)
            exam = start_exam(session, card.id, me.recorder, raw["reason"], now, paper)
    except BadForm as bad:
        again = _sent_again(request, me, raw, now) if "taken" in bad.faults.get(_KEY, "") else None
        if again is None:
            return _refused(request, me, raw, bad.faults)
        return see_other(sheet_path(again, part_for("", me.role)))
    return see_other(sheet_path(exam.id, part_for("", me.role)))


@router.get("/patients/{patient_id}")
def show_patient(request: Request, patient_id: str) -> Response:
    """A patient with their exams."""
    me = require(request, "patient", "read")
    page = _patient_page(request, me, patient_id, {}, {})
    noted(request, me, "read", patient_id=patient_id)
    return show(request, "patient.html", page)


@router.post("/patients/{patient_id}")
def save_exam(request: Request, patient_id: str, form: FormFields) -> Response:
    """Start another exam and open its sheet."""
    me = require(request, "exam", "write")
    raw = {name: form.get(name, "") for name in ("reason", *PAPER_FIELDS)}
    now = datetime.now(UTC)
    try:
        paper = check_on_paper(raw, now)
        with writing(request.app.state.engine) as session:
            again = started_before(session, patient_id, me.recorder, raw["reason"], now, paper)
            if again is None:
                made = start_exam(session, patient_id, me.recorder, raw["reason"], now, paper)
                again = made.id
    except BadForm as bad:
        page = _patient_page(request, me, patient_id, raw, bad.faults)
        return show(request, "patient.html", page, status=422)
    return see_other(sheet_path(again, part_for("", me.role)))


@contextmanager
def _gathered(faults: dict[str, str]) -> Iterator[None]:
    """Go on after a form that cannot be accepted, with what is wrong in it."""
    try:
        yield
    except BadForm as bad:
        faults.update(bad.faults)


def _sent_again(request: Request, me: SignedIn, raw: dict[str, str], now: datetime) -> str | None:
    """The exam that this very form has just started, where its answer was lost."""
    new = check_patient(raw | {"sex": raw["sex"].replace(NOT_RECORDED, "")}, today())
    with writing(request.app.state.engine) as session:
        there = patient_with_number(session, new.chart_number)
        if there is None or vars(there) != vars(new) | {"id": there.id}:
            return None
        paper = check_on_paper(raw, now)
        return started_before(session, there.id, me.recorder, raw["reason"], now, paper)


def _refused(
    request: Request, me: SignedIn, raw: Mapping[str, str], faults: Mapping[str, str]
) -> Response:
    page = _new_patient_page(raw, faults, _taken_by(request, me, raw, faults))
    return show(request, "patient_new.html", page, status=422)


def _taken_by(
    request: Request, me: SignedIn, raw: Mapping[str, str], faults: Mapping[str, str]
) -> Who | None:
    """The person who has this chart number already: they may be the one in front of us."""
    if "taken" not in faults.get(_KEY, ""):
        return None
    wanted = raw["chart_number"].strip().casefold()
    with reading(request.app.state.engine) as session:
        found: list[PatientCard] = find_patients(session, raw["chart_number"])
    same = [card for card in found if card.chart_number.casefold() == wanted]
    if not same:
        return None
    noted(request, me, "read", patient_id=same[0].id)
    return who(same[0], today())


def _new_patient_page(
    raw: Mapping[str, str],
    faults: Mapping[str, str],
    taken_by: Who | None = None,
) -> NewPatientPage:
    fields, paper = fields_of(_FIELDS, raw, faults), fields_of(PAPER_FIELDS, raw, faults)
    return NewPatientPage(
        title=_("New patient"),
        faults=summary_of(fields | paper),
        taken_by=taken_by,
        paper=PaperFields(**paper, days=LONGEST_AGO.days),
        **fields,
    )


def _patient_page(
    request: Request,
    me: SignedIn,
    patient_id: str,
    raw: Mapping[str, str],
    faults: Mapping[str, str],
) -> PatientPage:
    with reading(request.app.state.engine) as session:
        card = patient(session, patient_id)
        rows = exams_of(session, patient_id)
    fields, paper = fields_of(("reason",), raw, faults), fields_of(PAPER_FIELDS, raw, faults)
    return PatientPage(
        title=_("Patient"),
        faults=summary_of(fields | paper),
        who=who(card, today()),
        exams=tuple(exam_line(row) for row in rows),
        may_start=may(me, "exam", "write"),
        paper=PaperFields(**paper, days=LONGEST_AGO.days),
        **fields,
    )
