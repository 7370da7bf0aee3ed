"""Invitations: codes that can be used once, to set a password or to make the first account."""

from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import delete, or_, update
from sqlmodel import Session, col, select

from app.language.words import N_, _
from app.store.accounts import has_accounts, lock_active, refuse_unseen
from app.store.actor import Actor
from app.store.audit import note
from app.store.engine import one_at_a_time
from app.store.people_tables import AccountRow, InvitationRow
from app.store.refusals import NotFound

NOT_VALID = N_("this code is not valid: it is unknown, was used already, or its time is over")


@dataclass(frozen=True)
class Invitation:
    """A code that was given out. account_id None: it makes the first administrator."""

    account_id: str | None
    made_at: datetime
    expires_at: datetime


def invite(
    session: Session,
    account_id: str | None,
    code_hash: str,
    expires_at: datetime,
    *,
    at_revision: int | None = None,
    actor: Actor,
    now: datetime,
) -> Invitation:
    """Give out a code. It takes the place of earlier ones for the same account.

    at_revision: that of the account as it was shown; None where no page showed one.
    Raises: NotFound, also where the account is not active; AccountCollision, where it has been
    changed meanwhile, or another code was given out.
    """
    if account_id is not None:
        row = lock_active(session, account_id)
        refuse_unseen(row, at_revision)
        row.revision += 1
        void_invitations(session, account_id)
    made = InvitationRow(
        code_hash=code_hash, account_id=account_id, made_at=now, expires_at=expires_at
    )
    session.add(made)
    session.flush()
    note(session, actor, "invite", at=now, detail={"account": account_id or ""})
    return _invitation_of(made)


def invitation(session: Session, code_hash: str, now: datetime) -> Invitation:
    """A code that can still be used; before it was made, as after its time, it cannot be.

    A code for the first administrator can be used while there is no account, any other while its
    account is active.
    Raises: NotFound.
    """
    asked = (
        select(InvitationRow)
        .outerjoin(AccountRow, col(InvitationRow.account_id) == col(AccountRow.id))
        .where(
            InvitationRow.code_hash == code_hash,
            col(InvitationRow.used_at).is_(None),
            or_(col(InvitationRow.account_id).is_(None), col(AccountRow.is_active)),
        )
        .execution_options(populate_existing=True)
    )
    row = session.exec(asked).one_or_none()
    if row is None or not row.made_at <= now < row.expires_at:
        raise NotFound(_(NOT_VALID))
    if row.account_id is None and has_accounts(session):
        raise NotFound(_(NOT_VALID))
    return _invitation_of(row)


def has_first_invitation(session: Session, now: datetime) -> bool:
    """Whether a code for the first administrator was given out that is not used or over."""
    asked = select(InvitationRow.code_hash).where(
        col(InvitationRow.account_id).is_(None),
        col(InvitationRow.used_at).is_(None),
        col(InvitationRow.expires_at) > now,
    )
    return session.exec(asked.limit(1)).first() is not None


def use_invitation(session: Session, code_hash: str, now: datetime) -> Invitation:
    """Use a code up. Of two who use it at once, one is refused.

    Raises: NotFound.
    """
    account_id = invitation(session, code_hash, now).account_id
    if account_id is None:
        # Two codes for the first administrator would otherwise make two of them.
        one_at_a_time(session.connection())
    else:
        # Whoever gives out, uses or takes back a code of this account does so too.
        lock_active(session, account_id)
    found = invitation(session, code_hash, now)
    session.exec(
        update(InvitationRow).where(col(InvitationRow.code_hash) == code_hash).values(used_at=now)
    )
    return found


def void_invitations(session: Session, account_id: str) -> None:
    """Take back every code of an account that was not used yet."""
    session.exec(
        delete(InvitationRow).where(
            col(InvitationRow.account_id) == account_id, col(InvitationRow.used_at).is_(None)
        )
    )


def _invitation_of(row: InvitationRow) -> Invitation:
    return Invitation(row.account_id, row.made_at, row.expires_at)
