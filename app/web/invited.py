"""The own way in: whoever was given a one-time code chooses a password, or the provider."""

from datetime import UTC, datetime

from fastapi import APIRouter, Request
from starlette.responses import Response

from app.language.words import N_, _
from app.people.passwords import hash_password
from app.people.tokens import hash_code
from app.store.accounts import Account, account
from app.store.actor import Actor
from app.store.engine import reading, writing
from app.store.identities import unlink_identity
from app.store.invitations import invitation, use_invitation
from app.store.proofs import set_password
from app.store.refusals import NotFound
from app.web.account_pages import InvitedPage
from app.web.answers import home_of, see_other
from app.web.forms import FormFields
from app.web.identity import source_of
from app.web.new_password import PASSWORD_FIELDS, password_faults
from app.web.pages import Fault, Field
from app.web.provider_sign_in import ask_to_link
from app.web.sign_in import started
from app.web.signing_in import show_public

router = APIRouter()

HAS_SECOND_FACTOR = N_(
    "This account has a second factor, which a code alone does not replace: its owner, or an "
    "administrator, takes it away first"
)
_FIELDS = ("code", *PASSWORD_FIELDS)


@router.get("/invited")
def show_invited(request: Request) -> Response:
    """The form for the code and the password."""
    return show_public(
        request,
        "invited.html",
        lambda token: InvitedPage(title=_("Own password"), form_token=token),
    )


@router.post("/invited")
def save_invited(request: Request, form: FormFields) -> Response:
    """Set the password, once for each code, and sign the person in."""
    now = datetime.now(UTC)
    hashed_code = hash_code(form.get("code", ""))
    try:
        invited = _invited(request, hashed_code, now)
        if "link" in form:
            if invited.totp_secret is not None:
                # As below: whoever found the code has the telephone of nobody.
                return _refused(request, form, {"code": _(HAS_SECOND_FACTOR)})
            return ask_to_link(request, hashed_code)
        faults = password_faults(
            request,
            form,
            (invited.sign_in_name, invited.printed_name),
            has_second_factor=invited.totp_secret is not None,
        )
        if faults:
            return _refused(request, form, faults)
        hashed = hash_password(form["password"])
        actor = Actor(invited.printed_name, invited.role, invited.id, source_of(request))
        with writing(request.app.state.engine) as session:
            use_invitation(session, hashed_code, now)
            set_password(session, invited.id, hashed, actor=actor, now=now)
            unlink_identity(session, invited.id, actor=actor, now=now)
    except NotFound:
        says = _("This code is not valid: it was used, its time is over, or it is mistyped")
        return _refused(request, form, {"code": says})
    if invited.totp_secret is not None:
        # The code stands for a forgotten password, not for the second factor.
        return see_other("/sign-in")
    return started(request, invited, home_of(invited.role))


def _invited(request: Request, hashed_code: str, now: datetime) -> Account:
    """Whose code it is.

    Raises: NotFound.
    """
    with reading(request.app.state.engine) as session:
        account_id = invitation(session, hashed_code, now).account_id
        if account_id is None:
            raise NotFound
        return account(session, account_id)


def _refused(request: Request, form: FormFields, faults: dict[str, str]) -> Response:
    def page(token: str) -> InvitedPage:
        return InvitedPage(
            title=_("Own password"),
            form_token=token,
            faults=tuple(Fault(name, faults[name]) for name in _FIELDS if name in faults),
            code=Field(form.get("code", ""), faults.get("code", "")),
            password=Field(fault=faults.get("password", "")),
            again=Field(fault=faults.get("again", "")),
        )

    return show_public(request, "invited.html", page, status=422)
