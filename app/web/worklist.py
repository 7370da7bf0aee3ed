"""The first page: exams newest first by state, and the search for a patient."""

from fastapi import APIRouter, Request
from starlette.responses import Response

from app.store.engine import reading
from app.store.exams import WorklistRow, worklist
from app.store.free_text import BadText, check_line
from app.store.patients import find_patients
from app.web.answers import show
from app.web.forms import FormFields
from app.web.pages import ExamGroup, Fault, Who, WorklistPage
from app.web.wording import exam_line, today, who

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
    with reading(request.app.state.engine) as session:
        rows = worklist(session)
    return show(request, "worklist.html", WorklistPage(title="Exams", groups=_groups(rows)))


@router.post("/")
def search(request: Request, form: FormFields) -> Response:
    """The worklist with the patients that were looked for; a name never stands in an address."""
    text, fault = form.get("search", ""), ""
    found: tuple[Who, ...] | None = None
    try:
        wanted = check_line(text, longest=LONGEST_SEARCH)
        fault = "" if wanted else "Type the beginning of a name or a chart number"
    except BadText as bad:
        wanted, fault = "", f"What you looked for {bad}"
    with reading(request.app.state.engine) as session:
        rows = worklist(session)
        if wanted:
            found = tuple(who(card, today()) for card in find_patients(session, wanted))
    page = WorklistPage(
        title="Exams",
        faults=(Fault("search", fault),) if fault else (),
        groups=_groups(rows),
        searched=text,
        found=found,
        search_fault=fault,
    )
    return show(request, "worklist.html", page, status=422 if fault else 200)


def _groups(rows: list[WorklistRow]) -> tuple[ExamGroup, ...]:
    groups = []
    for state, title in _ORDER:
        exams = tuple(exam_line(row) for row in rows if row.state == state)
        if exams:
            groups.append(ExamGroup(title, exams))
    return tuple(groups)
