"""The first page: exams newest first by state, and the search for a patient."""

from fastapi import APIRouter, Request
from sqlmodel import Session
from starlette.responses import Response

from app.knowledge.load import knowledge
from app.store.alerts import alerts
from app.store.clinic_settings import clinic_settings
from app.store.engine import reading
from app.store.exams import WorklistRow, worklist
from app.store.free_text import BadText, check_line
from app.store.patients import find_patients
from app.web.allowed import require
from app.web.answers import show
from app.web.forms import FormFields
from app.web.noted import noted
from app.web.pages import AlertLine, AlertsPage, ExamGroup, Fault, Who, WorklistPage
from app.web.wording import exam_line, local, today, who

router = APIRouter()

LONGEST_SEARCH = 100
# What waits for somebody stands first.
_ORDER = (
    ("ready", "Ready for the physician"),
    ("open", "Open"),
    ("signed", "Signed"),
    ("amended", "Amended"),
)


@router.get("/")
def show_worklist(request: Request) -> Response:
    """The worklist."""
    require(request, "worklist", "read")
    with reading(request.app.state.engine) as session:
        rows, waiting = worklist(session), _alerts(session)
    page = WorklistPage(title="Exams", alerts=waiting, groups=_groups(rows))
    return show(request, "worklist.html", page)


@router.get("/updates")
def show_new_alerts(request: Request, shown: str = "") -> Response:
    """The emergencies that no physician has seen, where they are others than the page shows."""
    require(request, "worklist", "read")
    with reading(request.app.state.engine) as session:
        page = AlertsPage(title="Emergencies", alerts=_alerts(session))
    if page.mark == shown:
        return Response(status_code=204)
    return show(request, "alerts.html", page)


@router.post("/")
def search(request: Request, form: FormFields) -> Response:
    """The worklist with the patients that were looked for; a name never stands in an address."""
    me = require(request, "worklist", "read")
    require(request, "patient", "read")
    text, fault = form.get("search", ""), ""
    found: tuple[Who, ...] | None = None
    try:
        wanted = check_line(text, longest=LONGEST_SEARCH)
        fault = "" if wanted else "Type the beginning of a name or a chart number"
    except BadText as bad:
        wanted, fault = "", f"What you looked for {bad}"
    with reading(request.app.state.engine) as session:
        rows, waiting = worklist(session), _alerts(session)
        if wanted:
            found = tuple(who(card, today()) for card in find_patients(session, wanted))
    if found is not None:
        # What was looked for may be a name, and stands nowhere.
        noted(request, me, "search", found=len(found))
    page = WorklistPage(
        title="Exams",
        faults=(Fault("search", fault),) if fault else (),
        alerts=waiting,
        groups=_groups(rows),
        searched=text,
        found=found,
        search_fault=fault,
    )
    return show(request, "worklist.html", page, status=422 if fault else 200)


def _alerts(session: Session) -> tuple[AlertLine, ...]:
    known, pathways = knowledge(), clinic_settings(session).pathways
    return tuple(
        AlertLine(
            exam_id=each.exam_id,
            who=who(each.patient, today()),
            says=", ".join(known.warnings[name].label for name in each.warnings),
            since=f"{local(each.since):%H:%M}",
            pathway=" ".join(pathways[name] for name in each.warnings if name in pathways),
        )
        for each in alerts(session)
    )


def _groups(rows: list[WorklistRow]) -> tuple[ExamGroup, ...]:
    groups = []
    for state, title in _ORDER:
        exams = tuple(exam_line(row) for row in rows if row.state == state)
        if exams:
            groups.append(ExamGroup(title, exams))
    return tuple(groups)
