"""How long a sign-in holds: until it locks for want of use, and until it ends."""

from dataclasses import dataclass
from datetime import datetime, timedelta
from enum import StrEnum

# Source: WCAG 2.2, SC 2.2.1 (read): somebody must have 20 seconds to ask for more time.
SHORTEST_WARNING = timedelta(seconds=20)
# Two servers' clocks differ a little; a clock further back than this was set back.
CLOCKS_APART = timedelta(seconds=5)


@dataclass(frozen=True)
class Limits:
    """The limits of every sign-in of a clinic.

    idle: without use for so long it locks; the same person goes on with the password. absolute: so
    long after its start it ends, used or not. warning: so long before it locks the page says so.
    Defaults (proposals): 10 minutes, because an examination room stands open between patients and
    locking loses nothing; 12 hours, a long shift; 30 seconds. docs/decisions/0010 has the reasons.
    """

    idle: timedelta = timedelta(minutes=10)
    absolute: timedelta = timedelta(hours=12)
    warning: timedelta = timedelta(seconds=30)

    def __post_init__(self) -> None:
        """Refuse limits that could not be kept together."""
        if not SHORTEST_WARNING <= self.warning < self.idle <= self.absolute:
            raise ValueError(
                "expected a warning of at least 20 seconds, a longer idle limit, and an absolute "
                f"limit no shorter than that, not {self.warning}, {self.idle}, {self.absolute}"
            )


class Standing(StrEnum):
    """What a sign-in is good for: everything, only to be unlocked, nothing."""

    ACTIVE = "active"
    LOCKED = "locked"
    ENDED = "ended"


def standing(
    *,
    started_at: datetime,
    active_at: datetime,
    locked_at: datetime | None,
    ended_at: datetime | None,
    now: datetime,
    limits: Limits,
) -> Standing:
    """What a sign-in is good for now.

    A time that lies ahead of now means that the clock was set back: how long it has been is not
    known then, and counts as too long.
    """
    if ended_at is not None or _is_over(started_at, limits.absolute, now):
        return Standing.ENDED
    if locked_at is not None or _is_over(active_at, limits.idle, now):
        return Standing.LOCKED
    return Standing.ACTIVE


def _is_over(since: datetime, limit: timedelta, now: datetime) -> bool:
    return not -CLOCKS_APART <= now - since < limit
