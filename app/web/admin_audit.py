"""Who did what: the audit read by an administrator, and its chain checked."""

from datetime import UTC, datetime

from fastapi import APIRouter, Request
from sqlmodel import Session
from starlette.responses import Response

from app.knowledge.terms import ROLE_WORDS
from app.language.words import N_, _
from app.store.accounts import accounts
from app.store.audit import Head, note
from app.store.audit_list import MOST_LISTED, Asked, happened
from app.store.engine import reading, writing
from app.store.patients import patient_with_number
from app.store.verify import parse_head, verify
from app.web.admin_pages import AuditPage, Choice, VerifyPage
from app.web.allowed import require
from app.web.answers import show
from app.web.audit_words import ACTIONS, audit_line
from app.web.forms import FormFields
from app.web.pages import Fault, Field

router = APIRouter(prefix="/admin/audit")

_VERIFY = N_("Was anything altered?")


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


@router.get("/verify")
def show_verify(request: Request) -> Response:
    """The form for heads that were printed."""
    require(request, "audit", "read")
    return show(request, "admin/verify.html", VerifyPage(title=_(_VERIFY), heads=Field()))


@router.post("/verify")
def verify_audit(request: Request, form: FormFields) -> Response:
    """Check the chain and every row that it speaks of, and heads that were printed."""
    me = require(request, "audit", "read")
    typed = form.get("heads", "")
    heads, wrong = _heads(typed)
    if wrong:
        page = VerifyPage(
            title=_(_VERIFY), faults=(Fault("heads", wrong),), heads=Field(typed, wrong)
        )
        return show(request, "admin/verify.html", page, status=422)
    with reading(request.app.state.engine) as session:
        checked = verify(session, heads)
    found = len(checked.alterations)
    with writing(request.app.state.engine) as session:
        note(session, me.actor, "verify", at=datetime.now(UTC), detail={"alterations": found})
    page = VerifyPage(
        title=_(_VERIFY),
        heads=Field(typed),
        says=_("{audit} acts and the {rows} rows that they speak of were read. ").format(
            audit=checked.audit, rows=checked.rows
        )
        + (
            _("Altered places: {found}.").format(found=found)
            if found
            else _("Nothing was altered.")
        ),
        head=str(checked.head),
        alterations=tuple(str(each) for each in checked.alterations),
    )
    return show(request, "admin/verify.html", page)


def _heads(typed: str) -> tuple[list[Head], str]:
    """The heads, one a line, and what is wrong with the first that is none."""
    heads = []
    for number, line in enumerate(typed.splitlines(), start=1):
        try:
            if line.strip():
                heads.append(parse_head(line))
        except ValueError as fault:
            return [], _("Line {number} of the heads: {fault}").format(number=number, fault=fault)
    return heads, ""


def _page(request: Request, form: FormFields) -> Response:
    number = form.get("chart_number", "").strip()
    action = form.get("action", "") if form.get("action", "") in ACTIONS else ""
    before = _before(form)
    with reading(request.app.state.engine) as session:
        people = accounts(session)
        who = next((each.id for each in people if each.id == form.get("account", "")), "")
        patient_id, fault = _chart(session, number)
        # One more than is shown says whether there are older ones.
        asked = Asked(who, patient_id, action, before)
        found = [] if fault else happened(session, asked, limit=MOST_LISTED + 1)
    shown, names = found[:MOST_LISTED], {each.id: each.printed_name for each in people}
    page = AuditPage(
        title=_("Audit"),
        faults=(Fault("chart_number", fault),) if fault else (),
        lines=tuple(audit_line(each, names) for each in shown),
        accounts=tuple(
            Choice(each.id, f"{each.printed_name} ({ROLE_WORDS[each.role]})") for each in people
        ),
        actions=tuple(Choice(name, words) for name, words in ACTIONS.items()),
        account=who,
        action=action,
        chart_number=Field(number, fault),
        oldest=shown[-1].number if len(found) > MOST_LISTED else 0,
        is_newest=before is None,
    )
    return show(request, "admin/audit.html", page, status=422 if fault else 200)


def _chart(session: Session, number: str) -> tuple[str, str]:
    """The patient of a chart number, or what is wrong with it."""
    if not number:
        return "", ""
    found = patient_with_number(session, number)
    return (found.id, "") if found else ("", _("No patient has this chart number"))


def _before(form: FormFields) -> int | None:
    text = form.get("before", "")
    return int(text) if text.isascii() and text.isdecimal() and len(text) <= 15 else None
