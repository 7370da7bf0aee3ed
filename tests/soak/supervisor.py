"""The head of a server of several processes, with one of them, as uvicorn starts them.

python -m tests.soak.supervisor
"""

import multiprocessing
import signal

LONGEST_S = 30


def work() -> None:
    """What each of the processes does first; then it waits."""
    from app.web.process import end_with_parent

    end_with_parent()
    # Where nobody ends it, it says so, and whoever waits for its end does not wait for ever.
    signal.signal(signal.SIGALRM, lambda *_: print("left alone", flush=True))
    signal.alarm(LONGEST_S)
    print("working", flush=True)
    signal.pause()


if __name__ == "__main__":
    started = multiprocessing.get_context("spawn").Process(target=work)
    started.start()
    started.join()
