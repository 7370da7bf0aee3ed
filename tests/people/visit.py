"""Somebody goes to the identity provider and comes back."""

from datetime import UTC, datetime
from typing import Any

import pytest

from app.people.id_token import Identity, ProviderRefused
from app.people.oidc import Asked, address_to_ask, discover, identify, new_request
from tests.people.provider import NOW, LocalProvider

ASKED_AT = datetime.fromtimestamp(NOW - 20, UTC)
BACK_AT = datetime.fromtimestamp(NOW + 2, UTC)


def sign_in(
    provider: LocalProvider,
    *,
    asked: Asked | None = None,
    kept: Asked | None = None,
    now: datetime = BACK_AT,
) -> Identity:
    """Ask, go to the provider, come back. kept: what this browser's request was, if another."""
    asked = asked or new_request()
    found = discover(provider.settings)
    answer = provider.go(address_to_ask(provider.settings, found, asked))
    return identify(provider.settings, found, answer, kept or asked, asked_at=ASKED_AT, now=now)


def refusal(provider: LocalProvider, **how: Any) -> str:
    """Why nobody is signed in."""
    with pytest.raises(ProviderRefused) as refused:
        sign_in(provider, **how)
    return refused.value.says
