"""Sign-ins that were sent to the identity provider and have not come back yet.

They change nothing that the audit would tell; what comes back is noted by whoever takes it.
"""

from dataclasses import dataclass, field
from datetime import datetime, timedelta

from sqlalchemy import delete
from sqlmodel import Session, col

from app.language.words import _
from app.store.people_tables import ProviderRequestRow
from app.store.refusals import NotFound

# Long enough to find a telephone for the provider's second factor.
KEPT_FOR = timedelta(minutes=10)


@dataclass(frozen=True)
class ProviderRequest:
    """What was sent, and what for.

    state_hash: of the state that comes back with the answer. purpose: `sign_in`, `unlock`, `sign`
    or `link`; return_to: where to go on. token_hash: of the sign-in in the browser that asks, if
    any; to link an account, of the one-time code.
    """

    state_hash: str
    nonce: str = field(repr=False)
    verifier: str = field(repr=False)
    purpose: str
    return_to: str
    made_at: datetime
    token_hash: str | None = None


def keep_request(session: Session, request: ProviderRequest) -> None:
    """Keep a request until its answer comes; those that took too long are forgotten."""
    session.exec(
        delete(ProviderRequestRow).where(
            col(ProviderRequestRow.made_at) <= request.made_at - KEPT_FOR
        )
    )
    session.add(
        ProviderRequestRow(
            state_hash=request.state_hash,
            nonce=request.nonce,
            verifier=request.verifier,
            purpose=request.purpose,
            return_to=request.return_to,
            token_hash=request.token_hash,
            made_at=request.made_at,
        )
    )
    session.flush()


def take_request(session: Session, state_hash: str, now: datetime) -> ProviderRequest:
    """Take a request whose answer has come; it can be taken once.

    Raises: NotFound, where it is unknown, was taken, or its time is over.
    """
    taken = session.exec(
        delete(ProviderRequestRow)
        .where(col(ProviderRequestRow.state_hash) == state_hash)
        .returning(ProviderRequestRow)
    ).one_or_none()
    row: ProviderRequestRow | None = None if taken is None else taken[0]
    if row is None or not row.made_at <= now < row.made_at + KEPT_FOR:
        raise NotFound(_("this sign-in took too long, or was used already: start again"))
    return ProviderRequest(
        state_hash=row.state_hash,
        nonce=row.nonce,
        verifier=row.verifier,
        purpose=row.purpose,
        return_to=row.return_to,
        made_at=row.made_at,
        token_hash=row.token_hash,
    )
