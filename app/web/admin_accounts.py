"""Accounts, as an administrator keeps them: added, changed, closed; nobody's password is seen."""

from datetime import UTC, datetime, timedelta

from fastapi import APIRouter, Request
from sqlmodel import Session
from starlette.responses import Response

from app.language.words import N_, Spoken, _
from app.people.tokens import hash_code, new_code
from app.store.account_changes import add_account, change_account
from app.store.accounts import Account, account, accounts
from app.store.engine import reading, writing
from app.store.invitations import invite
from app.store.proofs import set_second_factor
from app.store.refusals import AccountCollision, BadForm
from app.web.admin_pages import AccountLine, AccountPage, AccountsPage, Invited
from app.web.allowed import require
from app.web.answers import see_other, show
from app.web.fields import fields_of, summary_of
from app.web.forms import FormFields, revision_in
from app.web.identity import SignedIn
from app.web.pages import Fault

router = APIRouter(prefix="/admin/accounts")

VALID_FOR = timedelta(days=7)
MEANWHILE = N_("This account was changed meanwhile")
SAID = Spoken(
    {
        "changed": N_("The account is changed."),
        "factor": N_("The second factor is taken away. A new one can be set up after signing in."),
    }
)


@router.get("")
def show_accounts(request: Request) -> Response:
    """Every account."""
    require(request, "accounts", "read")
    return _list(request, {})


@router.post("")
def save_new_account(request: Request, form: FormFields) -> Response:
    """Add an account, and show once the code with which its person sets a password."""
    me = require(request, "accounts", "write")
    now = datetime.now(UTC)
    try:
        with writing(request.app.state.engine) as session:
            made = add_account(
                session,
                form.get("sign_in_name", ""),
                form.get("printed_name", ""),
                form.get("role", ""),
                actor=me.actor,
                now=now,
            )
            invited = _invite(request, session, made, me, now, at_revision=made.revision)
    except BadForm as bad:
        return _list(request, form, bad.faults)
    return _list(request, {}, invited=invited)


@router.get("/{account_id}")
def show_account(request: Request, account_id: str, done: str = "") -> Response:
    """One account; done: what was just changed."""
    require(request, "accounts", "read")
    return _one(request, account_id, says=SAID.get(done, ""))


@router.post("/{account_id}")
def save_account(request: Request, account_id: str, form: FormFields) -> Response:
    """Change the printed name or the role, close the account, or open it again."""
    me, revision = require(request, "accounts", "write"), revision_in(form)
    try:
        with writing(request.app.state.engine) as session:
            change_account(
                session,
                account_id,
                printed_name=form.get("printed_name", ""),
                role=form.get("role", ""),
                is_active="is_active" in form,
                at_revision=revision,
                actor=me.actor,
                now=datetime.now(UTC),
            )
    except BadForm as bad:
        return _one(request, account_id, form=form, faults=bad.faults, revision=revision)
    except AccountCollision as collision:
        theirs = collision.theirs
        return _one(
            request,
            account_id,
            form=form,
            faults=_both(form, theirs),
            revision=theirs.revision,
            status=409,
        )
    return see_other(f"/admin/accounts/{account_id}?done=changed")


@router.post("/{account_id}/code")
def save_new_code(request: Request, account_id: str, form: FormFields) -> Response:
    """Make a new code, for somebody who has never set a password or has forgotten it."""
    me, revision = require(request, "accounts", "write"), revision_in(form)
    now = datetime.now(UTC)
    try:
        with writing(request.app.state.engine) as session:
            invited = _invite(
                request, session, account(session, account_id), me, now, at_revision=revision
            )
    except AccountCollision:
        return _one(request, account_id, meanwhile=_("No code was made"), status=409)
    return _one(request, account_id, invited=invited)


@router.post("/{account_id}/second-factor/off")
def take_second_factor(request: Request, account_id: str, form: FormFields) -> Response:
    """Take the second factor away from somebody who has lost it."""
    me, revision = require(request, "accounts", "write"), revision_in(form)
    now = datetime.now(UTC)
    try:
        with writing(request.app.state.engine) as session:
            set_second_factor(
                session, account_id, None, at_revision=revision, actor=me.actor, now=now
            )
    except AccountCollision:
        return _one(request, account_id, meanwhile=_("Nothing was taken away"), status=409)
    return see_other(f"/admin/accounts/{account_id}?done=factor")


def _invite(
    request: Request,
    session: Session,
    made: Account,
    me: SignedIn,
    now: datetime,
    *,
    at_revision: int,
) -> Invited:
    code = new_code()
    invite(
        session,
        made.id,
        hash_code(code),
        now + VALID_FOR,
        at_revision=at_revision,
        actor=me.actor,
        now=now,
    )
    return Invited(made.printed_name, made.sign_in_name, code, at=f"{request.url.netloc}/invited")


def _list(
    request: Request,
    typed: FormFields,
    faults: dict[str, str] | None = None,
    invited: Invited | None = None,
) -> Response:
    faults = faults or {}
    with reading(request.app.state.engine) as session:
        held = accounts(session)
    # Who cannot sign in any more stands last.
    held.sort(key=lambda each: (not each.is_active, each.printed_name.casefold()))
    fields = fields_of(("printed_name", "sign_in_name", "role"), typed, faults)
    page = AccountsPage(
        title=_("Accounts"),
        faults=summary_of(fields),
        accounts=tuple(map(_line, held)),
        invited=invited,
        **fields,
    )
    return show(request, "admin/accounts.html", page, status=422 if faults else 200)


def _one(
    request: Request,
    account_id: str,
    *,
    form: FormFields | None = None,
    faults: dict[str, str] | None = None,
    revision: int | None = None,
    meanwhile: str = "",
    status: int = 422,
    invited: Invited | None = None,
    says: str = "",
) -> Response:
    """The page of one account; revision: of what was typed, None for that of now.

    meanwhile: what was not done, because somebody else changed the account. status: where
    something was refused.
    """
    faults = faults or {}
    with reading(request.app.state.engine) as session:
        held = account(session, account_id)
    typed = form or {
        "printed_name": held.printed_name,
        "role": held.role,
        "is_active": "yes" if held.is_active else "",
    }
    fields = fields_of(("printed_name", "role", "is_active"), typed, faults)
    page = AccountPage(
        title=_("Account of {printed_name}").format(printed_name=held.printed_name),
        faults=(*_refusal(meanwhile), *summary_of(fields)),
        account=_line(held),
        has_second_factor=held.totp_secret is not None,
        has_provider=held.oidc_key is not None,
        revision=held.revision if revision is None else revision,
        invited=invited,
        says=says,
        **fields,
    )
    return show(request, "admin/account.html", page, status=status if page.faults else 200)


def _both(form: FormFields, theirs: Account) -> dict[str, str]:
    """Both values of each field in which the account is no longer as the form has it."""
    may = {True: _("may sign in"), False: _("may not sign in")}
    pairs = {
        "printed_name": (theirs.printed_name, form.get("printed_name", "")),
        "role": (theirs.role, form.get("role", "")),
        "is_active": (may[theirs.is_active], may["is_active" in form]),
    }
    return {
        name: _(
            "somebody else changed this account meanwhile. Here it says “{now}” now. "
            "Yours, “{mine}”, is not saved"
        ).format(now=now, mine=mine)
        for name, (now, mine) in pairs.items()
        if now != mine
    }


def _refusal(meanwhile: str) -> tuple[Fault, ...]:
    if not meanwhile:
        return ()
    says = _("{MEANWHILE}, and is shown as it stands now. {meanwhile}").format(
        MEANWHILE=_(MEANWHILE), meanwhile=meanwhile
    )
    return (Fault("main", says),)


def _line(held: Account) -> AccountLine:
    if not held.is_active:
        standing = "closed"
    elif held.oidc_key is not None:
        standing = _("identity provider")
    elif held.password_hash is None:
        standing = _("no password yet")
    elif held.totp_secret is not None:
        standing = _("password and second factor")
    else:
        standing = _("password alone")
    return AccountLine(
        held.id, held.sign_in_name, held.printed_name, held.role, standing, held.is_active
    )
