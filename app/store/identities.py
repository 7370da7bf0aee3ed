"""Identities: the account that belongs to somebody whom the identity provider names.

An account has one way in: an identity takes the place of its password, and a password that of its
identity.
"""

from datetime import datetime

from sqlalchemy.exc import IntegrityError
from sqlmodel import Session

from app.language.words import N_, Spoken
from app.store.accounts import Account, account_of, account_with_key, lock_active
from app.store.actor import Actor
from app.store.audit import note
from app.store.invitations import void_invitations
from app.store.refusals import BadForm
from app.store.sign_ins import end_sign_ins

TAKEN = Spoken({"oidc_key": N_("this identity belongs to another account")})


def link_identity(
    session: Session, account_id: str, oidc_key: str, *, actor: Actor, now: datetime
) -> Account:
    """Let somebody in as the provider names them, and no longer by password and second factor.

    Sign-ins that rest on the password end, and codes to set one are void.
    Raises: NotFound, also where the account is not active; BadForm, where the identity belongs to
    another account.
    """
    row = lock_active(session, account_id)
    holder = account_with_key(session, oidc_key)
    if holder is not None and holder.id != row.id:
        raise BadForm(dict(TAKEN))
    try:
        with session.begin_nested():
            row.oidc_key, row.password_hash = oidc_key, None
            row.totp_secret, row.totp_counter = None, None
            row.revision += 1
            session.flush()
    except IntegrityError:
        # On PostgreSQL somebody else may have taken it since we looked.
        raise BadForm(dict(TAKEN)) from None
    end_sign_ins(session, row.id, actor=actor, now=now)
    void_invitations(session, row.id)
    detail = {"account": row.id, "identity": "linked"}
    note(session, actor, "change_account", at=now, detail=detail)
    return account_of(row)


def unlink_identity(session: Session, account_id: str, *, actor: Actor, now: datetime) -> None:
    """Let somebody in no longer as the provider names them; nothing where nobody is named.

    Raises: NotFound, also where the account is not active.
    """
    row = lock_active(session, account_id)
    if row.oidc_key is None:
        return
    row.oidc_key = None
    row.revision += 1
    session.flush()
    end_sign_ins(session, row.id, actor=actor, now=now)
    detail = {"account": row.id, "identity": "unlinked"}
    note(session, actor, "change_account", at=now, detail=detail)
