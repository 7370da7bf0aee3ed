"""One's own account: the password, and the browsers in which one is signed in."""

from datetime import UTC, datetime

from fastapi import APIRouter, Request
from sqlmodel import Session
from starlette.exceptions import HTTPException
from starlette.responses import Response

from app.knowledge.terms import ROLE_WORDS
from app.language.words import N_, Spoken, _
from app.people.passwords import hash_password
from app.people.tokens import hash_token, new_token
from app.report.phrases import day
from app.store.accounts import account
from app.store.engine import reading, writing
from app.store.proofs import set_password
from app.store.sign_ins import SignIn, end, renew, sign_ins_of
from app.web.account_pages import OwnAccountPage, SignInLine
from app.web.allowed import require
from app.web.answers import see_other, show
from app.web.cookies import keep_sign_in
from app.web.forms import FormFields
from app.web.identity import SignedIn, visit_of
from app.web.new_password import password_faults
from app.web.own_proof import own_proof_fault
from app.web.pages import Fault, Field
from app.web.wording import local

router = APIRouter()

SAID = Spoken(
    {
        "password": N_("The new password is set. Other browsers are signed out."),
        "second-factor": N_("The second factor is on. Signing in asks for its code from now on."),
        "off": N_("The second factor is off."),
        "ended": N_("That sign-in is ended."),
    }
)


@router.get("/me")
def show_own_account(request: Request, done: str = "") -> Response:
    """The own account; done: what was just changed."""
    me = require(request, "own_account", "read")
    return own_account_answer(request, me, says=SAID.get(done, ""))


@router.post("/me/password")
def save_password(request: Request, form: FormFields) -> Response:
    """Set another password; this browser goes on under a new token, every other is signed out."""
    me = require(request, "own_account", "write")
    fault = own_proof_fault(request, me, form.get("password", ""))
    faults = {"password": fault} if fault else {}
    if not faults:
        faults = password_faults(
            request,
            form,
            (me.name, me.sign_in_name),
            has_second_factor=me.has_second_factor,
            fields=("new_password", "again"),
        )
    if faults:
        return own_account_answer(request, me, status=422, faults=faults)
    hashed, now, token = hash_password(form["new_password"]), datetime.now(UTC), new_token()
    with writing(request.app.state.engine) as session:
        renewed(session, me, token, now)
        set_password(
            session, me.account_id, hashed, actor=me.actor, now=now, keep=hash_token(token)
        )
    answer = see_other("/me?done=password")
    keep_sign_in(request, answer, token)
    return answer


@router.post("/me/sign-ins")
def end_sign_in(request: Request, form: FormFields) -> Response:
    """End one of the own sign-ins in another browser."""
    me = require(request, "own_account", "write")
    wanted = form.get("sign_in", "")
    with writing(request.app.state.engine) as session:
        own = {each.token_hash for each in sign_ins_of(session, me.account_id)}
        if wanted not in own:
            raise HTTPException(404, _("This sign-in is not yours, or has ended already."))
        end(session, wanted, actor=me.actor, now=datetime.now(UTC))
    return see_other("/me?done=ended")


def renewed(session: Session, me: SignedIn, token: str, now: datetime) -> None:
    """Go on under a new token after a fresh proof."""
    renew(session, me.token_hash, hash_token(token), actor=me.actor, now=now, action="sign_in")


def own_account_answer(
    request: Request,
    me: SignedIn,
    *,
    status: int = 200,
    faults: dict[str, str] | None = None,
    says: str = "",
) -> Response:
    """The page of the own account."""
    faults = faults or {}
    now, limits = datetime.now(UTC), visit_of(request).limits
    with reading(request.app.state.engine) as session:
        held = account(session, me.account_id)
        lines = [
            _line(each, me)
            for each in sign_ins_of(session, me.account_id)
            if now - each.started_at < limits.absolute
        ]
    page = OwnAccountPage(
        title=_("Your account"),
        faults=tuple(Fault(name, fault) for name, fault in faults.items()),
        sign_in_name=me.sign_in_name,
        printed_name=me.name,
        role=ROLE_WORDS[me.role],
        revision=held.revision,
        has_password=held.password_hash is not None,
        has_second_factor=held.totp_secret is not None,
        sign_ins=tuple(lines),
        says=says,
        **{
            name: Field(fault=faults.get(name, ""))
            for name in ("password", "new_password", "again", "off_password")
        },
    )
    return show(request, "me.html", page, status=status)


def _line(held: SignIn, me: SignedIn) -> SignInLine:
    started, active = local(held.started_at), local(held.active_at)
    return SignInLine(
        id=held.token_hash,
        started=f"{day(started)} {started:%H:%M}",
        active=f"{active:%H:%M}",
        source=held.source,
        is_here=held.token_hash == me.token_hash,
        is_locked=held.locked_at is not None,
    )
