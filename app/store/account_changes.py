"""What an administrator does with accounts; one who can sign in and let others in always stays."""

from datetime import datetime
from typing import Any
from uuid import uuid4

from sqlalchemy import or_
from sqlalchemy.exc import IntegrityError
from sqlmodel import Session, col, select

from app.language.words import N_, Spoken, _
from app.store.accounts import (
    DEMO_PREFIX,
    LONGEST_SIGN_IN_NAME,
    Account,
    account_named,
    account_of,
    account_with_key,
    lock_account,
    refuse_unseen,
    sign_in_key,
)
from app.store.actor import LONGEST_NAME, Actor
from app.store.audit import note
from app.store.free_text import BadText, check_name
from app.store.invitations import void_invitations
from app.store.people_tables import AccountRow
from app.store.refusals import BadForm
from app.store.sign_ins import end_sign_ins
from app.store.tables import ACCOUNT_ROLES

# What a form says where the database holds such a key already.
_TAKEN = {
    "sign_in_key": Spoken({"sign_in_name": N_("this sign-in name is taken")}),
    "oidc_key": Spoken({"oidc_key": N_("this identity belongs to another account")}),
}
LAST_ADMINISTRATOR = N_("this is the last administrator who can sign in: appoint another one first")


def add_account(
    session: Session,
    sign_in_name: str,
    printed_name: str,
    role: str,
    *,
    actor: Actor,
    now: datetime,
    oidc_key: str | None = None,
    is_demo: bool = False,
) -> Account:
    """Add an active account without a password.

    Raises: BadForm, with every fault; a sign-in name is taken whatever its case.
    """
    faults: dict[str, str] = {}
    sign_in_name = _sign_in_name(sign_in_name, is_demo, faults)
    printed_name, role = _name_and_role(printed_name, role, faults)
    if account_named(session, sign_in_name) is not None:
        faults |= dict(_TAKEN["sign_in_key"])
    if oidc_key is not None and account_with_key(session, oidc_key) is not None:
        faults |= dict(_TAKEN["oidc_key"])
    if faults:
        raise BadForm(faults)
    row = AccountRow(
        id=uuid4().hex,
        sign_in_name=sign_in_name,
        sign_in_key=sign_in_key(sign_in_name),
        printed_name=printed_name,
        role=role,
        is_active=True,
        oidc_key=oidc_key,
        created_at=now,
    )
    try:
        with session.begin_nested():
            session.add(row)
    except IntegrityError as error:
        # On PostgreSQL somebody else may have added it since we looked.
        for column, taken in _TAKEN.items():
            if column in str(error.orig):
                raise BadForm(dict(taken)) from None
        raise
    _note(session, actor, "add_account", now, row, sign_in_name=sign_in_name, role=role)
    return account_of(row)


def change_account(
    session: Session,
    account_id: str,
    *,
    printed_name: str,
    role: str,
    is_active: bool,
    at_revision: int | None,
    actor: Actor,
    now: datetime,
) -> Account:
    """Change a name or role, or let somebody in no longer, or again.

    Who is let in no longer, or in another role, is signed out everywhere; codes of somebody who is
    let in no longer are void, also when they are let in again.
    at_revision: that of the account from which it was changed; None where no page showed one.
    Raises: NotFound; AccountCollision, where somebody has changed it otherwise meanwhile; BadForm,
    also where no administrator would be left who can sign in.
    """
    faults: dict[str, str] = {}
    printed_name, role = _name_and_role(printed_name, role, faults)
    administrators = _locked_administrators(session)
    row = lock_account(session, account_id)
    if faults:
        raise BadForm(faults)
    asked = {"printed_name": printed_name, "role": role, "is_active": is_active}
    changed = {name: value for name, value in asked.items() if getattr(row, name) != value}
    if changed:
        refuse_unseen(row, at_revision)
    if administrators == [row.id] and not (role == "administrator" and is_active):
        raise BadForm({"role" if is_active else "is_active": _(LAST_ADMINISTRATOR)})
    for name, value in changed.items():
        setattr(row, name, value)
    if changed:
        row.revision += 1
        session.flush()
        if not is_active or "role" in changed:
            end_sign_ins(session, row.id, actor=actor, now=now)
        if not is_active:
            void_invitations(session, row.id)
        _note(session, actor, "change_account", now, row, **changed)
    return account_of(row)


def _locked_administrators(session: Session) -> list[str]:
    """The administrators who can sign in; whoever else would change one of them waits for us."""
    asked = (
        select(AccountRow)
        .where(
            AccountRow.role == "administrator",
            AccountRow.is_active,
            or_(col(AccountRow.password_hash).is_not(None), col(AccountRow.oidc_key).is_not(None)),
        )
        # In one order, so that two who ask at once cannot wait for each other.
        .order_by(col(AccountRow.id))
        .with_for_update()
        .execution_options(populate_existing=True)
    )
    return [row.id for row in session.exec(asked)]


def _sign_in_name(raw: str, is_demo: bool, faults: dict[str, str]) -> str:
    name = _named(raw, "sign_in_name", _("the sign-in name"), LONGEST_SIGN_IN_NAME, faults)
    if " " in name:
        faults["sign_in_name"] = _("the sign-in name has a space in it")
    elif sign_in_key(name).startswith(DEMO_PREFIX) and not is_demo:
        faults["sign_in_name"] = _(
            "names that begin with {DEMO_PREFIX} are for the demonstration"
        ).format(DEMO_PREFIX=DEMO_PREFIX)
    return name


def _name_and_role(printed_name: str, role: str, faults: dict[str, str]) -> tuple[str, str]:
    printed_name = _named(printed_name, "printed_name", _("the name"), LONGEST_NAME, faults)
    if role not in ACCOUNT_ROLES:
        faults["role"] = _("choose one of {ACCOUNT_ROLES}").format(
            ACCOUNT_ROLES=", ".join(ACCOUNT_ROLES)
        )
    return printed_name, role


def _named(raw: str, place: str, name: str, longest: int, faults: dict[str, str]) -> str:
    try:
        return check_name(raw, longest=longest)
    except BadText as fault:
        faults[place] = f"{name} {fault}"
        return ""


def _note(
    session: Session, actor: Actor, action: str, now: datetime, row: AccountRow, **detail: Any
) -> None:
    note(session, actor, action, at=now, detail={"account": row.id, **detail})
