"""The clinic's identity provider, as the pages see it: its name, the way to it, what it proved."""

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from threading import BoundedSemaphore
from urllib.parse import urlencode

from fastapi import Request

from app.language.words import _
from app.people.id_token import ProviderRefused
from app.people.oidc import Provider, ProviderSettings, discover
from app.web.identity import SignedIn

# How long the provider's word counts as given for this signature.
FRESH = timedelta(minutes=2)
# How long what the provider says of itself is believed without asking again.
FOUND_FOR = timedelta(hours=1)
# How many wait for the provider at once: a fifth of the threads that answer pages, so that one that
# hangs keeps nobody from a chart.
AT_ONCE = 8


@dataclass
class ClinicProvider:
    """The provider under the settings of this server. label: as in “Sign in with …”."""

    settings: ProviderSettings
    label: str
    _found: tuple[datetime, Provider] | None = None
    _places: BoundedSemaphore = field(default_factory=lambda: BoundedSemaphore(AT_ONCE))

    def found(self, now: datetime) -> Provider:
        """Where its parts are; it is asked at most once an hour, and may take ten seconds.

        Raises: ProviderRefused.
        """
        held = self._found
        if held is None or not held[0] <= now < held[0] + FOUND_FOR:
            with self.waiting():
                held = self._found = now, discover(self.settings)
        return held[1]

    @contextmanager
    def waiting(self) -> Iterator[None]:
        """While somebody waits for the provider.

        Raises: ProviderRefused, where too many do already.
        """
        if not self._places.acquire(blocking=False):
            raise ProviderRefused(_("Too many are waiting for it already. Try again in a moment."))
        try:
            yield
        finally:
            self._places.release()


def provider_of(request: Request) -> ClinicProvider | None:
    """The clinic's provider; None where it has none."""
    provider: ClinicProvider | None = request.app.state.provider
    return provider


def provider_path(purpose: str, to: str) -> str:
    """Where the provider is asked who is there; to: the page to go on to.

    purpose: `sign_in`, `unlock` or `sign`.
    """
    return f"/provider/start?{urlencode({'purpose': purpose, 'to': to})}"


def is_fresh(me: SignedIn, now: datetime) -> bool:
    """Whether the provider has just said who it is, and was asked so for a signature."""
    proved_at = me.signing_proof_at
    return proved_at is not None and timedelta() <= now - proved_at <= FRESH
