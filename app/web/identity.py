"""Who sent a request: resolved once, before any route sees it."""

from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

from fastapi import Request
from sqlalchemy import Engine
from sqlmodel import Session
from starlette.concurrency import run_in_threadpool
from starlette.types import ASGIApp, Receive, Scope, Send

from app.people.limits import Limits, Standing, standing
from app.people.tokens import form_token, hash_token
from app.store.accounts import Account
from app.store.actor import Actor, Recorder
from app.store.clinic_settings import DEFAULTS, ClinicSettings, clinic_settings
from app.store.emergency_access import emergency_until
from app.store.engine import reading, writing
from app.store.refusals import Busy
from app.store.sign_ins import SignIn, lock, sign_in, touch
from app.web.cookies import sign_in_token

# What is answered without asking the database who is there.
WITHOUT_VISIT = ("/static/", "/api/", "/healthz", "/readyz")
# How old the last activity is before another one is written down.
TOUCHED_EVERY = timedelta(seconds=5)


@dataclass(frozen=True)
class SignedIn:
    """Somebody who has signed in in this browser, and what their pages need.

    form_token: what their forms must carry. proved_at: when a password or the identity provider
    last said who it is; signing_proof_at: when the provider said so for a signature, else None.
    emergency_until: None without emergency access.
    """

    account_id: str
    name: str
    role: str
    sign_in_name: str
    token_hash: str
    form_token: str
    proved_at: datetime
    signing_proof_at: datetime | None
    source: str
    has_provider: bool
    has_second_factor: bool
    emergency_until: datetime | None

    @property
    def actor(self) -> Actor:
        """As the audit names them."""
        return Actor(self.name, self.role, self.account_id, self.source)

    @property
    def recorder(self) -> Recorder:
        """As their entries name them; only a nurse or a physician records."""
        return Recorder(self.name, self.role, self.account_id, self.source)


@dataclass(frozen=True)
class Visit:
    """One request's sender, and the clinic's settings, which are read once for each request.

    person: None where nobody is signed in.
    """

    person: SignedIn | None = None
    standing: Standing = Standing.ENDED
    settings: ClinicSettings = DEFAULTS

    @property
    def limits(self) -> Limits:
        """How long a sign-in holds in this clinic."""
        return limits_under(self.settings)


# Of what is answered without asking the database: files, the API, and what failed before.
NOBODY = Visit()


class Identify:
    """Puts the visit into the request's state, and keeps the time of the person's last activity."""

    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one request."""
        if scope["type"] == "http" and not scope["path"].startswith(WITHOUT_VISIT):
            visit = await run_in_threadpool(_visit, Request(scope))
            scope.setdefault("state", {})["visit"] = visit
        await self.app(scope, receive, send)


def visit_of(request: Request) -> Visit:
    """Who sent this request, also where the screen is locked or the sign-in is over."""
    visit: Visit = getattr(request.state, "visit", NOBODY)
    return visit


def signed_in(request: Request) -> SignedIn | None:
    """Who sent this request and may go on; None where nobody, or where the screen is locked."""
    visit = visit_of(request)
    return visit.person if visit.standing is Standing.ACTIVE else None


def source_of(request: Request) -> str:
    """The address that a request came from."""
    return request.client.host if request.client else ""


def limits_under(settings: ClinicSettings) -> Limits:
    """How long a sign-in holds in this clinic."""
    return Limits(
        idle=timedelta(minutes=settings.idle_minutes),
        absolute=timedelta(hours=settings.absolute_hours),
    )


def standing_of(held: SignIn, limits: Limits, now: datetime) -> Standing:
    """What a sign-in is good for now."""
    return standing(
        started_at=held.started_at,
        active_at=held.active_at,
        locked_at=held.locked_at,
        ended_at=held.ended_at,
        now=now,
        limits=limits,
    )


def _visit(request: Request) -> Visit:
    token = sign_in_token(request)
    now = datetime.now(UTC)
    engine = request.app.state.engine
    with reading(engine) as session:
        settings = clinic_settings(session)
        found = sign_in(session, hash_token(token)) if token else None
        if not token or found is None or not found[1].is_active:
            return Visit(settings=settings)
        held, account = found
        until = emergency_until(session, account.id, now)
    stands = standing_of(held, limits_under(settings), now)
    person = _person(request, token, held, account, until)
    if stands is Standing.LOCKED and held.locked_at is None:
        # Written down, so that a longer limit set later does not open the screen again.
        _write(engine, lambda session: lock(session, held.token_hash, actor=person.actor, now=now))
    elif stands is Standing.ACTIVE and _is_activity(request, held, now):
        _write(engine, lambda session: touch(session, held.token_hash, now))
    return Visit(person, stands, settings)


def _write(engine: Engine, change: Callable[[Session], None]) -> None:
    # A database that is busy must not keep anybody from reading; the next request tries again.
    with suppress(Busy), writing(engine) as session:
        change(session)


def _person(
    request: Request, token: str, held: SignIn, account: Account, until: datetime | None
) -> SignedIn:
    return SignedIn(
        account_id=account.id,
        name=account.printed_name,
        role=account.role,
        sign_in_name=account.sign_in_name,
        token_hash=held.token_hash,
        form_token=form_token(token),
        proved_at=held.proved_at,
        signing_proof_at=held.signing_proof_at,
        source=source_of(request),
        has_provider=account.oidc_key is not None,
        has_second_factor=account.totp_secret is not None,
        emergency_until=until,
    )


def _is_activity(request: Request, held: SignIn, now: datetime) -> bool:
    """Whether this request is to be kept as the last thing that the person did.

    A page that asks by itself for what is new says nothing about the person before it.
    """
    return now - held.active_at > TOUCHED_EVERY and not request.url.path.endswith("/updates")
