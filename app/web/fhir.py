"""What leaves for other programs: an exam as a FHIR document, and the sheet with its answers."""

from dataclasses import replace
from datetime import UTC, datetime

from fastapi import APIRouter, Request
from sqlmodel import Session
from starlette.responses import Response

from app.knowledge.load import knowledge
from app.report.fhir.document import MEDIA_TYPE, document
from app.report.fhir.questionnaire import questionnaire
from app.report.fhir.response import response
from app.report.page import ReportInput
from app.report.signed import SIGNED_STATES
from app.store.clinic_settings import clinic_settings
from app.store.engine import reading
from app.store.exams import ExamRecord, exam_record
from app.store.review import review_of
from app.store.signatures import document as kept_document
from app.store.signatures import signatures
from app.web.allowed import require
from app.web.documents import draft_for_console, draft_report, held_for, report_of
from app.web.pages import Site
from app.web.sign import block_of
from app.web.signed_exam import assessed_when_signed, printed

router = APIRouter()
# As a QuestionnaireResponse calls the states of an exam.
_ANSWERED = {"open": "in-progress", "ready": "in-progress"}


@router.get("/fhir/Questionnaire")
def show_questionnaire(request: Request) -> Response:
    """The sheet, about nobody."""
    require(request, "knowledge", "read")
    return _fhir(questionnaire(knowledge()), "evenhand-questionnaire.json")


@router.get("/exams/{exam_id}/fhir")
def show_fhir(request: Request, exam_id: str) -> Response:
    """The exam as a document: a draft, or what was signed, with the signed page within."""
    held = held_for(request, exam_id, "fhir")
    if held.state in SIGNED_STATES:
        with reading(request.app.state.engine) as session:
            site = request.app.state.templates.site
            made = signed_document(session, held, site)
    else:
        made = document(draft_report(request, held), knowledge())
    return _fhir(made, f"{_name(held)}.fhir.json")


@router.get("/exams/{exam_id}/QuestionnaireResponse")
def show_response(request: Request, exam_id: str) -> Response:
    """What was recorded, as answers to the sheet."""
    held = held_for(request, exam_id, "fhir")
    made = response(held.exam, status=_ANSWERED.get(held.state, "completed"))
    return _fhir(made, f"{_name(held)}.response.json")


def document_of(
    session: Session,
    exam_id: str,
    site: Site,
    *,
    now: datetime,
) -> bytes:
    """The document of one exam, for a command, which sees all that was recorded and decided.

    site: the installation as the environment names it. now: when a draft is made.
    Raises: NotFound, Unreadable.
    """
    held = exam_record(session, exam_id)
    if held.state in SIGNED_STATES:
        return signed_document(session, held, site)
    return document(draft_for_console(session, held, site, now), knowledge())


def signed_document(session: Session, held: ExamRecord, site: Site) -> bytes:
    """The document of a signed exam with its newest page; the same bytes at any later time."""
    pieces = signatures(session, held.id)
    page = kept_document(session, pieces[-1].document_sha256).content
    return document(report_when_signed(session, held, site), knowledge(), page=page)


def report_when_signed(session: Session, held: ExamRecord, site: Site) -> ReportInput:
    """What the newest signed page was made from, as the store still holds it."""
    pieces = signatures(session, held.id)
    # The page carries the pathways of the day of the exam's own signature, and the name of the
    # clinic of the day of its newest.
    name = clinic_settings(session, at=pieces[-1].signed_at).name
    return report_of(
        held,
        review_of(session, held.id),
        replace(site, clinic=name) if name else site,
        pieces[-1].signed_at.astimezone(UTC),
        assessed_when_signed(held, pieces),
        state=held.state,
        pathways=clinic_settings(session, at=pieces[0].signed_at).pathways,
        signature=block_of(pieces[0]),
        amendments=tuple(printed(each) for each in pieces[1:]),
    )


def _name(held: ExamRecord) -> str:
    """The name of a file ends up in download folders and logs: it names nobody."""
    word = held.state.upper() if held.state in SIGNED_STATES else "DRAFT"
    return f"evenhand-exam-{held.id[:8]}-r{held.revision}-{word}"


def _fhir(made: bytes, name: str) -> Response:
    return Response(
        made,
        media_type=MEDIA_TYPE,
        headers={"Content-Disposition": f'attachment; filename="{name}"'},
    )
