"""One entry of the sheet as it is made: a cell, the medicines, or the rest of a station normal."""

from collections.abc import Mapping
from datetime import UTC, datetime

from fastapi import APIRouter, Request
from starlette.exceptions import HTTPException
from starlette.responses import Response

from app.assess.words import finding_words
from app.exam.faults import BadValue
from app.exam.record import Cell
from app.exam.vocabulary import vocabulary
from app.language.words import _
from app.store.engine import reading
from app.store.exams import exam_record
from app.store.refusals import Collision, NotOpen
from app.web.allowed import someone
from app.web.answers import see_other, show, wants_fragment
from app.web.entered import cell_named, read_cell, read_medicines
from app.web.exam_page import Answer, Reader, clash_answer, saved_page
from app.web.exams import (
    CLOSED_MEANWHILE,
    WITH_NORMAL,
    Write,
    sheet_answer,
    typed_medicines,
    written_exam,
)
from app.web.forms import FormFields, revision_in
from app.web.pages import SaveStatus
from app.web.sections import MEDICINES, permit, section_of, sections_of_rest
from app.web.sheet import Typed, part_for, sheet_path
from app.web.sheet_view import Message
from app.web.wording import local

router = APIRouter()


@router.post("/exams/{exam_id}/cells")
def save_cell(request: Request, exam_id: str, form: FormFields, part: str = "") -> Response:
    """Save one cell and answer with what the exam adds up to now."""
    someone(request)
    cell = cell_named(form.get("finding", ""), form.get("side", ""))
    if cell is None:
        raise HTTPException(
            422, _("The form names a finding or a side that no exam has. Nothing was recorded.")
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
        answer = Answer(medicines=typed_medicines(form), medicines_message=Message(str(fault)))
        return _refused(request, exam_id, form, part, answer)
    return _save_one(request, exam_id, form, part, Write({}, _seen(form), True, lines))


@router.post("/exams/{exam_id}/normal")
def save_normal(request: Request, exam_id: str, form: FormFields, part: str = "") -> Response:
    """Mark the rest of one station normal: only core cells that never had an entry."""
    someone(request)
    station = form.get("station", "")
    if station not in WITH_NORMAL:
        raise HTTPException(
            422, _("Only a station of the examination can be marked normal. Nothing was recorded.")
        )
    try:
        permit(request, exam_id, sections_of_rest(station))
    except NotOpen:
        return _closed(request, exam_id, form, part)
    return _save_one(request, exam_id, form, part, Write({}, _seen(form), normal=station))


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
        written, assessment, made = written_exam(request, exam_id, write, me)
    except Collision as collision:
        typed = {cell: sent} if cell and sent else {}
        answer = clash_answer(collision, Answer(typed, medicines=typed_medicines(form)))
        return _refused(request, exam_id, form, part, answer, cell, status=409)
    except NotOpen:
        return _closed(request, exam_id, form, part, cell)
    if not wants_fragment(request):
        return see_other(sheet_path(written.id, part_for(part, me.role)))
    status = SaveStatus(_("saved {UTC}").format(UTC=f"{local(datetime.now(UTC)):%H:%M}"))
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
    answer = Answer(general=(_(CLOSED_MEANWHILE),))
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
        return sheet_answer(request, held, part, answer, status)
    place = f"{finding_words(*cell)}: " if cell else ""
    says = [*answer.general, *(place + message.says for message in answer.messages.values())]
    if answer.medicines_message:
        says.append(_("Medicines: {says}").format(says=answer.medicines_message.says))
    page = saved_page(
        held,
        Reader.of(request, part, held.state),
        SaveStatus(_("NOT SAVED"), is_saved=False, detail=" ".join(says)),
        since=since,
        sent=[cell] if cell else [],
        sent_medicines="medicines" in form,
        answer=answer,
    )
    return show(request, "saved.html", page, status=status)


def _seen(form: Mapping[str, str]) -> int:
    """The revision that the person saw when they made this entry.

    It may be older than the one that the page shows by now, because entries wait in line.
    """
    return revision_in(form, "seen" if "seen" in form else "revision")
