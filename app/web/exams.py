"""The exam sheet: shown whole, saved whole as a form, or entry by entry as the exam goes on."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from typing import Any

from fastapi import APIRouter, Request
from starlette.exceptions import HTTPException
from starlette.responses import Response

from app.assess.assess import assess
from app.assess.assessment import Assessment
from app.assess.words import finding_words
from app.exam.reading import BadValue
from app.exam.record import Cell, Recorded
from app.exam.vocabulary import vocabulary
from app.knowledge.load import knowledge
from app.report.signed import SIGNED_STATES
from app.store.engine import reading, writing
from app.store.entries import mark_rest_normal, record, record_medicines, to_be_written
from app.store.exams import ExamRecord, exam_record
from app.store.refusals import Collision, NotOpen
from app.web.alerting import keep_alert, see_alert
from app.web.allowed import may, require, someone
from app.web.answers import see_other, show, wants_fragment
from app.web.entered import cell_named, read_cell, read_medicines, read_sheet
from app.web.exam_page import Answer, Reader, clash_answer, exam_page, saved_page
from app.web.forms import FormFields, revision_in
from app.web.identity import SignedIn
from app.web.noted import noted
from app.web.pages import SaveStatus, Ways
from app.web.sections import MEDICINES, permit, section_of, sections_of, sections_of_rest
from app.web.sheet import Typed, part_for, sheet_path
from app.web.sheet_view import Message
from app.web.signed_exam import signed_exam
from app.web.wording import local

router = APIRouter()

# Stations whose core cells have a normal value that a person can give in one act.
WITH_NORMAL = ("rest", "posture", "reach", "repeat", "tone", "gait")

CLOSED_MEANWHILE = "The exam was signed meanwhile and takes no more entries. Nothing was recorded."


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
    someone(request)
    with reading(request.app.state.engine) as session:
        held = exam_record(session, exam_id)
    me = require(request, "chart", "read", held.state)
    noted(request, me, "read", patient_id=held.patient.id, exam_id=held.id)
    if held.state in SIGNED_STATES:
        return signed_exam(request, held, me)
    see_alert(request, exam_id, me)
    page = exam_page(held, Reader.of(request, part, held.state), ways=ways_on(me, held.state))
    return show(request, "exam.html", page)


@router.post("/exams/{exam_id}")
def save_sheet(request: Request, exam_id: str, form: FormFields, part: str = "") -> Response:
    """Save what changed in the whole form, all or nothing."""
    me = someone(request)
    with reading(request.app.state.engine) as session:
        base = exam_record(session, exam_id, at_revision=revision_in(form))
    write, answer = _read_sheet(form, base)
    try:
        permit(request, exam_id, _sections(write, answer))
        if answer.is_refused:
            return _sheet(request, base, part, answer, 422)
        written = _written(request, exam_id, write, me)[0]
    except Collision as collision:
        answer = clash_answer(collision, answer)
    except NotOpen:
        answer = replace(answer, general=(CLOSED_MEANWHILE,))
    else:
        place = f"#{write.normal}" if write.normal else ""
        return see_other(sheet_path(written.id, part_for(part, me.role)) + place)
    with reading(request.app.state.engine) as session:
        held = exam_record(session, exam_id)
    return _sheet(request, held, part, answer, 409)


@router.post("/exams/{exam_id}/cells")
def save_cell(request: Request, exam_id: str, form: FormFields, part: str = "") -> Response:
    """Save one cell and answer with what the exam adds up to now."""
    someone(request)
    cell = cell_named(form.get("finding", ""), form.get("side", ""))
    if cell is None:
        raise HTTPException(
            422, "The form names a finding or a side that no exam has. Nothing was recorded."
        )
    sent = Typed(form.get("value", "").strip(), form.get("why", "").strip())
    try:
        permit(request, exam_id, (section_of(cell[0]),))
        wanted = read_cell(vocabulary()[cell[0]], sent, None)
    except NotOpen:
        return _closed(request, exam_id, form, part, cell)
    except BadValue as fault:
        answer = Answer({cell: sent}, {cell: Message(str(fault))})
        return _refused(request, exam_id, form, part, answer, cell)
    write = Write({cell: wanted}, _seen(form))
    return _save_one(request, exam_id, form, part, write, cell, sent)


@router.post("/exams/{exam_id}/medicines")
def save_medicines(request: Request, exam_id: str, form: FormFields, part: str = "") -> Response:
    """Save the medicines as a whole."""
    try:
        permit(request, exam_id, (MEDICINES,))
        lines = read_medicines(form)
    except NotOpen:
        return _closed(request, exam_id, form, part)
    except BadValue as fault:
        answer = Answer(medicines=_typed_medicines(form), medicines_message=Message(str(fault)))
        return _refused(request, exam_id, form, part, answer)
    return _save_one(request, exam_id, form, part, Write({}, _seen(form), True, lines))


@router.post("/exams/{exam_id}/normal")
def save_normal(request: Request, exam_id: str, form: FormFields, part: str = "") -> Response:
    """Mark the rest of one station normal: only core cells that never had an entry."""
    someone(request)
    station = form.get("station", "")
    if station not in WITH_NORMAL:
        raise HTTPException(
            422, "Only a station of the examination can be marked normal. Nothing was recorded."
        )
    try:
        permit(request, exam_id, sections_of_rest(station))
    except NotOpen:
        return _closed(request, exam_id, form, part)
    return _save_one(request, exam_id, form, part, Write({}, _seen(form), normal=station))


def ways_on(me: SignedIn, state: str) -> Ways:
    """Where this person may go on from the sheet while the exam is in this state."""
    may_move = may(me, "handover", "write", state)
    return Ways(
        hand_over=may_move and state == "open",
        take_back=may_move and state == "ready",
        review=may(me, "review", "read", state),
    )


def _sections(write: Write, answer: Answer) -> frozenset[str]:
    """The parts that a whole form wants to write, also where what it holds is wrong."""
    sections = sections_of(finding for finding, _ in answer.typed)
    if write.medicines or answer.medicines_message:
        sections |= {MEDICINES}
    return sections | sections_of_rest(write.normal) if write.normal in WITH_NORMAL else sections


def _sheet(request: Request, held: ExamRecord, part: str, answer: Answer, status: int) -> Response:
    """The whole sheet again, with what was refused."""
    reader, ways = Reader.of(request, part, held.state), ways_on(someone(request), held.state)
    page = exam_page(held, reader, answer, ways=ways)
    return show(request, "exam.html", page, status=status)


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
    since, me = revision_in(form), someone(request)
    try:
        written, assessment, made = _written(request, exam_id, write, me)
    except Collision as collision:
        typed = {cell: sent} if cell and sent else {}
        answer = clash_answer(collision, Answer(typed, medicines=_typed_medicines(form)))
        return _refused(request, exam_id, form, part, answer, cell, status=409)
    except NotOpen:
        return _closed(request, exam_id, form, part, cell)
    if not wants_fragment(request):
        return see_other(sheet_path(written.id, part_for(part, me.role)))
    status = SaveStatus(f"saved {local(_now()):%H:%M}")
    page = saved_page(
        written,
        Reader.of(request, part, written.state),
        status,
        since=since,
        sent=[cell] if cell else [],
        sent_medicines=write.medicines,
        assessment=assessment,
        made=made,
    )
    return show(request, "saved.html", page)


def _closed(
    request: Request, exam_id: str, form: Mapping[str, str], part: str, cell: Cell | None = None
) -> Response:
    """The exam was signed before this entry came."""
    answer = Answer(general=(CLOSED_MEANWHILE,))
    return _refused(request, exam_id, form, part, answer, cell, status=409)


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
        return _sheet(request, held, part, answer, status)
    place = f"{finding_words(*cell)}: " if cell else ""
    says = [*answer.general, *(place + message.says for message in answer.messages.values())]
    if answer.medicines_message:
        says.append(f"Medicines: {answer.medicines_message.says}")
    page = saved_page(
        held,
        Reader.of(request, part, held.state),
        SaveStatus("NOT SAVED", is_saved=False, detail=" ".join(says)),
        since=since,
        sent=[cell] if cell else [],
        sent_medicines="medicines" in form,
        answer=answer,
    )
    return show(request, "saved.html", page, status=status)


def _written(
    request: Request, exam_id: str, write: Write, me: SignedIn
) -> tuple[ExamRecord, Assessment, int]:
    """Write all of it or nothing; the exam and what it adds up to now, only after the commit.

    The last is the revision that was made, 0 where everything stood there already.
    Raises: Collision and the other refusals of the store.
    """
    stamp: dict[str, Any] = {
        "at_revision": write.at_revision, "recorder": me.recorder, "now": _now()
    }  # fmt: skip
    with writing(request.app.state.engine) as session:
        before = to_be_written(session, exam_id, write.at_revision).revision
        written = record(session, exam_id, write.changes, **stamp)
        if write.medicines:
            written = record_medicines(session, exam_id, write.lines, **stamp)
        if write.normal:
            written = mark_rest_normal(session, exam_id, write.normal, **stamp)
        assessment = assess(written.exam, knowledge())
        keep_alert(session, exam_id, assessment, me, _now())
    return written, assessment, written.revision if written.revision > before else 0


def _seen(form: Mapping[str, str]) -> int:
    """The revision that the person saw when they made this entry.

    It may be older than the one that the page shows by now, because entries wait in line.
    """
    return revision_in(form, "seen" if "seen" in form else "revision")


def _now() -> datetime:
    return datetime.now(UTC)
