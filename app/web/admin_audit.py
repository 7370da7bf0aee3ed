"""Who did what: the audit read by an administrator, and its chain checked."""

from collections.abc import Mapping
from datetime import UTC, datetime
from typing import Any

from fastapi import APIRouter, Request
from sqlmodel import Session
from starlette.responses import Response

from app.report.phrases import day
from app.store.accounts import accounts
from app.store.audit import Head, note
from app.store.audit_list import MOST_LISTED, Asked, Happened, happened
from app.store.engine import reading, writing
from app.store.patients import patient_with_number
from app.store.verify import parse_head, verify
from app.web.admin_pages import AuditLine, AuditPage, Choice, VerifiedView
from app.web.allowed import require
from app.web.answers import show
from app.web.forms import FormFields
from app.web.pages import Fault, Field
from app.web.wording import local

router = APIRouter(prefix="/admin/audit")

# Every act that the program notes, in words that follow a name.
ACTIONS: Mapping[str, str] = {
    "read": "opened a chart",
    "print": "made or fetched a PDF",
    "note": "opened a note",
    "search": "searched for a patient",
    "record": "recorded",
    "review": "reviewed",
    "start": "started an exam",
    "add_patient": "added a patient",
    "hand_over": "handed an exam over",
    "take_back": "took an exam back",
    "sign": "signed an exam",
    "amend": "signed an amendment",
    "seen_alert": "opened an exam with an emergency",
    "emergency_access": "opened charts in an emergency",
    "sign_in": "signed in",
    "sign_in_refused": "was not let in",
    "sign_out": "signed out",
    "switch": "made room for somebody else",
    "lock": "locked the screen",
    "unlock": "unlocked the screen",
    "refused": "was refused",
    "add_account": "added an account",
    "change_account": "changed an account",
    "invite": "made a code",
    "set_password": "set a password",
    "second_factor": "changed a second factor",
    "setting": "changed the clinic’s settings",
    "verify": "checked the audit",
    "begin": "took the entries that were there into the audit",
}


@router.get("")
def show_audit(request: Request) -> Response:
    """The newest acts."""
    require(request, "audit", "read")
    return _page(request, {})


@router.post("")
def search_audit(request: Request, form: FormFields) -> Response:
    """The acts of one person, on one chart or of one kind; a chart number is in no address."""
    require(request, "audit", "read")
    return _page(request, form)


@router.post("/verify")
def verify_audit(request: Request, form: FormFields) -> Response:
    """Check the chain and every row that it speaks of, and heads that were printed."""
    me = require(request, "audit", "read")
    typed = form.get("heads", "")
    heads: list[Head] = []
    try:
        heads = [parse_head(line) for line in typed.splitlines() if line.strip()]
    except ValueError as fault:
        return _page(request, form, heads=Field(typed, f"{fault}"))
    with reading(request.app.state.engine) as session:
        checked = verify(session, heads)
    found = len(checked.alterations)
    with writing(request.app.state.engine) as session:
        note(session, me.actor, "verify", at=datetime.now(UTC), detail={"alterations": found})
    view = VerifiedView(
        says=f"{checked.audit} acts and {checked.rows} rows that they speak of were read: "
        + ("nothing was altered." if not found else f"{found} altered."),
        head=str(checked.head),
        alterations=tuple(str(each) for each in checked.alterations),
    )
    return _page(request, form, verified=view, heads=Field(typed))


def _page(
    request: Request,
    form: FormFields,
    *,
    verified: VerifiedView | None = None,
    heads: Field | None = None,
) -> Response:
    number = form.get("chart_number", "").strip()
    action = form.get("action", "") if form.get("action", "") in ACTIONS else ""
    with reading(request.app.state.engine) as session:
        people = accounts(session)
        who = next((each.id for each in people if each.id == form.get("account", "")), "")
        patient_id, fault = _chart(session, number)
        asked = Asked(who, patient_id, action, _before(form))
        found = [] if fault else happened(session, asked)
    chart = Field(number, fault)
    faults = [Fault("chart_number", fault)] if fault else []
    if heads is not None and heads.fault:
        faults.append(Fault("heads", heads.fault))
    page = AuditPage(
        title="Audit",
        faults=tuple(faults),
        lines=tuple(_line(each) for each in found),
        accounts=tuple(Choice(each.id, f"{each.printed_name} ({each.role})") for each in people),
        actions=tuple(Choice(name, words) for name, words in ACTIONS.items()),
        account=who,
        action=action,
        chart_number=chart,
        oldest=found[-1].number if len(found) == MOST_LISTED else 0,
        verified=verified,
        heads=heads or Field(),
    )
    return show(request, "admin/audit.html", page, status=422 if faults else 200)


def _chart(session: Session, number: str) -> tuple[str, str]:
    """The patient of a chart number, or what is wrong with it."""
    if not number:
        return "", ""
    found = patient_with_number(session, number)
    return (found.id, "") if found else ("", "No patient has this chart number")


def _before(form: FormFields) -> int | None:
    text = form.get("before", "")
    return int(text) if text.isascii() and text.isdecimal() and len(text) <= 15 else None


def _line(each: Happened) -> AuditLine:
    at = local(each.at)
    return AuditLine(
        number=each.number,
        at=f"{day(at)} {at:%H:%M:%S}",
        who=f"{each.name} ({each.role})" if each.role else each.name,
        what=ACTIONS.get(each.action, each.action),
        chart_number=each.chart_number,
        exam=each.exam_id[:8],
        source=each.source,
        more=", ".join(f"{name} {_plain(value)}" for name, value in each.detail.items()),
    )


def _plain(value: Any) -> str:
    return " ".join(map(str, value)) if isinstance(value, list) else str(value)
