"""Patients: a new one with their first exam, and one with all their exams."""

from collections.abc import Mapping
from datetime import UTC, datetime

from fastapi import APIRouter, Request
from starlette.responses import Response

from app.store.engine import reading, writing
from app.store.exams import exams_of, start_exam
from app.store.patients import PatientCard, add_patient, check_patient, find_patients, patient
from app.store.refusals import BadForm
from app.web.answers import see_other, show
from app.web.forms import FormFields
from app.web.pages import Fault, Field, NewPatientPage, PatientPage, RecorderFields, Who
from app.web.recording import NoRecorder, fields_of, part_of, recorder_in, recorder_of, remember
from app.web.sheet import sheet_path
from app.web.wording import exam_line, sentence, today, who

router = APIRouter()

_FIELDS = ("chart_number", "family_name", "given_name", "birth_date", "sex", "reason")
# A choice that is made, so that an overlooked field is not taken for it.
NOT_RECORDED = "not recorded"


@router.get("/patients/new")
def show_new_patient(request: Request) -> Response:
    """An empty form."""
    page = _new_patient_page({}, {}, fields_of(recorder_of(request)))
    return show(request, "patient_new.html", page)


@router.post("/patients/new")
def save_new_patient(request: Request, form: FormFields) -> Response:
    """Add the patient, start their exam and open its sheet: all of it or nothing."""
    faults: dict[str, str] = {}
    raw = {name: form.get(name, "") for name in _FIELDS}
    if not raw["sex"]:
        faults["sex"] = "Choose one; “not recorded” is an answer"
    try:
        checked = check_patient(raw | {"sex": raw["sex"].replace(NOT_RECORDED, "")}, today())
    except BadForm as bad:
        faults |= bad.faults
    recorder = recorder_of(request)
    fields = fields_of(recorder)
    try:
        recorder = recorder_in({"recorder": "", "role": ""} | dict(form), request)
        fields = fields_of(recorder)
    except NoRecorder as nobody:
        fields = nobody.fields
        recorder = None
    if faults or recorder is None:
        return _refused(request, raw, faults, fields)
    now = datetime.now(UTC)
    try:
        with writing(request.app.state.engine) as session:
            card = add_patient(session, checked, now)
            exam = start_exam(session, card.id, recorder, raw["reason"], now)
    except BadForm as bad:
        return _refused(request, raw, bad.faults, fields)
    return remember(see_other(sheet_path(exam.id, part_of(recorder))), recorder)


@router.get("/patients/{patient_id}")
def show_patient(request: Request, patient_id: str) -> Response:
    """A patient with their exams."""
    page = _patient_page(request, patient_id, Field(), fields_of(recorder_of(request)))
    return show(request, "patient.html", page)


@router.post("/patients/{patient_id}")
def save_exam(request: Request, patient_id: str, form: FormFields) -> Response:
    """Start another exam and open its sheet."""
    reason = form.get("reason", "")
    try:
        recorder = recorder_in({"recorder": "", "role": ""} | dict(form), request)
    except NoRecorder as nobody:
        page = _patient_page(request, patient_id, Field(reason), nobody.fields)
        return show(request, "patient.html", page, status=422)
    try:
        with writing(request.app.state.engine) as session:
            exam = start_exam(session, patient_id, recorder, reason, datetime.now(UTC))
    except BadForm as bad:
        field = Field(reason, sentence(bad.faults["reason"]))
        page = _patient_page(request, patient_id, field, fields_of(recorder))
        return show(request, "patient.html", page, status=422)
    return remember(see_other(sheet_path(exam.id, part_of(recorder))), recorder)


def _refused(
    request: Request, raw: Mapping[str, str], faults: Mapping[str, str], recorder: RecorderFields
) -> Response:
    page = _new_patient_page(raw, faults, recorder, _taken_by(request, raw, faults))
    return show(request, "patient_new.html", page, status=422)


def _taken_by(request: Request, raw: Mapping[str, str], faults: Mapping[str, str]) -> Who | None:
    """The person who has this chart number already: they may be the one in front of us."""
    if "taken" not in faults.get("chart_number", ""):
        return None
    wanted = raw["chart_number"].strip().casefold()
    with reading(request.app.state.engine) as session:
        found: list[PatientCard] = find_patients(session, raw["chart_number"])
    same = [card for card in found if card.chart_number.casefold() == wanted]
    return who(same[0], today()) if same else None


def _new_patient_page(
    raw: Mapping[str, str],
    faults: Mapping[str, str],
    recorder: RecorderFields,
    taken_by: Who | None = None,
) -> NewPatientPage:
    said = {name: sentence(fault) for name, fault in faults.items()}
    fields = {name: Field(raw.get(name, ""), said.get(name, "")) for name in _FIELDS}
    summary = [Fault(name, said[name]) for name in _FIELDS if name in said]
    return NewPatientPage(
        title="New patient",
        faults=(*summary, *recorder_faults(recorder)),
        recorder=recorder,
        taken_by=taken_by,
        **fields,
    )


def _patient_page(
    request: Request, patient_id: str, reason: Field, recorder: RecorderFields
) -> PatientPage:
    with reading(request.app.state.engine) as session:
        card = patient(session, patient_id)
        rows = exams_of(session, patient_id)
    faults = [Fault("reason", reason.fault)] if reason.fault else []
    return PatientPage(
        title="Patient",
        faults=(*faults, *recorder_faults(recorder)),
        who=who(card, today()),
        exams=tuple(exam_line(row) for row in rows),
        reason=reason,
        recorder=recorder,
    )


def recorder_faults(recorder: RecorderFields) -> tuple[Fault, ...]:
    """The lines of the summary about who is recording."""
    named = (("recorder-role", recorder.role_fault), ("recorder-name", recorder.name_fault))
    return tuple(Fault(anchor, says) for anchor, says in named if says)
