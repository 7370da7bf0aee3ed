"""With what somebody proves who they are: the password, and the second factor beside it."""

from datetime import datetime

from sqlalchemy import or_, update
from sqlmodel import Session, col

from app.store.accounts import lock_account, refuse_unseen
from app.store.actor import Actor
from app.store.audit import note
from app.store.invitations import void_invitations
from app.store.people_tables import AccountRow
from app.store.sign_ins import end_sign_ins


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
    row = lock_account(session, account_id)
    row.password_hash = password_hash
    row.revision += 1
    session.flush()
    end_sign_ins(session, row.id, actor=actor, now=now, keep=keep)
    void_invitations(session, row.id)
    note(session, actor, "set_password", at=now, detail={"account": row.id})


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
    session: Session,
    account_id: str,
    secret: str | None,
    *,
    at_revision: int | None,
    actor: Actor,
    now: datetime,
) -> None:
    """Set the secret of the second factor, or take the second factor away.

    at_revision: that of the account as it was shown; None where no page showed one.
    Raises: NotFound; AccountCollision, where it has been changed meanwhile.
    """
    row = lock_account(session, account_id)
    refuse_unseen(row, at_revision)
    row.totp_secret = secret
    row.totp_counter = None
    row.revision += 1
    session.flush()
    detail = {"account": row.id, "is_set": secret is not None}
    note(session, actor, "second_factor", at=now, detail=detail)


def use_step(session: Session, account_id: str, step: int) -> bool:
    """Use up a time step of the second factor; False where it, or a later one, was used before."""
    unused = or_(col(AccountRow.totp_counter).is_(None), col(AccountRow.totp_counter) < step)
    used = session.exec(
        update(AccountRow)
        .where(col(AccountRow.id) == account_id, col(AccountRow.totp_secret).is_not(None), unused)
        .values(totp_counter=step)
    )
    return used.rowcount == 1
