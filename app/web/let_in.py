"""Who is let in once the identity provider has said who they are: only the people of the clinic."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from http import HTTPStatus

from sqlalchemy import Engine
from sqlmodel import Session

from app.language.words import N_
from app.people.id_token import Identity
from app.people.limits import Standing
from app.store.accounts import Account, account, account_with_key
from app.store.actor import Actor
from app.store.clinic_settings import clinic_settings
from app.store.engine import writing
from app.store.identities import link_identity
from app.store.invitations import use_invitation
from app.store.provider_requests import ProviderRequest
from app.store.refusals import BadForm, NotFound
from app.store.sign_ins import end, renew, sign_in, start_sign_in
from app.web.identity import limits_under, standing_of

NO_ACCOUNT = N_(
    "{label} has confirmed who you are, and no account here is linked with you. An administrator "
    "of this program gives you a one-time code with which you link yours."
)
CLOSED = N_("Your account is closed. An administrator of this program can open it again.")
SOMEBODY_ELSE = N_(
    "{label} says that you are somebody else than the one who is signed in here, so nothing was "
    "unlocked or signed. To work under your own name, go back and choose “Somebody else”."
)
ENDED = N_("The sign-in for which {label} was asked has ended meanwhile. Sign in again.")
CODE_NOT_VALID = N_("The one-time code is not valid any more. Ask for another one.")
TAKEN = N_(
    "{label} says that you are somebody whose account is another one. Nothing was linked. Ask an "
    "administrator of this program."
)


@dataclass
class NotLetIn(Exception):
    """Nobody was let in.

    says: to the person; “{label}” stands for the provider's name. why: to the audit. actor: who it
    was, where that is known; detail: more for the audit.
    """

    says: str
    why: str
    status: HTTPStatus = HTTPStatus.UNAUTHORIZED
    actor: Actor | None = None
    detail: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True)
class Arrival:
    """Somebody who came back from the provider.

    pending: what this browser had asked for. token_hash: of the token that they get if they are let
    in. source: the address that they come from.
    """

    pending: ProviderRequest
    identity: Identity
    token_hash: str
    source: str
    now: datetime

    def as_actor(self, person: Account) -> Actor:
        """A person at this address, as the audit names them."""
        return Actor(person.printed_name, person.role, person.id, self.source)


def let_in(engine: Engine, arrival: Arrival) -> Account:
    """Let somebody in under the new token.

    Raises: NotLetIn.
    """
    try:
        with writing(engine) as session:
            if arrival.pending.purpose == "link":
                return _begin(session, arrival, _linked(session, arrival))
            known = account_with_key(session, arrival.identity.key)
            if arrival.pending.purpose == "sign_in":
                return _begin(session, arrival, known)
            return _go_on(session, arrival, known)
    except NotFound:
        # The account was closed, or the sign-in ended, in this very moment.
        raise NotLetIn(ENDED, "ended") from None


def _linked(session: Session, arrival: Arrival) -> Account:
    """The account of a one-time code, which is this person's from now on."""
    account_id = None
    try:
        used = use_invitation(session, arrival.pending.token_hash or "", arrival.now)
        account_id = used.account_id or ""
        actor = arrival.as_actor(account(session, account_id))
        key = arrival.identity.key
        return link_identity(session, account_id, key, actor=actor, now=arrival.now)
    except NotFound:
        raise NotLetIn(CODE_NOT_VALID, "code") from None
    except BadForm:
        detail = {"account": account_id or ""}
        raise NotLetIn(TAKEN, "somebody else", HTTPStatus.CONFLICT, detail=detail) from None


def _begin(session: Session, arrival: Arrival, known: Account | None) -> Account:
    """Start a sign-in; the one that this browser held before ends."""
    if known is None:
        raise NotLetIn(NO_ACCOUNT, "no account", HTTPStatus.FORBIDDEN)
    actor = arrival.as_actor(known)
    if not known.is_active:
        raise NotLetIn(CLOSED, "closed", HTTPStatus.FORBIDDEN, actor)
    before = sign_in(session, arrival.pending.token_hash or "")
    if before is not None:
        held, owner = before
        left = arrival.as_actor(owner)
        end(session, held.token_hash, actor=left, now=arrival.now, action="switch")
    start_sign_in(session, known.id, arrival.token_hash, actor=actor, now=arrival.now)
    return known


def _go_on(session: Session, arrival: Arrival, known: Account | None) -> Account:
    """Go on with the sign-in of this browser, where it is the same person."""
    found = sign_in(session, arrival.pending.token_hash or "")
    if found is None:
        raise NotLetIn(ENDED, "ended")
    held, owner = found
    if known is None or known.id != owner.id:
        came = None if known is None else arrival.as_actor(known)
        detail = {"account": owner.id}
        raise NotLetIn(SOMEBODY_ELSE, "somebody else", HTTPStatus.FORBIDDEN, came, detail)
    actor, now = arrival.as_actor(owner), arrival.now
    if not owner.is_active:
        raise NotLetIn(CLOSED, "closed", HTTPStatus.FORBIDDEN, actor)
    if held.ended_at is not None:
        raise NotLetIn(ENDED, "ended", actor=actor)
    if standing_of(held, limits_under(clinic_settings(session)), now) is Standing.ENDED:
        # After the absolute limit it begins anew.
        start_sign_in(session, owner.id, arrival.token_hash, actor=actor, now=now)
        return owner
    is_to_sign = arrival.pending.purpose == "sign"
    renew(
        session,
        held.token_hash,
        arrival.token_hash,
        actor=actor,
        now=now,
        action="sign_in" if is_to_sign else "unlock",
        # What counts is when they proved it there, not when they came back.
        signing_proof_at=min(arrival.identity.auth_time, now) if is_to_sign else None,
    )
    return owner
