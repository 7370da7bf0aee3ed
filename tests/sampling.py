"""How much is tried: all of it with EVENHAND_TEST_WHOLE=1, else so much that a run stays short."""

import os
from collections.abc import Sequence
from typing import TypeVar

T = TypeVar("T")

WHOLE = os.environ.get("EVENHAND_TEST_WHOLE") == "1"


def sampled(items: Sequence[T], every: int) -> Sequence[T]:
    """All of them in the whole run, else one of so many, always the same ones."""
    return items if WHOLE else items[::every]
