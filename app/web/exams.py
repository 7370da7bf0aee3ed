"""The exam sheet: shown whole, saved whole as a form, or entry by entry as the exam goes on."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from typing import Any

from fastapi import APIRouter, Request
from starlette.exceptions import HTTPException
from starlette.responses import Response

from app.assess.words import finding_words
from app.exam.reading import BadValue
from app.exam.record import Cell, Recorded
from app.exam.vocabulary import vocabulary
from app.store.engine import reading, writing
from app.store.entries import mark_rest_normal, record, record_medicines
from app.store.exams import ExamRecord, Recorder, exam_record
from app.store.refusals import Collision
from app.web.answers import see_other, show, wants_fragment
from app.web.entered import cell_named, read_cell, read_medicines, read_sheet
from app.web.exam_page import Answer, clash_answer, exam_page, saved_page
from app.web.forms import FormFields, revision_in
from app.web.pages import RecorderFields, SaveStatus
from app.web.recording import NoRecorder, fields_of, recorder_in, recorder_of, remember
from app.web.sheet import Typed, sheet_path
from app.web.sheet_view import Message
from app.web.wording import local

router = APIRouter()

# Stations whose core cells have a normal value that a person can give in one act.
WITH_NORMAL = ("rest", "posture", "reach", "repeat", "tone", "gait")


@dataclass(frozen=True)
class Write:
    """Everything that one form writes, in one transaction.

    medicines: whether they are written; lines: what they are then.
    """

    changes: Mapping[Cell, Recorded | None]
    at_revision: int
    medicines: bool = False
    lines: tuple[str, ...] | None = None
    normal: str = ""


@router.get("/exams/{exam_id}")
def show_exam(request: Request, exam_id: str, part: str = "") -> Response:
    """The sheet."""
    with reading(request.app.state.engine) as session:
        held = exam_record(session, exam_id)
    return show(request, "exam.html", exam_page(held, _part(part), fields_of(recorder_of(request))))


@router.post("/exams/{exam_id}")
def save_sheet(request: Request, exam_id: str, form: FormFields, part: str = "") -> Response:
    """Save what changed in the whole form, all or nothing."""
    revision = revision_in(form)
    with reading(request.app.state.engine) as session:
        base = exam_record(session, exam_id, at_revision=revision)
    write, answer = _read_sheet(form, base)
    try:
        recorder = recorder_in(form, request)
    except NoRecorder as nobody:
        page = exam_page(base, _part(part), _asked(nobody.fields), answer)
        return show(request, "exam.html", page, status=422)
    if answer.is_refused:
        page = exam_page(base, _part(part), fields_of(recorder), answer)
        return remember(show(request, "exam.html", page, status=422), recorder)
    try:
        written = _written(request, exam_id, write, recorder)
    except Collision as collision:
        with reading(request.app.state.engine) as session:
            held = exam_record(session, exam_id)
        answer = clash_answer(collision, answer)
        page = exam_page(held, _part(part), fields_of(recorder), answer)
        return remember(show(request, "exam.html", page, status=409), recorder)
    place = f"#{write.normal}" if write.normal else ""
    return remember(see_other(sheet_path(written.id, _part(part)) + place), recorder)


@router.post("/exams/{exam_id}/cells")
def save_cell(request: Request, exam_id: str, form: FormFields, part: str = "") -> Response:
    """Save one cell and answer with what the exam adds up to now."""
    cell = cell_named(form.get("finding", ""), form.get("side", ""))
    if cell is None:
        raise HTTPException(
            422, "The form names a finding or a side that no exam has. Nothing was recorded."
        )
    sent = Typed(form.get("value", "").strip(), form.get("why", "").strip())
    try:
        wanted = read_cell(vocabulary()[cell[0]], sent, None)
    except BadValue as fault:
        answer = Answer({cell: sent}, {cell: Message(str(fault))})
        return _refused(request, exam_id, form, part, answer, cell)
    write = Write({cell: wanted}, _seen(form))
    return _save_one(request, exam_id, form, part, write, cell, sent)


@router.post("/exams/{exam_id}/medicines")
def save_medicines(request: Request, exam_id: str, form: FormFields, part: str = "") -> Response:
    """Save the medicines as a whole."""
    try:
        lines = read_medicines(form)
    except BadValue as fault:
        answer = Answer(medicines=_typed_medicines(form), medicines_message=Message(str(fault)))
        return _refused(request, exam_id, form, part, answer)
    return _save_one(request, exam_id, form, part, Write({}, _seen(form), True, lines))


@router.post("/exams/{exam_id}/normal")
def save_normal(request: Request, exam_id: str, form: FormFields, part: str = "") -> Response:
    """Mark the rest of one station normal: only core cells that never had an entry."""
    station = form.get("station", "")
    if station not in WITH_NORMAL:
        raise HTTPException(
            422, "Only a station of the examination can be marked normal. Nothing was recorded."
        )
    return _save_one(request, exam_id, form, part, Write({}, _seen(form), normal=station))


@router.post("/exams/{exam_id}/recorder")
def save_recorder(request: Request, exam_id: str, form: FormFields, part: str = "") -> Response:
    """Say who is recording from now on."""
    with reading(request.app.state.engine) as session:
        held = exam_record(session, exam_id)
    try:
        recorder = recorder_in({"recorder": "", "role": ""} | dict(form), request)
    except NoRecorder as nobody:
        page = exam_page(held, _part(part), nobody.fields)
        return show(request, "exam.html", page, status=422)
    return remember(see_other(sheet_path(held.id, _part(part))), recorder)


def _read_sheet(form: Mapping[str, str], base: ExamRecord) -> tuple[Write, Answer]:
    """What a whole form wants to write, and what must be shown with it if it is refused."""
    entered = read_sheet(form, base.exam.cells)
    messages = {cell: Message(says) for cell, says in entered.faults.items()}
    general = [f"{name} is not a finding of this exam" for name in entered.unknown]
    normal = form.get("normal", "")
    if normal and normal not in WITH_NORMAL:
        general.append("Only a station of the examination can be marked normal")
    lines, fault = base.exam.medicines, None
    if "medicines" in form:
        try:
            lines = read_medicines(form)
        except BadValue as bad:
            fault = Message(str(bad))
    write = Write(
        entered.changes, base.revision, lines != base.exam.medicines, lines, normal=normal
    )
    return write, Answer(entered.typed, messages, _typed_medicines(form), fault, tuple(general))


def _typed_medicines(form: Mapping[str, str]) -> tuple[str, bool] | None:
    return (form["medicines"], "no_medicines" in form) if "medicines" in form else None


def _asked(fields: RecorderFields) -> RecorderFields:
    """A sheet that was saved by nobody says so, also where the form did not ask."""
    if fields.name_fault or fields.role_fault:
        return fields
    return replace(fields, name_fault="Say who is recording before the first entry")


def _save_one(
    request: Request,
    exam_id: str,
    form: Mapping[str, str],
    part: str,
    write: Write,
    cell: Cell | None = None,
    sent: Typed | None = None,
) -> Response:
    """One entry as it is made; without htmx the answer is the sheet again."""
    since = revision_in(form)
    try:
        recorder = recorder_in(form, request)
    except NoRecorder:
        says = "Say who is recording, at the top of the sheet. Nothing was recorded."
        return _refused(request, exam_id, form, part, Answer(general=(says,)), cell)
    try:
        written = _written(request, exam_id, write, recorder)
    except Collision as collision:
        typed = {cell: sent} if cell and sent else {}
        answer = clash_answer(collision, Answer(typed, medicines=_typed_medicines(form)))
        return _refused(request, exam_id, form, part, answer, cell, status=409)
    if not wants_fragment(request):
        return remember(see_other(sheet_path(written.id, _part(part))), recorder)
    status = SaveStatus(f"saved {local(_now()):%H:%M}")
    page = saved_page(
        written,
        _part(part),
        fields_of(recorder) if "recorder" in form else None,
        status,
        since=since,
        sent=[cell] if cell else [],
        sent_medicines=write.medicines,
    )
    return remember(show(request, "saved.html", page), recorder)


def _refused(
    request: Request,
    exam_id: str,
    form: Mapping[str, str],
    part: str,
    answer: Answer,
    cell: Cell | None = None,
    *,
    status: int = 422,
) -> Response:
    """One entry that was not taken: what it says stands beside the cell, which stays as it was."""
    since = revision_in(form)
    with reading(request.app.state.engine) as session:
        held = exam_record(session, exam_id)
    if not wants_fragment(request):
        whole = exam_page(held, _part(part), fields_of(recorder_of(request)), answer)
        return show(request, "exam.html", whole, status=status)
    place = f"{finding_words(*cell)}: " if cell else ""
    says = [*answer.general, *(place + message.says for message in answer.messages.values())]
    if answer.medicines_message:
        says.append(f"Medicines: {answer.medicines_message.says}")
    page = saved_page(
        held,
        _part(part),
        None,
        SaveStatus("NOT SAVED", is_saved=False, detail=" ".join(says)),
        since=since,
        sent=[cell] if cell else [],
        sent_medicines="medicines" in form,
        answer=answer,
    )
    return show(request, "saved.html", page, status=status)


def _written(request: Request, exam_id: str, write: Write, recorder: Recorder) -> ExamRecord:
    """Write all of it or nothing, and return only after the commit.

    Raises: Collision and the other refusals of the store.
    """
    stamp: dict[str, Any] = {
        "at_revision": write.at_revision, "recorder": recorder, "now": _now()
    }  # fmt: skip
    with writing(request.app.state.engine) as session:
        written = record(session, exam_id, write.changes, **stamp)
        if write.medicines:
            written = record_medicines(session, exam_id, write.lines, **stamp)
        if write.normal:
            written = mark_rest_normal(session, exam_id, write.normal, **stamp)
    return written


def _seen(form: Mapping[str, str]) -> int:
    """The revision that the person saw when they made this entry.

    It may be older than the one that the page shows by now, because entries wait in line.
    """
    return revision_in(form, "seen" if "seen" in form else "revision")


def _part(part: str) -> str:
    return "nurse" if part == "nurse" else ""


def _now() -> datetime:
    return datetime.now(UTC)
