"""The second factor of one's own account: a secret to scan, and its first code to confirm it."""

import re
from datetime import UTC, datetime

from fastapi import APIRouter, Request
from starlette.exceptions import HTTPException
from starlette.responses import Response

from app.language.words import N_, _
from app.people.passwords import BadPassword, check_new_password
from app.people.second_factor import accepted_step, new_secret, qr_svg, uri
from app.people.tokens import new_token
from app.store.accounts import account
from app.store.engine import reading, writing
from app.store.proofs import set_second_factor, use_step
from app.store.refusals import AccountCollision
from app.web.account_pages import SecondFactorPage
from app.web.allowed import require
from app.web.answers import see_other, show, site_of
from app.web.cookies import keep_sign_in
from app.web.forms import FormFields, revision_in
from app.web.identity import SignedIn
from app.web.own_account import own_account_answer, renewed
from app.web.own_proof import own_proof_fault
from app.web.pages import Fault, Field

router = APIRouter()

MEANWHILE = N_(
    "Your account was changed meanwhile, in another browser or by an administrator, and is shown "
    "as it stands now. The second factor was left as it is"
)
# 160 bits in base 32, as the program makes them.
_SECRET = re.compile(r"[A-Z2-7]{32}")


@router.post("/me/second-factor/new")
def show_new_secret(request: Request, form: FormFields) -> Response:
    """A new secret; nothing is kept until a code shows that it was scanned."""
    me, revision = require(request, "own_account", "write"), revision_in(form)
    with reading(request.app.state.engine) as session:
        held = account(session, me.account_id)
    if held.revision != revision:
        return own_account_answer(request, me, status=409, faults={"main": _(MEANWHILE)})
    return _show(request, me, new_secret(), revision, {})


@router.post("/me/second-factor")
def save_second_factor(request: Request, form: FormFields) -> Response:
    """Keep the secret, after the password and the first code."""
    me = require(request, "own_account", "write")
    secret, revision, now = form.get("secret", ""), revision_in(form), datetime.now(UTC)
    if not _SECRET.fullmatch(secret):
        raise HTTPException(422, _("The form does not hold a secret of ours. Nothing was changed."))
    fault = own_proof_fault(request, me, form.get("password", ""))
    if fault:
        return _show(request, me, secret, revision, {"password": fault})
    step = accepted_step(secret, form.get("code", ""), now, None)
    if step is None:
        says = _(
            "This is not the code that the program shows now. Scan the square again, and look "
            "whether the clock of the telephone is right"
        )
        return _show(request, me, secret, revision, {"code": says})
    token = new_token()
    try:
        with writing(request.app.state.engine) as session:
            set_second_factor(
                session, me.account_id, secret, at_revision=revision, actor=me.actor, now=now
            )
            use_step(session, me.account_id, step)
            renewed(session, me, token, now)
    except AccountCollision:
        return own_account_answer(request, me, status=409, faults={"main": _(MEANWHILE)})
    answer = see_other("/me?done=second-factor")
    keep_sign_in(request, answer, token)
    return answer


@router.post("/me/second-factor/off")
def end_second_factor(request: Request, form: FormFields) -> Response:
    """Take the second factor away; the password must then be strong enough by itself."""
    me, now = require(request, "own_account", "write"), datetime.now(UTC)
    password, revision = form.get("off_password", ""), revision_in(form)
    fault = own_proof_fault(request, me, password)
    if not fault:
        try:
            check_new_password(password, has_second_factor=False, words=(me.name, me.sign_in_name))
        except BadPassword as bad:
            fault = _("Without a second factor the password must be longer: {says}").format(
                says=bad.says
            )
    if fault:
        return own_account_answer(request, me, status=422, faults={"off_password": fault})
    token = new_token()
    try:
        with writing(request.app.state.engine) as session:
            set_second_factor(
                session, me.account_id, None, at_revision=revision, actor=me.actor, now=now
            )
            renewed(session, me, token, now)
    except AccountCollision:
        return own_account_answer(request, me, status=409, faults={"main": _(MEANWHILE)})
    answer = see_other("/me?done=off")
    keep_sign_in(request, answer, token)
    return answer


def _show(
    request: Request, me: SignedIn, secret: str, revision: int, faults: dict[str, str]
) -> Response:
    page = SecondFactorPage(
        title=_("Second factor"),
        faults=tuple(Fault(name, fault) for name, fault in faults.items()),
        secret=secret,
        secret_groups=" ".join(secret[start : start + 4] for start in range(0, len(secret), 4)),
        qr=qr_svg(uri(secret, me.sign_in_name, site_of(request).clinic)),
        revision=revision,
        password=Field(fault=faults.get("password", "")),
        code=Field(fault=faults.get("code", "")),
    )
    return show(request, "second_factor.html", page, status=422 if faults else 200)
