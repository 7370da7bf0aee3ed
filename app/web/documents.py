"""What leaves the program: the PDF and the text note of an exam."""

from dataclasses import replace
from datetime import UTC, datetime
from typing import Any

from fastapi import APIRouter, Request
from sqlmodel import Session
from starlette.exceptions import HTTPException
from starlette.responses import Response

from app.assess.assess import assess
from app.assess.assessment import Assessment
from app.exam.vocabulary import vocabulary
from app.knowledge.load import knowledge
from app.knowledge.terms import ROLE_WORDS
from app.language.words import _
from app.report.attached import attached_files
from app.report.leaflet import LeafletInput, leaflet_pdf
from app.report.note import text_note
from app.report.page import Paper, Person, ReportInput
from app.report.pdf import pdf
from app.report.reviewed import By
from app.report.signed import SIGNED_STATES
from app.store.clinic_settings import clinic_settings
from app.store.engine import reading
from app.store.exams import ExamRecord, exam_record
from app.store.refusals import NotSigned
from app.store.review import Review, review_of
from app.store.signatures import attached_to, document, signatures
from app.store.signed_content import note_of
from app.web.allowed import may, require, someone
from app.web.answers import show, site_of
from app.web.identity import visit_of
from app.web.noted import noted
from app.web.pages import NotePage, Site
from app.web.settled import settled
from app.web.wording import local, who

router = APIRouter()


@router.get("/exams/{exam_id}/pdf")
def show_pdf(request: Request, exam_id: str) -> Response:
    """The exam as a PDF: a draft, or the newest page that was signed."""
    held = held_for(request, exam_id, "print")
    if held.state in SIGNED_STATES:
        return _signed_page(request, exam_id, None)
    draft = draft_report(request, held)
    made = pdf(draft, knowledge(), attached_files(draft, knowledge()))
    # The name of a file ends up in download folders and logs: it names nobody.
    name = f"evenhand-exam-{held.id[:8]}-r{held.revision}-DRAFT.pdf"
    return Response(
        made,
        media_type="application/pdf",
        headers={"Content-Disposition": f'inline; filename="{name}"'},
    )


@router.get("/exams/{exam_id}/note")
def show_note(request: Request, exam_id: str) -> Response:
    """The exam as text for pasting."""
    held = held_for(request, exam_id, "note")
    if held.state in SIGNED_STATES:
        with reading(request.app.state.engine) as session:
            text = note_of(signatures(session, exam_id)[-1])
    else:
        text = text_note(draft_report(request, held), knowledge())
    page = NotePage(
        title=_("Note"),
        exam_id=held.id,
        who=who(held.patient, local(held.examined_at).date()),
        note=text,
    )
    return show(request, "note.html", page)


@router.get("/exams/{exam_id}/leaflet")
def show_leaflet(request: Request, exam_id: str) -> Response:
    """What the patient takes home, as PDF; there is none before the exam is signed."""
    held = held_for(request, exam_id, "leaflet")
    if held.state not in SIGNED_STATES:
        raise NotSigned(_("the page for the patient follows from what was signed"))
    with reading(request.app.state.engine) as session:
        review = review_of(session, exam_id)
    site = site_of(request)
    given = LeafletInput(
        patient=_person(held),
        exam_id=held.id,
        examined_at=local(held.examined_at),
        exam=held.exam,
        taken=tuple(
            step for step in knowledge().steps if (did := review.steps.get(step)) and did.is_taken
        ),
        own_words=review.for_patient,
        clinic=site.clinic,
        demo=site.demo,
    )
    made = leaflet_pdf(given, knowledge())
    name = f"evenhand-exam-{held.id[:8]}-for-the-patient.pdf"
    return Response(
        made,
        media_type="application/pdf",
        headers={"Content-Disposition": f'inline; filename="{name}"'},
    )


@router.get("/exams/{exam_id}/documents/{number}")
def show_document(request: Request, exam_id: str, number: int) -> Response:
    """A page in the very bytes that were signed: 0 is the exam's, the amendments' follow."""
    held_for(request, exam_id, "print")
    return _signed_page(request, exam_id, number)


@router.get("/exams/{exam_id}/documents/{number}/{name}")
def show_attached(request: Request, exam_id: str, number: int, name: str) -> Response:
    """A file from inside a signed page, in the bytes that were attached."""
    held_for(request, exam_id, "print")
    with reading(request.app.state.engine) as session:
        pieces = [each for each in signatures(session, exam_id) if each.number == number]
        files = attached_to(session, pieces[0].document_sha256) if pieces else []
    found = next((each for each in files if each.name == name), None)
    if found is None:
        raise HTTPException(404)
    saved_as = f"evenhand-exam-{exam_id[:8]}-{number}-{found.name}"
    return Response(
        found.content,
        media_type=found.media_type,
        headers={"Content-Disposition": f'attachment; filename="{saved_as}"'},
    )


def draft_report(request: Request, held: ExamRecord) -> ReportInput:
    """An exam that is not signed; with what was decided so far, for whoever may see that."""
    review = None
    if may(someone(request), "review", "read", held.state):
        with reading(request.app.state.engine) as session:
            # At the revision of the exam, so that nothing newer is read beside it.
            review = review_of(session, held.id, held.revision)
    pathways = visit_of(request).settings.pathways
    return report_of(held, review, site_of(request), datetime.now(UTC), pathways=pathways)


def draft_for_console(session: Session, held: ExamRecord, site: Site, now: datetime) -> ReportInput:
    """An exam that is not signed, for a command, which sees all that was decided so far.

    site: the installation as the environment names it.
    Raises: NotFound, Unreadable.
    """
    settings = clinic_settings(session)
    named = replace(site, clinic=settings.name or site.clinic)
    review = review_of(session, held.id, held.revision)
    return report_of(held, review, named, now, pathways=settings.pathways)


def _signed_page(request: Request, exam_id: str, number: int | None) -> Response:
    """The stored page of one piece, or of the newest; nothing is rendered again."""
    with reading(request.app.state.engine) as session:
        pieces = signatures(session, exam_id)
        wanted = [each for each in pieces if number is None or each.number == number]
        if not wanted:
            raise HTTPException(404)
        kept = document(session, wanted[-1].document_sha256)
    state = "AMENDED" if wanted[-1].number else "SIGNED"
    name = f"evenhand-exam-{exam_id[:8]}-{wanted[-1].number}-{state}.pdf"
    return Response(
        kept.content,
        media_type=kept.media_type,
        headers={
            "Content-Disposition": f'inline; filename="{name}"',
            "ETag": f'"{kept.sha256}"',
        },
    )


def held_for(request: Request, exam_id: str, action: str) -> ExamRecord:
    """The exam, where this person may have its documents; that they have them is noted."""
    someone(request)
    with reading(request.app.state.engine) as session:
        held = exam_record(session, exam_id)
    me = require(request, "document", "read", held.state)
    noted(request, me, action, patient_id=held.patient.id, exam_id=held.id, revision=held.revision)
    return held


def report_of(
    held: ExamRecord,
    review: Review | None,
    site: Site,
    printed_at: datetime,
    assessment: Assessment | None = None,
    **more: Any,
) -> ReportInput:
    """An exam as the report takes it.

    review: what was decided on it; None for who may not see that. assessment: what it added up to
    when it was signed; as it does now, where it was not.
    more: what else a ReportInput says, the state of a signed one among it.
    """
    found = assessment or assess(held.exam, knowledge())
    stations = vocabulary().stations
    bulk = {vocabulary()[cell[0]].station for cell, each in held.cells.items() if each.bulk}
    recorders = [(each.by, each.role) for each in held.cells.values()]
    if held.medicines_record:
        recorders.append((held.medicines_record.by, held.medicines_record.role))
    return ReportInput(
        patient=_person(held),
        exam_id=held.id,
        state=more.pop("state", held.state),
        reason=held.reason,
        started_at=local(held.examined_at),
        paper=_paper(held),
        printed_at=local(printed_at),
        recorded_by=tuple(f"{name}, {ROLE_WORDS[role]}" for name, role in dict.fromkeys(recorders)),
        recorded=_recorded(held),
        cell_by={
            cell: By(each.by, each.role, local(each.at))
            for cell, each in held.cells.items()
            if each.value is not None
        },
        bulk_stations=tuple(station.id for station in stations if station.id in bulk),
        exam=held.exam,
        assessment=found,
        clinic=site.clinic,
        demo=site.demo,
        document_type=site.document_type,
        **({} if review is None else settled(held, review, found)),
        **more,
    )


def _person(held: ExamRecord) -> Person:
    person = held.patient
    return Person(
        person.family_name, person.given_name, person.birth_date, person.sex, person.chart_number
    )


def _recorded(held: ExamRecord) -> tuple[str, ...]:
    """Who recorded what, as it stands: the stations of each, in the order of the exam."""
    parts: dict[str, list[str]] = {}
    for station in vocabulary().stations:
        for cell, each in held.cells.items():
            known = parts.setdefault(f"{each.by}, {ROLE_WORDS[each.role]}", [])
            if vocabulary()[cell[0]].station == station.id and station.label not in known:
                known.append(station.label)
    if held.medicines_record:
        by = held.medicines_record
        parts.setdefault(f"{by.by}, {ROLE_WORDS[by.role]}", []).append(_("Medicines"))
    return tuple(f"{who}: {'; '.join(what)}" for who, what in parts.items())


def _paper(held: ExamRecord) -> Paper | None:
    if held.on_paper is None:
        return None
    return Paper(held.on_paper.examined_by, entered_at=local(held.started_at))
