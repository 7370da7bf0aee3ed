"""The ID token: what the identity provider states about somebody, checked before it counts.

Its signature, each of its claims, and that the person proved who they are just now: on a shared
computer the provider may still remember somebody else.
Source: OpenID Connect Core 1.0, RFC 7515 (memory).
"""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Any

from authlib.oidc.core import CodeIDToken
from joserfc import jwt
from joserfc.errors import ClaimError, ExpiredTokenError, JoseError
from joserfc.jwk import KeySet
from joserfc.jws import JWSRegistry

from app.language.words import _

# Signatures with a key pair only: with a shared secret, whoever checks could also sign.
ALGORITHMS = ("RS256", "RS384", "RS512", "PS256", "PS384", "PS512", "ES256", "ES384", "ES512")
# How far the provider's clock and this one may differ (proposal).
CLOCKS_APART = timedelta(minutes=1)
# OpenID Connect Core 1.0, section 2 (memory).
LONGEST_SUBJECT = 255


class ProviderRefused(Exception):
    """Nobody is signed in; `says` tells the person why, without anything secret."""

    def __init__(self, says: str) -> None:
        super().__init__(says)
        self.says = says


@dataclass(frozen=True)
class Identity:
    """Who somebody is, as the provider says.

    key: "issuer|subject", the same for ever. name: as the provider writes it, "" where it gives
    none. auth_time: when the person proved who they are.
    """

    key: str
    name: str
    auth_time: datetime


def identity_in(
    token: Mapping[str, Any],
    keys: Mapping[str, Any],
    *,
    issuer: str,
    client_id: str,
    nonce: str,
    asked_at: datetime,
    now: datetime,
) -> Identity:
    """Who somebody is, once the signature of the ID token and each of its claims was checked.

    token: what the provider gave for the code. keys: its own, with which it signs. nonce: of the
    request. Raises: ProviderRefused.
    """
    claims = _checked(token, keys, issuer=issuer, client_id=client_id, nonce=nonce, now=now)
    return _identity(claims, issuer=issuer, asked_at=asked_at, now=now)


def not_accepted(reason: str) -> ProviderRefused:
    """The refusal of an answer, with its reason in words."""
    return ProviderRefused(
        _(
            "The identity provider's answer was not accepted: {reason}. Nobody was "
            "signed in; try again."
        ).format(reason=reason)
    )


def _checked(
    token: Mapping[str, Any],
    keys: Mapping[str, Any],
    *,
    issuer: str,
    client_id: str,
    nonce: str,
    now: datetime,
) -> Mapping[str, Any]:
    """The claims of the ID token, once its signature and each of them was checked."""
    try:
        # Header fields that nobody here knows are ignored, as RFC 7515 asks; critical ones are not.
        rules = JWSRegistry(algorithms=ALGORITHMS, strict_check_header=False)
        signed = jwt.decode(
            token["id_token"],
            KeySet.import_key_set(keys),  # type: ignore[arg-type]
            registry=rules,
        )
    except (JoseError, ValueError, TypeError, KeyError, AttributeError):
        raise not_accepted(_("its signature is not valid")) from None
    claims = CodeIDToken(
        signed.claims,
        signed.header,
        {
            "iss": {"essential": True, "value": issuer},
            "aud": {"essential": True, "value": client_id},
        },
        {
            "nonce": nonce,
            "client_id": client_id,
            "access_token": token.get("access_token"),
        },
    )
    try:
        claims.validate(int(now.timestamp()), int(CLOCKS_APART.total_seconds()))
    except ExpiredTokenError:
        raise not_accepted(_("it is out of date")) from None
    except ClaimError as error:
        raise not_accepted(_("{claim} is missing or wrong").format(claim=error.claim)) from None
    except TypeError:
        raise not_accepted(_("a claim is no value")) from None
    # Statements for several programs at once could be passed on by one of the others.
    if claims["aud"] not in (client_id, [client_id]):
        raise not_accepted(_("aud is missing or wrong"))
    checked: Mapping[str, Any] = claims
    return checked


def _identity(
    claims: Mapping[str, Any], *, issuer: str, asked_at: datetime, now: datetime
) -> Identity:
    subject, proved = claims["sub"], claims.get("auth_time")
    if not (subject and len(subject) <= LONGEST_SUBJECT and subject.isprintable()):
        raise not_accepted(_("sub is missing or wrong"))
    if not isinstance(proved, int | float) or isinstance(proved, bool):
        raise not_accepted(_("auth_time is missing or wrong"))
    earliest, latest = asked_at - CLOCKS_APART, now + CLOCKS_APART
    if not earliest.timestamp() <= proved <= latest.timestamp():
        raise not_accepted(_("you did not sign in there just now"))
    name = claims.get("name")
    return Identity(
        key=f"{issuer}|{subject}",
        name=" ".join(name.split()) if isinstance(name, str) and name.isprintable() else "",
        auth_time=datetime.fromtimestamp(proved, UTC),
    )
