"""The head of a server of several processes, with one of them, as uvicorn starts them.

python -m tests.soak.supervisor
"""

import multiprocessing
import signal


def work() -> None:
    """What each of the processes does first; then it waits."""
    from app.main import end_with_parent

    end_with_parent()
    print("working", flush=True)
    signal.pause()


if __name__ == "__main__":
    started = multiprocessing.get_context("spawn").Process(target=work)
    started.start()
    started.join()
