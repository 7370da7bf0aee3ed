"""Signing in through the clinic's identity provider: OpenID Connect, authorization code with PKCE.

Every request asks for a fresh proof (`prompt=login`, `max_age=0`), and an answer counts only when
the provider says that the person proved who they are after the request was made: on a shared
computer the provider may still remember somebody else. Nothing is kept here between the calls.
Source: OpenID Connect Core 1.0 and Discovery 1.0, RFC 7636, RFC 9207, RFC 9700 (memory); OWASP
ASVS 5.0.0, V6.3.4 (read): every way in asks for the same strength.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from http import HTTPStatus
from typing import Any
from urllib.parse import urlsplit

from authlib.integrations.requests_client import OAuth2Session

from app.language.words import _
from app.people.id_token import Identity, ProviderRefused, identity_in, not_accepted
from app.people.outside import NoAnswer, ask, is_safe
from app.people.tokens import new_token, same

SCOPE = "openid profile"


@dataclass(frozen=True)
class ProviderSettings:
    """How a clinic's provider is reached. redirect_uri: where it sends the browser back to."""

    issuer: str
    client_id: str
    client_secret: str = field(repr=False)
    redirect_uri: str

    def __post_init__(self) -> None:
        """Refuse what could be read or changed on the way."""
        if not is_safe(self.issuer):
            raise ValueError(f"the provider's address must begin with https://, not {self.issuer}")


@dataclass(frozen=True)
class Provider:
    """Where a provider's parts are, as it says itself.

    names_issuer: whether its answers in the browser say whose they are.
    """

    authorization_endpoint: str
    token_endpoint: str
    jwks_uri: str
    sends_secret_in_form: bool
    names_issuer: bool


@dataclass(frozen=True)
class Asked:
    """The secrets of one request, each used for one answer only.

    state: ties the answer to the browser that asked. nonce: ties the provider's statement to the
    request. verifier: proves that the one who fetches the statement is the one who asked.
    """

    state: str = field(repr=False)
    nonce: str = field(repr=False)
    verifier: str = field(repr=False)


def discover(settings: ProviderSettings) -> Provider:
    """Ask the provider where its parts are.

    Raises: ProviderRefused, where it does not answer or speaks for another issuer.
    """
    found = _fetch(settings.issuer.rstrip("/") + "/.well-known/openid-configuration")
    return provider_in(settings, found)


def provider_in(settings: ProviderSettings, found: Mapping[str, Any]) -> Provider:
    """Where a provider's parts are. found: what it says of itself.

    Raises: ProviderRefused, where it speaks for another issuer or has parts that are not safe.
    """
    if found.get("issuer") != settings.issuer:
        raise not_accepted(_("it speaks for another issuer"))
    addresses = [
        found.get(each) for each in ("authorization_endpoint", "token_endpoint", "jwks_uri")
    ]
    # Only a provider on this very machine, as one for trying out, has parts on it.
    is_here = urlsplit(settings.issuer).scheme == "http"
    authorization, token, keys = (
        each if isinstance(each, str) and is_safe(each, or_here=is_here) else ""
        for each in addresses
    )
    if not (authorization and token and keys):
        raise not_accepted(_("an address is missing, or does not begin with https://"))
    methods = found.get("token_endpoint_auth_methods_supported")
    in_form = (
        isinstance(methods, list)
        and "client_secret_post" in methods
        and "client_secret_basic" not in methods
    )
    names_issuer = found.get("authorization_response_iss_parameter_supported") is True
    return Provider(authorization, token, keys, in_form, names_issuer)


def new_request() -> Asked:
    """The secrets of a new request."""
    return Asked(state=new_token(), nonce=new_token(), verifier=new_token())


def address_to_ask(settings: ProviderSettings, provider: Provider, asked: Asked) -> str:
    """Where to send the browser."""
    with OAuth2Session(
        settings.client_id,
        scope=SCOPE,
        redirect_uri=settings.redirect_uri,
        code_challenge_method="S256",
    ) as session:
        address, _ = session.create_authorization_url(
            provider.authorization_endpoint,
            state=asked.state,
            code_verifier=asked.verifier,
            nonce=asked.nonce,
            prompt="login",
            max_age=0,
        )
    return str(address)


def identify(
    settings: ProviderSettings,
    provider: Provider,
    answer: Mapping[str, str],
    asked: Asked,
    *,
    asked_at: datetime,
    now: datetime,
) -> Identity:
    """Who came back from the provider.

    answer: the query with which the browser came back. asked: what was kept for this very browser;
    the caller takes it away, so that no answer counts twice. Raises: ProviderRefused.
    """
    if not (asked.state and asked.nonce and asked.verifier):
        raise ValueError(_("a request has a state, a nonce and a verifier"))
    if not same(answer.get("state", ""), asked.state):
        raise not_accepted(_("it does not belong to a request of this browser"))
    # Left out, it would be a way around the check (RFC 9207, section 2.4).
    if answer.get("iss", "" if provider.names_issuer else settings.issuer) != settings.issuer:
        raise not_accepted(_("it comes from another issuer"))
    if "error" in answer:
        raise ProviderRefused(_("The identity provider did not confirm who you are. Try again."))
    code = answer.get("code", "")
    if not code:
        raise not_accepted(_("it has no code"))
    token = _token_for(settings, provider, code, asked.verifier)
    return identity_in(
        token,
        _fetch(provider.jwks_uri),
        issuer=settings.issuer,
        client_id=settings.client_id,
        nonce=asked.nonce,
        asked_at=asked_at,
        now=now,
    )


def _token_for(
    settings: ProviderSettings, provider: Provider, code: str, verifier: str
) -> Mapping[str, Any]:
    """The tokens for a code; no browser sees them on their way."""
    form = {
        "grant_type": "authorization_code",
        "code": code,
        "redirect_uri": settings.redirect_uri,
        "code_verifier": verifier,
    }
    client = (settings.client_id.encode(), settings.client_secret.encode())
    if provider.sends_secret_in_form:
        form |= {"client_id": settings.client_id, "client_secret": settings.client_secret}
    auth = None if provider.sends_secret_in_form else client
    status, token = _ask("POST", provider.token_endpoint, data=form, auth=auth)
    # RFC 6749, section 5.2 (memory).
    if status in (HTTPStatus.BAD_REQUEST, HTTPStatus.UNAUTHORIZED):
        raise not_accepted(_("its code is not valid"))
    if status != HTTPStatus.OK:
        raise _no_answer()
    return token


def _fetch(address: str) -> dict[str, Any]:
    status, found = _ask("GET", address)
    if status != HTTPStatus.OK:
        raise _no_answer()
    return found


def _ask(method: str, address: str, **how: Any) -> tuple[int, dict[str, Any]]:
    try:
        return ask(method, address, **how)
    except NoAnswer:
        raise _no_answer() from None


def _no_answer() -> ProviderRefused:
    return ProviderRefused(_("The identity provider does not answer. Try again in a moment."))
