"""One app server on one database, both to be killed: on SQLite, and on PostgreSQL."""

import json
import os
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from pathlib import Path
from tempfile import TemporaryDirectory

import httpx2
from sqlalchemy import Engine

from app.settings import ROOT
from app.store.engine import make_engine
from app.store.lasting import not_lasting
from tests.cluster.machines import PATIENCE_S, AppServer, free_port
from tests.postgres import LastingCluster, lasting_cluster
from tests.web.clinic import add_members

LOOK_EVERY_S = 0.01


class Nursery:
    """The process that forks servers (tests.soak.nursery)."""

    def __init__(self) -> None:
        self._running = subprocess.Popen(
            [sys.executable, "-m", "tests.soak.nursery"],
            cwd=ROOT,
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
        )

    def fork(self, server: AppServer) -> int:
        """A new process that serves."""
        assert self._running.stdin
        assert self._running.stdout
        asked = {
            "port": server.port,
            "log": str(server.log),
            "environment": server.environment,
        }
        print(json.dumps(asked), file=self._running.stdin, flush=True)
        return int(self._running.stdout.readline())

    def close(self) -> None:
        """End it."""
        # It waits for nothing more once its input has ended.
        self._running.communicate(timeout=20)


@dataclass
class Forked(AppServer):
    """An app server that the nursery forks, or that is started from nothing."""

    nursery: Nursery = field(kw_only=True)
    process: int = 0

    def start(self, *, from_nothing: bool = False) -> None:
        """Start it; it is ready later. from_nothing: as a supervisor does, which takes long."""
        if from_nothing:
            super().start()
            assert self.running
            self.process = self.running.pid
        else:
            self.running, self.process = None, self.nursery.fork(self)

    def wait_until_ready(self) -> None:
        """Wait until it says that it can do its work."""
        until = time.monotonic() + PATIENCE_S
        with httpx2.Client(base_url=self.address) as client:
            while time.monotonic() < until:
                with suppress(httpx2.TransportError):
                    if client.get("/readyz").status_code == 200:
                        return
                assert self._lives(), self.said()
                time.sleep(LOOK_EVERY_S)
        raise AssertionError(f"{self.name} is not ready:\n{self.said()}")

    def kill(self) -> None:
        """Kill it at once; it has no time for anything."""
        os.kill(self.process, signal.SIGKILL)
        while self._lives():
            time.sleep(LOOK_EVERY_S)

    def stop(self) -> None:
        """End it, where it runs."""
        if self._lives():
            self.kill()

    def _lives(self) -> bool:
        if self.running:
            return self.running.poll() is None
        try:
            os.kill(self.process, 0)
        except ProcessLookupError:
            return False
        return True


@dataclass(frozen=True)
class Place:
    """Where people work. database: to be killed as well; None where it lives in the server."""

    kind: str
    engine: Engine
    server: Forked
    database: LastingCluster | None


@contextmanager
def place(kind: str, nursery: Nursery) -> Iterator[Place]:
    """A new database, and a server that is ready on it; everybody has an account."""
    with TemporaryDirectory(prefix="evenhand-soak-") as name, _database(kind, Path(name)) as at:
        folder = Path(name)
        url, database = at
        ours = {
            "EVENHAND_DATABASE_URL": url,
            "EVENHAND_SEAL_FOLDER": os.environ.get("EVENHAND_SEAL_FOLDER", str(folder)),
            "EVENHAND_CLINIC": "Harbour Clinic",
            "EVENHAND_DEMO": "false",
            "EVENHAND_WORKERS": "1",
            "EVENHAND_PLAIN_HTTP": "true",
        }
        ours = {**os.environ, **ours}
        server = Forked("app", free_port(), ours, folder / "app.log", nursery=nursery)
        server.start()
        engine = make_engine(url)
        try:
            server.wait_until_ready()
            # What may lose something would prove nothing.
            assert not not_lasting(engine)
            add_members(engine)
            yield Place(kind, engine, server, database)
        finally:
            server.stop()
            engine.dispose()


@contextmanager
def _database(kind: str, folder: Path) -> Iterator[tuple[str, LastingCluster | None]]:
    if kind == "sqlite":
        yield f"sqlite:///{folder / 'evenhand.db'}", None
        return
    with lasting_cluster() as running:
        yield running.url("postgres"), running
