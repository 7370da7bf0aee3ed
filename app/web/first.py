"""The first administrator: a one-time code from the server's console makes the first account."""

from datetime import UTC, datetime, timedelta

from fastapi import APIRouter, Request
from sqlalchemy import Engine
from starlette.responses import Response

from app.language.words import _
from app.people.passwords import hash_password
from app.people.tokens import hash_code, new_code
from app.store.account_changes import add_account
from app.store.accounts import account, has_accounts
from app.store.actor import PROGRAM, Actor
from app.store.engine import one_at_a_time, writing
from app.store.invitations import has_first_invitation, invite, use_invitation
from app.store.proofs import set_password
from app.store.refusals import BadForm, NotFound
from app.web.account_pages import FirstPage
from app.web.answers import home_of
from app.web.fields import fields_of, summary_of
from app.web.forms import FormFields
from app.web.identity import source_of
from app.web.new_password import PASSWORD_FIELDS, password_faults
from app.web.sign_in import started
from app.web.signing_in import show_public

router = APIRouter()

VALID_FOR = timedelta(hours=24)
_FIELDS = ("code", "sign_in_name", "printed_name", *PASSWORD_FIELDS)


def first_code(engine: Engine, *, again: bool) -> str | None:
    """A new code for the first administrator; None where there is an account already.

    again: also where a code was given out before that can still be used.
    """
    now = datetime.now(UTC)
    with writing(engine) as session:
        # Of several servers that start at once, one gives out a code.
        one_at_a_time(session.connection())
        if has_accounts(session) or (not again and has_first_invitation(session, now)):
            return None
        code = new_code()
        invite(session, None, hash_code(code), now + VALID_FOR, actor=PROGRAM, now=now)
    return code


@router.get("/first")
def show_first(request: Request) -> Response:
    """The form for the first account."""
    return show_public(
        request, "first.html", lambda token: FirstPage(title=_("First account"), form_token=token)
    )


@router.post("/first")
def save_first(request: Request, form: FormFields) -> Response:
    """Make the first administrator, once, and sign them in."""
    faults = password_faults(request, form, _names(form))
    now = datetime.now(UTC)
    try:
        if faults:
            raise BadForm(faults)
        hashed = hash_password(form["password"])
        with writing(request.app.state.engine) as session:
            if use_invitation(session, hash_code(form.get("code", "")), now).account_id is not None:
                raise NotFound
            actor = Actor(PROGRAM.name, "", source=source_of(request))
            made = add_account(
                session,
                form.get("sign_in_name", ""),
                form.get("printed_name", ""),
                "administrator",
                actor=actor,
                now=now,
            )
            set_password(session, made.id, hashed, actor=actor, now=now)
            made = account(session, made.id)
    except BadForm as bad:
        return _refused(request, form, bad.faults)
    except NotFound:
        says = _("this code is not valid: it was used, its 24 hours are over, or it is mistyped")
        return _refused(request, form, {"code": says})
    return started(request, made, home_of(made.role))


def _names(form: FormFields) -> tuple[str, ...]:
    return (form.get("sign_in_name", ""), form.get("printed_name", ""))


def _refused(request: Request, form: FormFields, faults: dict[str, str]) -> Response:
    def page(token: str) -> FirstPage:
        fields = fields_of(_FIELDS, form, faults, PASSWORD_FIELDS)
        return FirstPage(
            title=_("First account"),
            form_token=token,
            faults=summary_of(fields),
            **fields,
        )

    return show_public(request, "first.html", page, status=422)
