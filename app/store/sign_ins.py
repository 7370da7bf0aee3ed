"""Sign-ins: the browsers in which somebody has signed in, each by itself."""

from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import delete, update
from sqlmodel import Session, col, select

from app.language.words import _
from app.store.accounts import Account, account_of, lock_active
from app.store.actor import Actor
from app.store.audit import note
from app.store.emergency_access import SIGNED_OUT, end_emergency_access
from app.store.people_tables import AccountRow, SignInRow
from app.store.refusals import NotFound
from app.store.tables import PresenceRow


@dataclass(frozen=True)
class SignIn:
    """One browser in which somebody has signed in.

    started_at: with the first proof; it stays when the sign-in is renewed. proved_at: when a
    password or the identity provider last said who it is. active_at: when the person last did
    something. locked_at, ended_at: None while it is neither. signing_proof_at: when the identity
    provider said who it is for a signature, None where it did not, or one was signed with it.
    """

    token_hash: str
    account_id: str
    started_at: datetime
    proved_at: datetime
    active_at: datetime
    locked_at: datetime | None
    ended_at: datetime | None
    source: str
    signing_proof_at: datetime | None = None


def start_sign_in(
    session: Session, account_id: str, token_hash: str, *, actor: Actor, now: datetime
) -> SignIn:
    """Sign somebody in who has just proved who they are.

    Raises: NotFound, also where the account is not active any more.
    """
    row = SignInRow(
        token_hash=token_hash,
        account_id=lock_active(session, account_id).id,
        started_at=now,
        proved_at=now,
        active_at=now,
        source=actor.source,
    )
    session.add(row)
    session.flush()
    note(session, actor, "sign_in", at=now)
    return _sign_in_of(row)


def sign_in(session: Session, token_hash: str) -> tuple[SignIn, Account] | None:
    """The sign-in with this token, ended or not, and whose it is."""
    asked = select(SignInRow, AccountRow).where(
        SignInRow.token_hash == token_hash, SignInRow.account_id == AccountRow.id
    )
    found = session.exec(asked).one_or_none()
    return None if found is None else (_sign_in_of(found[0]), account_of(found[1]))


def sign_ins_of(session: Session, account_id: str) -> list[SignIn]:
    """The sign-ins of an account that have not ended, the newest first."""
    asked = (
        select(SignInRow)
        .where(SignInRow.account_id == account_id, col(SignInRow.ended_at).is_(None))
        .order_by(col(SignInRow.started_at).desc(), col(SignInRow.token_hash))
    )
    return [_sign_in_of(row) for row in session.exec(asked)]


def touch(session: Session, token_hash: str, now: datetime) -> None:
    """Keep that the person did something; nothing where the sign-in is locked or has ended.

    The time only goes forward.
    """
    session.exec(
        update(SignInRow)
        .where(
            col(SignInRow.token_hash) == token_hash,
            col(SignInRow.locked_at).is_(None),
            col(SignInRow.ended_at).is_(None),
            col(SignInRow.active_at) < now,
        )
        .values(active_at=now)
    )


def lock(session: Session, token_hash: str, *, actor: Actor, now: datetime) -> None:
    """Lock a sign-in; one that is locked or has ended stays as it is."""
    locked = session.exec(
        update(SignInRow)
        .where(
            col(SignInRow.token_hash) == token_hash,
            col(SignInRow.locked_at).is_(None),
            col(SignInRow.ended_at).is_(None),
        )
        .values(locked_at=now)
    )
    if locked.rowcount:
        note(session, actor, "lock", at=now)


def renew(
    session: Session,
    old_hash: str,
    new_hash: str,
    *,
    actor: Actor,
    now: datetime,
    action: str = "unlock",
    signing_proof_at: datetime | None = None,
) -> SignIn:
    """Put a new token in the place of the old one, after a fresh proof; it is not locked.

    signing_proof_at: when the identity provider said who it is, where it was asked for a signature.

    Raises: NotFound, where the old one has ended or its account is not active.
    """
    owner = session.exec(
        select(SignInRow.account_id).where(SignInRow.token_hash == old_hash)
    ).one_or_none()
    if owner is None:
        raise NotFound(_("this sign-in has ended"))
    # The account comes first, as wherever sign-ins are ended: nobody waits in a circle.
    lock_active(session, owner)
    if not _end(session, old_hash, now):
        raise NotFound(_("this sign-in has ended"))
    old = session.exec(select(SignInRow).where(SignInRow.token_hash == old_hash)).one()
    row = SignInRow(
        token_hash=new_hash,
        account_id=owner,
        started_at=old.started_at,
        proved_at=now,
        active_at=now,
        signing_proof_at=signing_proof_at,
        source=actor.source,
    )
    session.add(row)
    session.flush()
    note(session, actor, action, at=now)
    return _sign_in_of(row)


def use_signing_proof(session: Session, token_hash: str) -> bool:
    """Use up what the identity provider said for a signature; no where there is nothing to use."""
    used = session.exec(
        update(SignInRow)
        .where(
            col(SignInRow.token_hash) == token_hash,
            col(SignInRow.ended_at).is_(None),
            col(SignInRow.signing_proof_at).is_not(None),
        )
        .values(signing_proof_at=None)
    )
    return used.rowcount == 1


def end(
    session: Session, token_hash: str, *, actor: Actor, now: datetime, action: str = "sign_out"
) -> None:
    """End a sign-in, and with it emergency access; one that has ended already stays as it is."""
    if _end(session, token_hash, now):
        note(session, actor, action, at=now)
        owner = session.exec(
            select(SignInRow.account_id).where(SignInRow.token_hash == token_hash)
        ).one()
        end_emergency_access(session, owner, SIGNED_OUT, actor=actor, now=now)


def end_sign_ins(
    session: Session, account_id: str, *, actor: Actor, now: datetime, keep: str | None = None
) -> None:
    """End every sign-in of an account, but for the one whose token has the hash `keep`.

    Where none goes on, emergency access ends, too.
    """
    going_on = (col(SignInRow.account_id) == account_id, col(SignInRow.ended_at).is_(None))
    ending = update(SignInRow).where(*going_on).values(ended_at=now)
    session.exec(ending if keep is None else ending.where(col(SignInRow.token_hash) != keep))
    if keep is None:
        end_emergency_access(session, account_id, SIGNED_OUT, actor=actor, now=now)


def end_every_sign_in(session: Session, now: datetime) -> None:
    """End whatever had not ended in a database that was restored; what is noted there tells it."""
    session.exec(update(SignInRow).where(col(SignInRow.ended_at).is_(None)).values(ended_at=now))


def _end(session: Session, token_hash: str, now: datetime) -> bool:
    ended = session.exec(
        update(SignInRow)
        .where(col(SignInRow.token_hash) == token_hash, col(SignInRow.ended_at).is_(None))
        .values(ended_at=now)
    )
    # Nobody is at an exam under a token that has ended.
    session.exec(delete(PresenceRow).where(col(PresenceRow.token_hash) == token_hash))
    return ended.rowcount == 1


def _sign_in_of(row: SignInRow) -> SignIn:
    return SignIn(
        token_hash=row.token_hash,
        account_id=row.account_id,
        started_at=row.started_at,
        proved_at=row.proved_at,
        active_at=row.active_at,
        locked_at=row.locked_at,
        ended_at=row.ended_at,
        source=row.source,
        signing_proof_at=row.signing_proof_at,
    )
