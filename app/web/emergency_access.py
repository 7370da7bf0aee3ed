"""Emergency access: somebody whose role opens no chart opens them for an hour, and says why."""

from datetime import UTC, datetime

from fastapi import APIRouter, Request
from starlette.responses import Response

from app.language.words import _
from app.report.phrases import day
from app.store.emergency_access import BY_HAND, end_emergency_access, open_emergency_access
from app.store.engine import writing
from app.store.refusals import BadForm
from app.web.admin_pages import EmergencyAccessPage
from app.web.allowed import require
from app.web.answers import see_other, show
from app.web.forms import FormFields
from app.web.identity import SignedIn
from app.web.pages import Fault, Field
from app.web.wording import local, sentence

router = APIRouter(prefix="/emergency-access")


@router.get("")
def show_emergency_access(request: Request, done: str = "") -> Response:
    """The form, and until when charts are open already; done: they were just closed."""
    me = require(request, "emergency_access", "write")
    says = _("Emergency access is ended. No chart opens to you any more.") if done else ""
    return show(request, "admin/emergency_access.html", _page(me, Field(), says))


@router.post("")
def save_emergency_access(request: Request, form: FormFields) -> Response:
    """Open charts for an hour; the reason is kept, and the audit marks it."""
    me = require(request, "emergency_access", "write")
    typed = form.get("reason", "")
    try:
        with writing(request.app.state.engine) as session:
            open_emergency_access(session, typed, actor=me.actor, now=datetime.now(UTC))
    except BadForm as bad:
        page = _page(me, Field(typed, sentence(bad.faults["reason"])))
        return show(request, "admin/emergency_access.html", page, status=422)
    return see_other("/")


@router.post("/end")
def end_own_emergency_access(request: Request, form: FormFields) -> Response:
    """Close the charts before the hour is over; the audit tells it."""
    me = require(request, "emergency_access", "write")
    with writing(request.app.state.engine) as session:
        end_emergency_access(session, me.account_id, BY_HAND, actor=me.actor, now=datetime.now(UTC))
    return see_other("/emergency-access?done=ended")


def _page(me: SignedIn, reason: Field, says: str = "") -> EmergencyAccessPage:
    until = ""
    if me.emergency_until is not None:
        over = local(me.emergency_until)
        until = f"{day(over)} {over:%H:%M}"
    return EmergencyAccessPage(
        title=_("Emergency access"),
        faults=(Fault("reason", reason.fault),) if reason.fault else (),
        until=until,
        says="" if until else says,
        reason=reason,
    )
