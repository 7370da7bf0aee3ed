"""Signing in through the clinic's identity provider: OpenID Connect, authorization code with PKCE.

Every request asks for a fresh proof (`prompt=login`, `max_age=0`), and an answer counts only when
the provider says that the person proved who they are after the request was made: on a shared
computer the provider may still remember somebody else. Nothing is kept here between the calls.
Source: OpenID Connect Core 1.0 and Discovery 1.0, RFC 7636, RFC 9207, RFC 9700 (memory); OWASP
ASVS 5.0.0, V6.3.4 (read): every way in asks for the same strength.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from http import HTTPStatus
from typing import Any
from urllib.parse import urlsplit

from authlib.integrations.requests_client import OAuth2Session
from authlib.oidc.core import CodeIDToken
from joserfc import jwt
from joserfc.errors import ClaimError, ExpiredTokenError, JoseError
from joserfc.jwk import KeySet
from joserfc.jws import JWSRegistry

from app.people.outside import NoAnswer, ask, is_safe
from app.people.tokens import new_token, same

# Signatures with a key pair only: with a shared secret, whoever checks could also sign.
ALGORITHMS = ("RS256", "RS384", "RS512", "PS256", "PS384", "PS512", "ES256", "ES384", "ES512")
# How far the provider's clock and this one may differ (proposal).
CLOCKS_APART = timedelta(minutes=1)
SCOPE = "openid profile"
# OpenID Connect Core 1.0, section 2 (memory).
LONGEST_SUBJECT = 255


class ProviderRefused(Exception):
    """Nobody is signed in; `says` tells the person why, without anything secret."""

    def __init__(self, says: str) -> None:
        super().__init__(says)
        self.says = says


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


@dataclass(frozen=True)
class Identity:
    """Who somebody is, as the provider says.

    key: "issuer|subject", the same for ever. name: as the provider writes it, "" where it gives
    none. auth_time: when the person proved who they are.
    """

    key: str
    name: str
    auth_time: datetime


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
        raise _not_accepted("it speaks for another issuer")
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
        raise _not_accepted("an address is missing, or does not begin with https://")
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
        raise ValueError("a request has a state, a nonce and a verifier")
    if not same(answer.get("state", ""), asked.state):
        raise _not_accepted("it does not belong to a request of this browser")
    # Left out, it would be a way around the check (RFC 9207, section 2.4).
    if answer.get("iss", "" if provider.names_issuer else settings.issuer) != settings.issuer:
        raise _not_accepted("it comes from another issuer")
    if "error" in answer:
        raise ProviderRefused("The identity provider did not confirm who you are. Try again.")
    code = answer.get("code", "")
    if not code:
        raise _not_accepted("it has no code")
    token = _token_for(settings, provider, code, asked.verifier)
    claims = _checked(settings, provider, token, asked.nonce, now)
    return _identity(settings, claims, asked_at=asked_at, now=now)


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
        raise _not_accepted("its code is not valid")
    if status != HTTPStatus.OK:
        raise _no_answer()
    return token


def _checked(
    settings: ProviderSettings,
    provider: Provider,
    token: Mapping[str, Any],
    nonce: str,
    now: datetime,
) -> Mapping[str, Any]:
    """The claims of the ID token, once its signature and each of them was checked."""
    keys = _fetch(provider.jwks_uri)
    try:
        # Header fields that nobody here knows are ignored, as RFC 7515 asks; critical ones are not.
        rules = JWSRegistry(algorithms=ALGORITHMS, strict_check_header=False)
        signed = jwt.decode(
            token["id_token"],
            KeySet.import_key_set(keys),  # type: ignore[arg-type]
            registry=rules,
        )
    except (JoseError, ValueError, TypeError, KeyError, AttributeError):
        raise _not_accepted("its signature is not valid") from None
    claims = CodeIDToken(
        signed.claims,
        signed.header,
        {
            "iss": {"essential": True, "value": settings.issuer},
            "aud": {"essential": True, "value": settings.client_id},
        },
        {
            "nonce": nonce,
            "client_id": settings.client_id,
            "access_token": token.get("access_token"),
        },
    )
    try:
        claims.validate(int(now.timestamp()), int(CLOCKS_APART.total_seconds()))
    except ExpiredTokenError:
        raise _not_accepted("it is out of date") from None
    except ClaimError as error:
        raise _not_accepted(f"{error.claim} is missing or wrong") from None
    except TypeError:
        raise _not_accepted("a claim is no value") from None
    # Statements for several programs at once could be passed on by one of the others.
    if claims["aud"] not in (settings.client_id, [settings.client_id]):
        raise _not_accepted("aud is missing or wrong")
    checked: Mapping[str, Any] = claims
    return checked


def _identity(
    settings: ProviderSettings, claims: Mapping[str, Any], *, asked_at: datetime, now: datetime
) -> Identity:
    subject, proved = claims["sub"], claims.get("auth_time")
    if not (subject and len(subject) <= LONGEST_SUBJECT and subject.isprintable()):
        raise _not_accepted("sub is missing or wrong")
    if not isinstance(proved, int | float) or isinstance(proved, bool):
        raise _not_accepted("auth_time is missing or wrong")
    earliest, latest = asked_at - CLOCKS_APART, now + CLOCKS_APART
    if not earliest.timestamp() <= proved <= latest.timestamp():
        raise _not_accepted("you did not sign in there just now")
    name = claims.get("name")
    return Identity(
        key=f"{settings.issuer}|{subject}",
        name=" ".join(name.split()) if isinstance(name, str) and name.isprintable() else "",
        auth_time=datetime.fromtimestamp(proved, UTC),
    )


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
    return ProviderRefused("The identity provider does not answer. Try again in a moment.")


def _not_accepted(reason: str) -> ProviderRefused:
    return ProviderRefused(
        f"The identity provider's answer was not accepted: {reason}. "
        "Nobody was signed in; try again."
    )
