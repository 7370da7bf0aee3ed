"""What a process does that serves the pages and does nothing else until it ends."""

import gc
import os
import signal
from multiprocessing import parent_process
from threading import Thread

# How many objects more than were freed there may be before Python looks for circles among them.
# With its own 700 it looks through everything that a page is made of several times a page.
COLLECT_AFTER = (50_000, 10, 10)


def settle() -> None:
    """Take what was made at start, and stays, out of the search for garbage.

    Looking through the knowledge, the templates and the modules takes a fifth of a second, in which
    nobody gets an answer (benchmarks/server).
    """
    gc.collect()
    gc.freeze()
    gc.set_threshold(*COLLECT_AFTER)


def end_with_parent() -> None:
    """One of several processes ends when the one that started them is gone, however it went.

    Otherwise they would go on answering with nobody to replace or to stop them, and a new start
    would find the port taken.
    """
    parent = parent_process()
    if parent is not None:

        def wait() -> None:
            parent.join()
            os.kill(os.getpid(), signal.SIGTERM)

        Thread(target=wait, daemon=True).start()
