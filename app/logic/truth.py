"""Three values: yes, no and unknown, joined by strong Kleene logic."""

from collections.abc import Iterable
from enum import Enum
from typing import NoReturn


class Truth(Enum):
    """Yes, no or unknown. It has no truth of its own, so unknown can never pass for no."""

    YES = "yes"
    NO = "no"
    UNKNOWN = "unknown"

    def __bool__(self) -> NoReturn:
        """Refuse: write `is Truth.YES`."""
        raise TypeError("a Truth is not a bool: compare it with `is Truth.YES`")

    @classmethod
    def of(cls, known: bool | None) -> "Truth":
        """A plain bool, or None for unknown, as a Truth."""
        if known is None:
            return cls.UNKNOWN
        return cls.YES if known else cls.NO

    @property
    def known(self) -> bool | None:
        """The plain bool, or None where it is unknown."""
        return None if self is Truth.UNKNOWN else self is Truth.YES


YES, NO, UNKNOWN = Truth.YES, Truth.NO, Truth.UNKNOWN


def negation(inner: Truth) -> Truth:
    """No for yes, yes for no, unknown for unknown."""
    if inner is UNKNOWN:
        return UNKNOWN
    return NO if inner is YES else YES


def conjunction(members: Iterable[Truth]) -> Truth:
    """No once one member is no; yes where all are yes; else unknown. Yes where there is none."""
    joined = YES
    for member in members:
        if member is NO:
            return NO
        if member is UNKNOWN:
            joined = UNKNOWN
    return joined


def disjunction(members: Iterable[Truth]) -> Truth:
    """Yes once one member is yes; no where all are no; else unknown. No where there is none."""
    joined = NO
    for member in members:
        if member is YES:
            return YES
        if member is UNKNOWN:
            joined = UNKNOWN
    return joined


def at_least(count: int, members: Iterable[Truth]) -> Truth:
    """Yes once `count` members are yes; no once fewer than `count` still could be; else unknown."""
    sure = possible = 0
    for member in members:
        if member is not NO:
            possible += 1
            if member is YES:
                sure += 1
    if sure >= count:
        return YES
    return NO if possible < count else UNKNOWN
