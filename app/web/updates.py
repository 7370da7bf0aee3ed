"""What others do at an exam that is open on a sheet; the sheet asks every other second.

Nothing is noted for the audit: who opened the sheet was noted then, and a page that asks by itself
says nothing about the person before it.
"""

from collections.abc import Sequence
from datetime import UTC, datetime

from fastapi import APIRouter, Request
from starlette.exceptions import HTTPException
from starlette.responses import Response

from app.language.words import _
from app.store.engine import reading, writing
from app.store.exams import ExamRecord, exam_record, revision_and_state
from app.store.presence import here as who_is_here
from app.store.presence import is_due, seen
from app.store.refusals import StaleRevision
from app.store.signatures import Signature, signatures
from app.web.allowed import require, someone
from app.web.answers import show
from app.web.exam_page import Reader, saved_page
from app.web.meanwhile import here_view, places, state_view
from app.web.pages import SavedPage, UpdatesPage

router = APIRouter()


@router.get("/exams/{exam_id}/updates")
def updates(
    request: Request,
    exam_id: str,
    since: int,
    station: str = "",
    part: str = "",
    state: str = "open",
    here: str = "",
) -> Response:
    """What is new since the page last heard; 204 where nothing is.

    since, state, here: the revision, the state and the mark of those present that the page shows.
    station: where the person is, empty where they have not begun anywhere.
    """
    engine = request.app.state.engine
    someone(request)
    if station not in ("", *places()):
        raise HTTPException(422, _("The page names a place that no exam has."))
    with reading(engine) as session:
        now_at, now_state = revision_and_state(session, exam_id)
    if not 0 <= since <= now_at:
        raise StaleRevision(
            _("the exam is at revision {now_at}; it has no revision {since}").format(
                now_at=now_at, since=since
            )
        )
    me = require(request, "chart", "read", now_state)
    now = datetime.now(UTC)
    with reading(engine) as session:
        is_moved = is_due(session, exam_id, me.token_hash, station, now)
    if is_moved:
        with writing(engine) as session:
            seen(session, exam_id, me.token_hash, me.name, me.role, station, now)
    held, signed = None, []
    with reading(engine) as session:
        present = here_view(who_is_here(session, exam_id, now, me.token_hash))
        if (now_at, now_state) != (since, state):
            held, signed = exam_record(session, exam_id), signatures(session, exam_id)
    # The page asks for last time by itself: whoever holds a connection must not wait for another.
    changes = None if held is None else _changes(request, held, signed, part, since)
    if changes is None and present.mark == here:
        return Response(status_code=204)
    page = UpdatesPage(
        title=_("Updates"), changes=changes, here=None if present.mark == here else present
    )
    answer = show(request, "updates.html", page)
    if changes is None:
        answer.headers["HX-Reswap"] = "none"
    return answer


def _changes(
    request: Request, held: ExamRecord, signed: Sequence[Signature], part: str, since: int
) -> SavedPage:
    """What was recorded since, and in what state the exam is now."""
    return saved_page(
        held,
        Reader.of(request, part, held.state),
        None,
        since=since,
        state=state_view(held.state, signed),
    )
