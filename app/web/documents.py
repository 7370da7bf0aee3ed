"""What leaves the program: the PDF and the text note of an exam."""

from datetime import UTC, datetime

from fastapi import APIRouter, Request
from starlette.responses import Response

from app.assess.assess import assess
from app.exam.vocabulary import vocabulary
from app.knowledge.load import knowledge
from app.report.note import text_note
from app.report.page import Person, ReportInput
from app.report.pdf import pdf
from app.store.engine import reading
from app.store.exams import ExamRecord, exam_record
from app.web.answers import Templates, show
from app.web.pages import NotePage, Site
from app.web.wording import local, who

router = APIRouter()


@router.get("/exams/{exam_id}/pdf")
def show_pdf(request: Request, exam_id: str) -> Response:
    """The exam as a PDF, marked as a draft."""
    with reading(request.app.state.engine) as session:
        held = exam_record(session, exam_id)
    made = pdf(report_of(held, _site(request), datetime.now(UTC)), knowledge())
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
    with reading(request.app.state.engine) as session:
        held = exam_record(session, exam_id)
    page = NotePage(
        title="Note",
        exam_id=held.id,
        who=who(held.patient, local(held.started_at).date()),
        note=text_note(report_of(held, _site(request), datetime.now(UTC)), knowledge()),
    )
    return show(request, "note.html", page)


def report_of(held: ExamRecord, site: Site, printed_at: datetime) -> ReportInput:
    """An exam as the report takes it."""
    person = held.patient
    stations = vocabulary().stations
    bulk = {vocabulary()[cell[0]].station for cell, each in held.cells.items() if each.bulk}
    recorders = [(each.by, each.role) for each in held.cells.values()]
    if held.medicines_record:
        recorders.append((held.medicines_record.by, held.medicines_record.role))
    return ReportInput(
        patient=Person(
            person.family_name,
            person.given_name,
            person.birth_date,
            person.sex,
            person.chart_number,
        ),
        exam_id=held.id,
        state=held.state,
        reason=held.reason,
        started_at=local(held.started_at),
        printed_at=local(printed_at),
        recorded_by=tuple(f"{name}, {role}" for name, role in dict.fromkeys(recorders)),
        bulk_stations=tuple(station.id for station in stations if station.id in bulk),
        exam=held.exam,
        assessment=assess(held.exam, knowledge()),
        clinic=site.clinic,
        demo=site.demo,
    )


def _site(request: Request) -> Site:
    templates: Templates = request.app.state.templates
    return templates.site
