"""Accounts: who may sign in, under which name and role, and with what they prove it."""

from dataclasses import dataclass, field
from datetime import datetime
from typing import Any
from uuid import uuid4

from sqlalchemy import delete, or_, update
from sqlalchemy.exc import IntegrityError
from sqlmodel import Session, col, select

from app.store.actor import LONGEST_NAME, Actor
from app.store.audit import note
from app.store.free_text import BadText, check_line, check_name, exact_key
from app.store.patients import is_id
from app.store.people_tables import AccountRow, InvitationRow, SignInRow
from app.store.refusals import BadForm, NotFound
from app.store.tables import ACCOUNT_ROLES

LONGEST_SIGN_IN_NAME = 100
# The accounts of the demonstration begin so, and no others may.
DEMO_PREFIX = "demo-"
# What a form says where the database holds such a key already.
_TAKEN = {
    "sign_in_key": {"sign_in_name": "this sign-in name is taken"},
    "oidc_key": {"oidc_key": "this identity belongs to another account"},
}
LAST_ADMINISTRATOR = "this is the last administrator who can sign in: appoint another one first"


@dataclass(frozen=True)
class Account:
    """Somebody who may sign in while the account is active.

    password_hash: None until a password is set. totp_secret: None without a second factor;
    totp_counter: the last time step of it that was used. oidc_key: issuer and subject at the
    identity provider, None for a local account.
    """

    id: str
    sign_in_name: str
    printed_name: str
    role: str
    is_active: bool
    # Neither belongs in a log or in a failed test.
    password_hash: str | None = field(repr=False)
    totp_secret: str | None = field(repr=False)
    totp_counter: int | None
    oidc_key: str | None
    created_at: datetime


def sign_in_key(typed: str) -> str:
    """The form in which sign-in names are the same: case makes no difference.

    Empty where the text cannot be anybody's name.
    """
    try:
        return exact_key(check_line(typed, longest=LONGEST_SIGN_IN_NAME))
    except BadText:
        return ""


def has_accounts(session: Session) -> bool:
    """Whether there is any account, active or not."""
    return session.exec(select(AccountRow.id).limit(1)).first() is not None


def has_demo_accounts(session: Session) -> bool:
    """Whether there are accounts of the demonstration, whose passwords everybody knows."""
    asked = select(AccountRow.id).where(col(AccountRow.sign_in_key).startswith(DEMO_PREFIX))
    return session.exec(asked.limit(1)).first() is not None


def accounts(session: Session) -> list[Account]:
    """All accounts, by sign-in name."""
    asked = select(AccountRow).order_by(col(AccountRow.sign_in_key))
    return [account_of(row) for row in session.exec(asked)]


def account(session: Session, account_id: str) -> Account:
    """One account.

    Raises: NotFound.
    """
    return account_of(_row(session, account_id))


def account_named(session: Session, sign_in_name: str) -> Account | None:
    """The account with this sign-in name; case makes no difference."""
    asked = select(AccountRow).where(AccountRow.sign_in_key == sign_in_key(sign_in_name))
    row = session.exec(asked).one_or_none()
    return None if row is None else account_of(row)


def account_with_key(session: Session, oidc_key: str) -> Account | None:
    """The account of somebody whom the identity provider names so."""
    row = session.exec(select(AccountRow).where(AccountRow.oidc_key == oidc_key)).one_or_none()
    return None if row is None else account_of(row)


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
        faults |= _TAKEN["sign_in_key"]
    if oidc_key is not None and account_with_key(session, oidc_key) is not None:
        faults |= _TAKEN["oidc_key"]
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
                raise BadForm(taken) from None
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
    actor: Actor,
    now: datetime,
) -> Account:
    """Change a name or role, or let somebody in no longer, or again.

    Who is let in no longer, or in another role, is signed out everywhere; codes of somebody who is
    let in no longer are void, also when they are let in again.
    Raises: NotFound; BadForm, also where no administrator would be left who can sign in.
    """
    faults: dict[str, str] = {}
    printed_name, role = _name_and_role(printed_name, role, faults)
    administrators = _locked_administrators(session)
    row = _row(session, account_id, lock=True)
    stays = role == "administrator" and is_active
    if not faults and not stays and administrators == [row.id]:
        faults["role" if is_active else "is_active"] = LAST_ADMINISTRATOR
    if faults:
        raise BadForm(faults)
    asked = {"printed_name": printed_name, "role": role, "is_active": is_active}
    changed = {name: value for name, value in asked.items() if getattr(row, name) != value}
    for name, value in changed.items():
        setattr(row, name, value)
    if changed:
        session.flush()
        if not is_active or "role" in changed:
            end_sign_ins(session, row.id, now)
        if not is_active:
            void_invitations(session, row.id)
        _note(session, actor, "change_account", now, row, **changed)
    return account_of(row)


def set_password(
    session: Session,
    account_id: str,
    password_hash: str,
    *,
    actor: Actor,
    now: datetime,
    keep: str | None = None,
) -> None:
    """Set a password; sign-ins that rest on another one end, and codes to set one are void.

    keep: the hash of the token of the one sign-in that goes on.
    Raises: NotFound.
    """
    row = _row(session, account_id, lock=True)
    row.password_hash = password_hash
    session.flush()
    end_sign_ins(session, row.id, now, keep)
    void_invitations(session, row.id)
    _note(session, actor, "set_password", now, row)


def keep_rehash(
    session: Session, account_id: str, password_hash: str, *, replaces: str | None
) -> None:
    """Keep a stronger hash of the same password; nothing where another one was set meanwhile.

    replaces: the hash that the password was compared with.
    """
    session.exec(
        update(AccountRow)
        .where(col(AccountRow.id) == account_id, col(AccountRow.password_hash) == replaces)
        .values(password_hash=password_hash)
    )


def set_second_factor(
    session: Session, account_id: str, secret: str | None, *, actor: Actor, now: datetime
) -> None:
    """Set the secret of the second factor, or take the second factor away.

    Raises: NotFound.
    """
    row = _row(session, account_id, lock=True)
    row.totp_secret = secret
    row.totp_counter = None
    session.flush()
    _note(session, actor, "second_factor", now, row, is_set=secret is not None)


def use_step(session: Session, account_id: str, step: int) -> bool:
    """Use up a time step of the second factor; False where it, or a later one, was used before."""
    unused = or_(col(AccountRow.totp_counter).is_(None), col(AccountRow.totp_counter) < step)
    used = session.exec(
        update(AccountRow)
        .where(col(AccountRow.id) == account_id, col(AccountRow.totp_secret).is_not(None), unused)
        .values(totp_counter=step)
    )
    return used.rowcount == 1


def end_sign_ins(session: Session, account_id: str, now: datetime, keep: str | None = None) -> None:
    """End every sign-in of an account, but for the one whose token has the hash `keep`."""
    going_on = (col(SignInRow.account_id) == account_id, col(SignInRow.ended_at).is_(None))
    ending = update(SignInRow).where(*going_on).values(ended_at=now)
    session.exec(ending if keep is None else ending.where(col(SignInRow.token_hash) != keep))


def void_invitations(session: Session, account_id: str) -> None:
    """Take back every code of an account that was not used yet."""
    session.exec(
        delete(InvitationRow).where(
            col(InvitationRow.account_id) == account_id, col(InvitationRow.used_at).is_(None)
        )
    )


def lock_active(session: Session, account_id: str) -> AccountRow:
    """The row of an account that stays active until our transaction has ended.

    Raises: NotFound, also where the account is not active.
    """
    row = _row(session, account_id, lock=True)
    if not row.is_active:
        raise NotFound("this account is not active")
    return row


def account_of(row: AccountRow) -> Account:
    """The account as a value."""
    return Account(
        id=row.id,
        sign_in_name=row.sign_in_name,
        printed_name=row.printed_name,
        role=row.role,
        is_active=row.is_active,
        password_hash=row.password_hash,
        totp_secret=row.totp_secret,
        totp_counter=row.totp_counter,
        oidc_key=row.oidc_key,
        created_at=row.created_at,
    )


def _row(session: Session, account_id: str, *, lock: bool = False) -> AccountRow:
    if not is_id(account_id):
        raise NotFound("there is no such account")
    asked = (
        select(AccountRow)
        .where(AccountRow.id == account_id)
        .execution_options(populate_existing=True)
    )
    row = session.exec(asked.with_for_update() if lock else asked).one_or_none()
    if row is None:
        raise NotFound("there is no such account")
    return row


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
    name = _named(raw, "sign_in_name", "the sign-in name", LONGEST_SIGN_IN_NAME, faults)
    if " " in name:
        faults["sign_in_name"] = "the sign-in name has a space in it"
    elif sign_in_key(name).startswith(DEMO_PREFIX) and not is_demo:
        faults["sign_in_name"] = f"names that begin with {DEMO_PREFIX} are for the demonstration"
    return name


def _name_and_role(printed_name: str, role: str, faults: dict[str, str]) -> tuple[str, str]:
    printed_name = _named(printed_name, "printed_name", "the name", LONGEST_NAME, faults)
    if role not in ACCOUNT_ROLES:
        faults["role"] = f"choose one of {', '.join(ACCOUNT_ROLES)}"
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
