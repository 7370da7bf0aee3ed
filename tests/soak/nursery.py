"""A process that has imported the program and forks a server whenever it is told to.

    python -m tests.soak.nursery

Each line that it reads is JSON, `{"port": …, "log": …, "environment": {…}}`; it answers with the
process that now serves as `evenhand serve --port …` does. Starting the program takes three seconds
of a processor, nearly all of them for imports and fonts, and five hundred starts would be most of
the time.
"""

import importlib
import json
import os
import signal
import sys
from pathlib import Path
from typing import Any

from app.cli import main as evenhand
from app.knowledge.load import knowledge
from app.report.pdf import warm_up

LATER = (
    "app.serve",
    "app.report.pdf",
    "app.report.seal",
    "app.report.seal_key",
    "psycopg",
    "pyhanko.sign.signers",
    "uvicorn.loops.auto",
    "uvicorn.protocols.http.auto",
    "weasyprint",
)


def main() -> None:
    """Fork until nothing more is asked for."""
    _import_the_rest()
    # A process with threads cannot be forked safely.
    assert 1 == len(list(Path("/proc/self/task").iterdir()))
    # Nobody waits for those that were killed.
    signal.signal(signal.SIGCHLD, signal.SIG_IGN)
    for line in sys.stdin:
        child = os.fork()
        if child == 0:
            _serve(json.loads(line))
        print(child, flush=True)


def _import_the_rest() -> None:
    """What a server reads only once it starts or draws its first page."""
    knowledge()
    for name in LATER:
        importlib.import_module(name)
    warm_up()


def _serve(asked: dict[str, Any]) -> None:
    """Become a server; never returns."""
    signal.signal(signal.SIGCHLD, signal.SIG_DFL)
    os.setsid()
    os.environ.update(asked["environment"])
    nothing = os.open(os.devnull, os.O_RDONLY)
    log = os.open(asked["log"], os.O_WRONLY | os.O_APPEND | os.O_CREAT, 0o600)
    os.dup2(nothing, 0)
    os.dup2(log, 1)
    os.dup2(log, 2)
    os._exit(evenhand(["serve", "--port", str(asked["port"])]))


if __name__ == "__main__":
    main()
