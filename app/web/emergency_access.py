"""Emergency access: somebody whose role opens no chart opens them for an hour, and says why."""

from datetime import UTC, datetime

from fastapi import APIRouter, Request
from starlette.responses import Response

from app.report.phrases import day
from app.store.emergency_access import open_emergency_access
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
def show_emergency_access(request: Request) -> Response:
    """The form, and until when charts are open already."""
    me = require(request, "emergency_access", "write")
    return show(request, "admin/emergency_access.html", _page(me, Field()))


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


def _page(me: SignedIn, reason: Field) -> EmergencyAccessPage:
    until = ""
    if me.emergency_until is not None:
        over = local(me.emergency_until)
        until = f"{day(over)} {over:%H:%M}"
    return EmergencyAccessPage(
        title="Emergency access",
        faults=(Fault("reason", reason.fault),) if reason.fault else (),
        until=until,
        reason=reason,
    )
