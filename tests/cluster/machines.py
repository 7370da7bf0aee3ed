"""The machines: PostgreSQL of the tests, app servers as processes, and nginx in front of them."""

import os
import shutil
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Iterator, Sequence
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import IO

import httpx2
import pytest

from app.settings import ROOT
from tests.evidence.searched import named_in
from tests.postgres import fresh_database

# The file that a clinic starts from.
PROXY = ROOT / "docs" / "deploy" / "nginx" / "evenhand-proxy.conf"
# Longer than a start takes on a machine that does something else as well.
PATIENCE_S = 90
LOOK_EVERY_S = 0.05


def find_nginx() -> str | None:
    """The program; Debian puts it where only root looks."""
    return shutil.which("nginx", path=f"{os.environ.get('PATH', '')}:/usr/sbin:/usr/local/sbin")


def nginx_or_skip() -> str:
    """The program; its absence is a failure where everything is required."""
    found = find_nginx()
    if found is None:
        missing = "nginx is not installed; script/bootstrap --test installs it"
        if os.environ.get("EVENHAND_REQUIRE_ALL") == "1":
            pytest.fail(missing)
        pytest.skip(missing)
    return found


def free_port() -> int:
    """A port that nobody listens at just now."""
    with socket.socket() as asking:
        asking.bind(("127.0.0.1", 0))
        port: int = asking.getsockname()[1]
        return port


@dataclass
class AppServer:
    """One app server as a process of its own, under a name that its connections carry too.

    under: a command that watches it; program, cwd: the command `evenhand`, and where it is run.
    """

    name: str
    port: int
    environment: dict[str, str]
    log: Path
    under: Sequence[str] = ()
    program: Sequence[str] = (sys.executable, "-m", "app")
    cwd: Path = ROOT
    running: subprocess.Popen[bytes] | None = None

    @property
    def address(self) -> str:
        """Where it is reached without the proxy."""
        return f"http://127.0.0.1:{self.port}"

    def start(self) -> None:
        """Start it; it is ready later."""
        with self.log.open("ab") as log:
            self.running = subprocess.Popen(
                [*self.under, *self.program, "serve", "--port", str(self.port)],
                cwd=self.cwd,
                env=self.environment,
                stdin=subprocess.DEVNULL,
                stdout=log,
                stderr=log,
                # With its workers it is a group of its own, which is killed as a whole.
                start_new_session=True,
            )

    def wait_until_ready(self) -> None:
        """Wait until it says that it can do its work."""
        with httpx2.Client(base_url=self.address) as client:
            until = time.monotonic() + PATIENCE_S
            while time.monotonic() < until:
                assert self.running
                assert self.running.poll() is None, self.said()
                try:
                    if client.get("/readyz").status_code == 200:
                        return
                except httpx2.TransportError:
                    pass
                time.sleep(LOOK_EVERY_S)
        raise AssertionError(f"{self.name} is not ready:\n{self.said()}")

    def kill(self) -> None:
        """Kill it at once, with its workers; it has no time for anything."""
        assert self.running
        os.killpg(self.running.pid, signal.SIGKILL)
        self.running.wait()

    def stop(self) -> None:
        """Stop it, where it runs."""
        if self.running and self.running.poll() is None:
            self.running.terminate()
            try:
                self.running.wait(timeout=20)
            except subprocess.TimeoutExpired:
                self.kill()

    def said(self) -> str:
        """What stands on its console."""
        return self.log.read_text("utf-8") if self.log.exists() else ""


@dataclass
class Machines:
    """All of them. url: of the database; address: of the proxy."""

    url: str
    address: str
    servers: Sequence[AppServer]
    folder: Path = field(repr=False)

    def server(self, name: str) -> AppServer:
        """The app server of this name."""
        return next(each for each in self.servers if each.name == name)


@contextmanager
def machines(*, workers: int = 1) -> Iterator[Machines]:
    """PostgreSQL with an empty database, two app servers that start on it at once, and nginx.

    workers: the processes of each app server.
    """
    nginx = nginx_or_skip()
    with ExitStack() as stack:
        folder = Path(stack.enter_context(TemporaryDirectory(prefix="evenhand-cluster-")))
        url = stack.enter_context(fresh_database(migrated=False))
        (folder / "seal").mkdir()
        servers = [_server(folder, url, name, workers) for name in ("app1", "app2")]
        for each in servers:
            stack.callback(each.stop)
            each.start()
        address = stack.enter_context(_proxy(nginx, folder, servers))
        for each in servers:
            each.wait_until_ready()
        yield Machines(url, address, servers, folder)
        told = [line for each in servers for line in each.said().splitlines()]
        assert [] == [(named, line) for line in told if (named := named_in(line))]


def _server(folder: Path, url: str, name: str, workers: int) -> AppServer:
    ours = {
        "EVENHAND_DATABASE_URL": f"{url}&application_name={name}",
        "EVENHAND_SEAL_FOLDER": str(folder / "seal"),
        "EVENHAND_CLINIC": "Harbour Clinic",
        "EVENHAND_DEMO": "false",
        "EVENHAND_WORKERS": str(workers),
        # There is no certificate here, so the cookies go over http.
        "EVENHAND_PLAIN_HTTP": "true",
    }
    return AppServer(name, free_port(), {**os.environ, **ours}, folder / f"{name}.log")


@contextmanager
def _proxy(nginx: str, folder: Path, servers: Sequence[AppServer]) -> Iterator[str]:
    port = free_port()
    file = folder / "nginx.conf"
    file.write_text(_configuration(folder, port, servers), "utf-8")
    log: IO[bytes]
    with (folder / "nginx.log").open("wb") as log:
        running = subprocess.Popen(
            [nginx, "-p", str(folder), "-e", str(folder / "nginx.log"), "-c", str(file)],
            stdin=subprocess.DEVNULL,
            stdout=log,
            stderr=log,
        )
        try:
            yield f"http://127.0.0.1:{port}"
        finally:
            running.terminate()
            running.wait(timeout=20)


def _configuration(folder: Path, port: int, servers: Sequence[AppServer]) -> str:
    """All that is of this machine; how requests are passed on stands in the included file."""
    upstream = "\n".join(
        f"    server 127.0.0.1:{each.port} max_fails=1 fail_timeout=1s;" for each in servers
    )
    # As root, nginx would hand its folders to somebody who may not enter ours.
    user = "user root;\n" if os.geteuid() == 0 else ""
    return f"""{user}daemon off;
worker_processes 1;
pid {folder}/nginx.pid;
events {{ worker_connections 512; }}
http {{
  access_log off;
{temporary(folder)}
  upstream evenhand {{
{upstream}
    keepalive 16;
    keepalive_timeout 3s;
  }}
  server {{
    listen 127.0.0.1:{port};
    server_tokens off;
    include {PROXY};
  }}
}}
"""


def temporary(folder: Path) -> str:
    """Where nginx would put what it cannot hold, so that it needs no folder of the system's."""
    kinds = ("client_body", "proxy", "fastcgi", "uwsgi", "scgi")
    return "\n".join(f"  {kind}_temp_path {folder}/{kind};" for kind in kinds)
