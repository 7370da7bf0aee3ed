"""One rule, or one finding asked for, explained for one exam on a page of its own."""

from fastapi import APIRouter, Request
from starlette.exceptions import HTTPException
from starlette.responses import Response

from app.exam.vocabulary import vocabulary
from app.knowledge.load import knowledge
from app.store.engine import reading
from app.store.exams import ExamRecord, exam_record
from app.web.allowed import require, someone
from app.web.answers import show
from app.web.asked_view import asked_page
from app.web.noted import noted
from app.web.why_view import why_category, why_falls, why_warning

router = APIRouter()


@router.get("/exams/{exam_id}/why/{rule}")
def show_why(request: Request, exam_id: str, rule: str, part: str = "") -> Response:
    """Why a pattern or a warning is shown as it is, or why it is not."""
    known = knowledge()
    held = _held(request, exam_id)
    sheet_part = "nurse" if part == "nurse" else ""
    if rule in known.categories:
        page = why_category(held, sheet_part, known.categories[rule], known)
    elif rule in known.warnings:
        page = why_warning(held, sheet_part, known.warnings[rule], known)
    elif rule == known.fall_risk.id:
        page = why_falls(held, sheet_part, known)
    else:
        raise HTTPException(404)
    return show(request, "knowledge/why.html", page)


@router.get("/exams/{exam_id}/next/{finding}")
def show_why_asked(request: Request, exam_id: str, finding: str) -> Response:
    """Why a finding is worth examining, and what each answer would do."""
    held = _held(request, exam_id)
    if finding not in vocabulary():
        raise HTTPException(404)
    return show(request, "knowledge/asked.html", asked_page(held, finding, knowledge()))


def _held(request: Request, exam_id: str) -> ExamRecord:
    """The exam, where this person may have it explained; that they had is noted."""
    someone(request)
    with reading(request.app.state.engine) as session:
        held = exam_record(session, exam_id)
    me = require(request, "document", "read", held.state)
    noted(request, me, "read", patient_id=held.patient.id, exam_id=held.id)
    return held
