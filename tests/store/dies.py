"""Sign an exam in processes that are killed, each at the next point of the way, up to the last.

    python -m tests.store.dies FILE EXAM_ID

Each process works on a copy of its own, FILE.1, FILE.2, …; the last of them, which is not killed,
comes to the end. A point is a statement, the commit, and what follows it.
"""

import os
import shutil
import signal
import sys

from sqlalchemy import Engine, event
from sqlalchemy.orm import Session

from app.store.engine import make_engine
from tests.store.desk import signed, to_sign


class Points:
    """Counts the points that are passed and kills the process at one of them."""

    def __init__(self, last: int) -> None:
        self.left = last

    def passed(self, *_: object) -> None:
        """One more point; at the last one nothing goes on, and nothing is tidied up."""
        self.left -= 1
        if self.left == 0:
            os.kill(os.getpid(), signal.SIGKILL)


def sign_and_die(file: str, exam_id: str, at_point: int) -> None:
    """Prepare the signature, and sign until the point is reached."""
    engine: Engine = make_engine(f"sqlite:///{file}")
    prepared = to_sign(engine, exam_id)
    points = Points(at_point)
    event.listen(engine, "before_cursor_execute", points.passed)
    event.listen(engine, "commit", points.passed)
    event.listen(Session, "after_commit", points.passed)
    signed(engine, exam_id, prepared)


def main(file: str, exam_id: str) -> None:
    """Fork one process after the other until one of them comes to the end."""
    point, status = 0, signal.SIGKILL.value
    while status == signal.SIGKILL:
        point += 1
        shutil.copy(file, f"{file}.{point}")
        child = os.fork()
        if child == 0:
            sign_and_die(f"{file}.{point}", exam_id, point)
            os._exit(0)
        _, status = os.waitpid(child, 0)
    sys.exit(status)


if __name__ == "__main__":
    main(*sys.argv[1:])
