"""The first page: the exams of the day and what waits, by state, and the search for a patient."""

from collections.abc import Mapping
from dataclasses import replace
from datetime import UTC, datetime, time

from fastapi import APIRouter, Request
from sqlmodel import Session
from starlette.responses import Response

from app.knowledge.load import knowledge
from app.knowledge.terms import ROLE_WORDS
from app.language.words import N_, _, ngettext
from app.report.phrases import day
from app.store.alerts import Alert, alerts
from app.store.engine import reading
from app.store.exams import WorklistRow, closed_before, worklist
from app.store.free_text import BadText, check_line
from app.store.patients import find_patients
from app.store.presence import Present, here_in
from app.web.allowed import may, require
from app.web.answers import show
from app.web.forms import FormFields
from app.web.identity import SignedIn, visit_of
from app.web.noted import noted
from app.web.pages import ExamLine, Fault, Who
from app.web.wording import exam_line, local, today, who
from app.web.worklist_pages import (
    AlertLine,
    AlertsView,
    ExamGroup,
    GroupsView,
    WorklistPage,
    WorklistUpdatesPage,
)

router = APIRouter()

LONGEST_SEARCH = 100
# What waits for somebody stands first.
_ORDER = (
    ("ready", N_("Ready for the physician")),
    ("open", N_("Open")),
    ("signed", N_("Signed")),
    ("amended", N_("Amended")),
)


@router.get("/")
def show_worklist(request: Request) -> Response:
    """The worklist."""
    me = require(request, "worklist", "read")
    with reading(request.app.state.engine) as session:
        waiting, groups = _shown(request, session, me)
    if me.emergency_until is not None:
        # It names patients; to somebody whose role opens no chart that is a look of its own.
        noted(request, me, "worklist")
    page = WorklistPage(
        title=_("Exams"), alerts=waiting, groups=groups, may_add=may(me, "patient", "write")
    )
    return show(request, "worklist.html", page)


@router.get("/updates")
def show_updates(request: Request, alerts: str = "", groups: str = "") -> Response:
    """What is new on a worklist that is open; 204 where nothing is.

    alerts, groups: the marks of what the page shows.
    """
    me = require(request, "worklist", "read")
    with reading(request.app.state.engine) as session:
        waiting, listed = _shown(request, session, me)
    page = WorklistUpdatesPage(
        title=_("Updates"),
        # What is read out loud comes only when it is new.
        alerts=None if waiting.mark == alerts else waiting,
        groups=None if listed.mark == groups else listed,
    )
    if page.alerts is None and page.groups is None:
        return Response(status_code=204)
    answer = show(request, "worklist_updates.html", page)
    if page.groups is None:
        answer.headers["HX-Reswap"] = "none"
    return answer


@router.post("/")
def search(request: Request, form: FormFields) -> Response:
    """The worklist with the patients that were looked for; a name never stands in an address."""
    me = require(request, "worklist", "read")
    require(request, "patient", "read")
    text, fault = form.get("search", ""), ""
    found: tuple[Who, ...] | None = None
    try:
        wanted = check_line(text, longest=LONGEST_SEARCH)
        fault = "" if wanted else _("Type the beginning of a name or a chart number")
    except BadText as bad:
        wanted, fault = "", _("What you looked for {bad}").format(bad=bad)
    with reading(request.app.state.engine) as session:
        waiting, groups = _shown(request, session, me)
        if wanted:
            found = tuple(who(card, today()) for card in find_patients(session, wanted))
    if found is not None:
        # What was looked for may be a name, and stands nowhere.
        noted(request, me, "search", found=len(found))
    page = WorklistPage(
        title=_("Exams"),
        faults=(Fault("search", fault),) if fault else (),
        alerts=waiting,
        groups=groups,
        may_add=may(me, "patient", "write"),
        searched=text,
        found=found,
        search_fault=fault,
    )
    return show(request, "worklist.html", page, status=422 if fault else 200)


def _shown(request: Request, session: Session, me: SignedIn) -> tuple[AlertsView, GroupsView]:
    """What this person is shown of the clinic just now."""
    day_began = datetime.combine(today(), time()).astimezone(UTC)
    rows, waiting = worklist(session, today_since=day_began), alerts(session)
    listed = [each.exam_id for each in rows]
    present = here_in(session, listed, datetime.now(UTC), me.token_hash)
    here = {exam_id: _here_words(there) for exam_id, there in present.items()}
    groups = _groups(rows, here, closed_before(session, day_began), day_began)
    pathways = visit_of(request).settings.pathways
    return AlertsView(_alert_lines(waiting, pathways)), groups


def _alert_lines(waiting: list[Alert], pathways: Mapping[str, str]) -> tuple[AlertLine, ...]:
    known = knowledge().warnings
    return tuple(
        AlertLine(
            exam_id=each.exam_id,
            who=who(each.patient, today()),
            # An emergency is shown also where this version no longer knows its name.
            says=", ".join(known[name].label if name in known else name for name in each.warnings),
            since=_since(each.since),
            pathway=" ".join(pathways[name] for name in each.warnings if name in pathways),
        )
        for each in waiting
    )


def _since(moment: datetime) -> str:
    """The time of day, with the day where that is not today."""
    since = local(moment)
    return f"{since:%H:%M}" if since.date() == today() else f"{day(since)} {since:%H:%M}"


def _groups(
    rows: list[WorklistRow],
    here: Mapping[str, str],
    closed: Mapping[str, int],
    day_began: datetime,
) -> GroupsView:
    def lines(state: str, *, is_today: bool) -> tuple[ExamLine, ...]:
        return tuple(
            replace(exam_line(row), here=here.get(row.exam_id, ""))
            for row in rows
            if row.state == state and (row.started_at >= day_began) == is_today
        )

    groups = []
    for state, title in _ORDER:
        earlier = lines(state, is_today=False)
        more = max(0, closed.get(state, 0) - len(earlier))
        group = ExamGroup(state, _(title), lines(state, is_today=True), earlier, more)
        if group.today or group.earlier or group.more:
            groups.append(group)
    return GroupsView(tuple(groups))


def _here_words(present: list[Present]) -> str:
    """Who has an exam open; somebody at two computers is one person."""
    people = dict.fromkeys(f"{each.name} ({ROLE_WORDS[each.role]})" for each in present)
    return ngettext("{people} has it open now", "{people} have it open now", len(people)).format(
        people=", ".join(people)
    )
