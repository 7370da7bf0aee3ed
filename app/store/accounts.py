"""Accounts: who may sign in, and under which name and role."""

from dataclasses import dataclass, field
from datetime import datetime

from sqlmodel import Session, col, select

from app.language.words import _
from app.store.free_text import BadText, check_line, exact_key
from app.store.patients import is_id
from app.store.people_tables import AccountRow
from app.store.refusals import AccountCollision, NotFound

LONGEST_SIGN_IN_NAME = 100
# The accounts of the demonstration begin so, and no others may.
DEMO_PREFIX = "demo-"


@dataclass(frozen=True)
class Account:
    """Somebody who may sign in while the account is active.

    password_hash: None until a password is set. totp_secret: None without a second factor;
    totp_counter: the last time step of it that was used. oidc_key: issuer and subject at the
    identity provider, None for a local account. revision: counts the changes of all this but the
    steps, and the codes that were made for it.
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
    revision: int = 0


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


def lock_account(session: Session, account_id: str) -> AccountRow:
    """The row of an account, which nobody else changes until our transaction has ended.

    Raises: NotFound.
    """
    return _row(session, account_id, lock=True)


def refuse_unseen(row: AccountRow, at_revision: int | None) -> None:
    """Refuse to change an account otherwise than as it was seen; row: locked.

    at_revision: the one that was seen, None where no page showed one.
    Raises: AccountCollision.
    """
    if at_revision not in (None, row.revision):
        raise AccountCollision(account_of(row))


def lock_active(session: Session, account_id: str) -> AccountRow:
    """The row of an account that stays active until our transaction has ended.

    Raises: NotFound, also where the account is not active.
    """
    row = lock_account(session, account_id)
    if not row.is_active:
        raise NotFound(_("this account is not active"))
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
        revision=row.revision,
    )


def _row(session: Session, account_id: str, *, lock: bool = False) -> AccountRow:
    if not is_id(account_id):
        raise NotFound(_("there is no such account"))
    asked = (
        select(AccountRow)
        .where(AccountRow.id == account_id)
        .execution_options(populate_existing=True)
    )
    row = session.exec(asked.with_for_update() if lock else asked).one_or_none()
    if row is None:
        raise NotFound(_("there is no such account"))
    return row
