"""Whose turn it is to write: one after the other, in the order in which they came.

SQLite has one writer. Whoever finds it busy asks again after a while, and the longer somebody has
waited the more seldom they ask, so a few are passed over for seconds. Within one process they line
up here instead; between processes SQLite's own wait stays.
"""

from collections import deque
from collections.abc import Iterator
from contextlib import contextmanager
from threading import Lock


class TooLong(Exception):
    """The turn did not come in the time that was given."""


class Turns:
    """A lock that is handed on in the order in which it was asked for."""

    def __init__(self) -> None:
        self._guard = Lock()
        self._is_taken = False
        self._waiting: deque[Lock] = deque()

    @contextmanager
    def mine(self, wait_s: float) -> Iterator[None]:
        """Wait for the turn, and hand it on at the end, however that comes.

        Raises: TooLong.
        """
        self._take(wait_s)
        try:
            yield
        finally:
            self._hand_on()

    def _take(self, wait_s: float) -> None:
        with self._guard:
            if not self._is_taken:
                self._is_taken = True
                return
            place = Lock()
            place.acquire()
            self._waiting.append(place)
        if place.acquire(timeout=wait_s):
            return
        with self._guard:
            if place in self._waiting:
                self._waiting.remove(place)
                raise TooLong
        # It was handed on to us in the very moment in which we gave up.

    def _hand_on(self) -> None:
        with self._guard:
            if self._waiting:
                self._waiting.popleft().release()
            else:
                self._is_taken = False
