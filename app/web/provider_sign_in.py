"""The way to the identity provider and back: to sign in, to unlock, to sign, to link an account."""

from dataclasses import dataclass
from datetime import UTC, datetime
from http import HTTPStatus

from fastapi import APIRouter, Request
from starlette.exceptions import HTTPException
from starlette.responses import Response

from app.language.words import N_, _
from app.people.id_token import ProviderRefused
from app.people.oidc import Asked, address_to_ask, identify, new_request
from app.people.tokens import hash_token, new_token, same
from app.store.actor import Actor
from app.store.audit import note
from app.store.engine import writing
from app.store.provider_requests import ProviderRequest, keep_request, take_request
from app.store.refusals import NotFound
from app.web.account_pages import ProviderPage, ProviderRefusedPage
from app.web.allowed import NotSignedIn, someone
from app.web.answers import see_other, show
from app.web.cookies import (
    forget_provider_state,
    keep_provider_state,
    keep_sign_in,
    provider_state,
)
from app.web.identity import signed_in, source_of, visit_of
from app.web.let_in import Arrival, NotLetIn, let_in
from app.web.proof import SIGN_IN_REFUSED
from app.web.provider import ClinicProvider, provider_of, provider_path
from app.web.refused import is_noted
from app.web.signing_in import safe_path, way_on

router = APIRouter()

PURPOSES = ("sign_in", "unlock", "sign")
NOT_LINKED = N_("This account is not linked with the identity provider: it uses a password.")
NO_COOKIE = N_(
    "This browser has not asked {label} to sign anybody in, or it was too long ago. Nobody was "
    "signed in; start again. If it happens again, the browser may refuse cookies."
)
OTHER_BROWSER = N_(
    "This answer of {label} belongs to another browser, or to a try before the last one. Nobody "
    "was signed in; start again."
)
TOO_LATE = N_("This answer of {label} came too late, or was used already. Start again.")


@dataclass(frozen=True)
class _Way:
    """What was asked for, and where the refused may try it again."""

    purpose: str
    to: str


@router.get("/provider/start")
def start(request: Request, purpose: str = "", to: str = "") -> Response:
    """Ask the provider who is there; to: where to go on."""
    provider = _provider(request)
    if purpose not in PURPOSES:
        raise HTTPException(HTTPStatus.NOT_FOUND)
    person, to = visit_of(request).person, safe_path(to)
    if purpose == "sign_in":
        me = signed_in(request)
        if me is not None:
            return see_other(way_on(to, me.role))
    else:
        if person is None:
            raise NotSignedIn
        if purpose == "sign":
            someone(request)
        if not person.has_provider:
            raise HTTPException(HTTPStatus.CONFLICT, _(NOT_LINKED))
    try:
        address, asked = _asked(
            request, provider, purpose, to, person.token_hash if person else None
        )
    except ProviderRefused as refused:
        no = NotLetIn(refused.says, "provider", HTTPStatus.BAD_GATEWAY)
        return _refused(request, provider, no, _Way(purpose, to))
    answer = see_other(address)
    keep_provider_state(request, answer, asked.state)
    return answer


@router.get("/provider/back")
def come_back(request: Request) -> Response:
    """Let somebody in as whom the provider names, or say why not."""
    provider, state = _provider(request), provider_state(request)
    given = dict(request.query_params)
    way, now, token = _Way("sign_in", ""), datetime.now(UTC), new_token()
    try:
        pending = _pending(request, state, given.get("state", ""), now)
        way = _Way(pending.purpose, pending.return_to)
        asked = Asked(state=state, nonce=pending.nonce, verifier=pending.verifier)
        found = provider.found(now)
        # The provider may take its time; no transaction is open meanwhile.
        with provider.waiting():
            identity = identify(
                provider.settings,
                found,
                given,
                asked,
                asked_at=pending.made_at,
                now=datetime.now(UTC),
            )
        arrival = Arrival(
            pending, identity, hash_token(token), source_of(request), datetime.now(UTC)
        )
        role = let_in(request.app.state.engine, arrival).role
    except ProviderRefused as refused:
        return _refused(request, provider, NotLetIn(refused.says, "provider"), way)
    except NotLetIn as no:
        return _refused(request, provider, no, way)
    # The provider's page sent the browser here, so a redirect would go on without the cookie of the
    # sign-in, which no other site's page may send. A page of ours sends it on instead.
    page = ProviderPage(title=_("Signed in"), says=_("You are signed in."), to=way_on(way.to, role))
    answer = show(request, "provider.html", page)
    keep_sign_in(request, answer, token)
    forget_provider_state(request, answer)
    return answer


@router.get("/provider/unlocked")
def show_unlocked(request: Request) -> Response:
    """The end of unlocking in a window of its own; the other windows hear of it from its script."""
    someone(request)
    page = ProviderPage(
        title=_("Unlocked"),
        says=_("Your other windows are unlocked: this one can be closed."),
        to="",
    )
    return show(request, "provider.html", page)


def ask_to_link(request: Request, hashed_code: str) -> Response:
    """A page that sends somebody with a one-time code to the provider.

    A page, because a form must not be answered with a redirect to another site.
    """
    provider = _provider(request)
    try:
        address, asked = _asked(request, provider, "link", "", hashed_code)
    except ProviderRefused as refused:
        no = NotLetIn(refused.says, "provider", HTTPStatus.BAD_GATEWAY)
        return _refused(request, provider, no, _Way("link", ""))
    says = _("Sign in with {label} now, as yourself.").format(label=provider.label)
    answer = show(request, "provider.html", ProviderPage(title=_("Go on"), says=says, to=address))
    keep_provider_state(request, answer, asked.state)
    return answer


def _provider(request: Request) -> ClinicProvider:
    provider = provider_of(request)
    if provider is None:
        raise HTTPException(HTTPStatus.NOT_FOUND)
    return provider


def _asked(
    request: Request, provider: ClinicProvider, purpose: str, to: str, token_hash: str | None
) -> tuple[str, Asked]:
    """Where to send the browser, once what it asks for is kept.

    Raises: ProviderRefused.
    """
    now, asked = datetime.now(UTC), new_request()
    address = address_to_ask(provider.settings, provider.found(now), asked)
    pending = ProviderRequest(
        state_hash=hash_token(asked.state),
        nonce=asked.nonce,
        verifier=asked.verifier,
        purpose=purpose,
        return_to=to,
        made_at=datetime.now(UTC),
        token_hash=token_hash,
    )
    with writing(request.app.state.engine) as session:
        keep_request(session, pending)
    return address, asked


def _pending(request: Request, state: str, given: str, now: datetime) -> ProviderRequest:
    """What this very browser asked for; it is taken away, so that no answer counts twice.

    Raises: NotLetIn.
    """
    if not state:
        raise NotLetIn(NO_COOKIE, "no request")
    if not same(given, state):
        # The request stays: somebody else's link must not use it up.
        raise NotLetIn(OTHER_BROWSER, "other browser")
    try:
        with writing(request.app.state.engine) as session:
            return take_request(session, hash_token(state), now)
    except NotFound:
        raise NotLetIn(TOO_LATE, "late or used") from None


def _refused(request: Request, provider: ClinicProvider, no: NotLetIn, way: _Way) -> Response:
    is_noted(request)
    actor = no.actor or Actor("Unknown", "", source=source_of(request))
    detail = {"for": way.purpose, "why": no.why, **no.detail}
    with writing(request.app.state.engine) as session:
        note(session, actor, SIGN_IN_REFUSED, at=datetime.now(UTC), detail=detail)
    again = "/invited" if way.purpose == "link" else provider_path(way.purpose, way.to)
    page = ProviderRefusedPage(
        title=_("Not signed in") if way.purpose == "sign_in" else _("Not confirmed"),
        says=no.says.replace("{label}", provider.label),
        again=again,
    )
    return show(request, "provider_refused.html", page, status=no.status)
