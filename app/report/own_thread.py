"""Work that starts an event loop of its own, which is refused in a thread that runs one."""

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from typing import TypeVar

T = TypeVar("T")


def in_own_thread(work: Callable[[], T]) -> T:
    """Do it in a new thread and wait; pyHanko runs a loop for each seal that it makes or reads."""
    with ThreadPoolExecutor(1) as pool:
        return pool.submit(work).result()
