"""The files that a clinic deploys with are read by the programs that they are for."""

import os
import re
import shlex
import shutil
import subprocess
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from http.server import BaseHTTPRequestHandler, HTTPServer
from pathlib import Path
from threading import Thread

import httpx2
import pytest

from app.cli.program import main
from app.settings import ROOT, Settings
from app.store.engine import make_engine
from tests.cluster.machines import free_port
from tests.store.clinic import an_exam

DEPLOY = ROOT / "docs" / "deploy"
UNITS = sorted((DEPLOY / "systemd").glob("*.service"))
PAGES = sorted(DEPLOY.rglob("*.*"))
# Of 10. It was 1.1 with systemd 252; another version weighs a little otherwise.
EXPOSURE = 1.5
UNIT_DAYS = 14


def program(name: str, package: str) -> str:
    """A program of the system's; its absence is a failure where everything is required."""
    found = shutil.which(name)
    if found is None:
        missing = f"{name} is not installed: Debian's package {package}"
        if os.environ.get("EVENHAND_REQUIRE_ALL") == "1":
            pytest.fail(missing)
        pytest.skip(missing)
    return found


@pytest.mark.parametrize("unit", UNITS, ids=lambda unit: unit.stem)
def test_a_unit_leaves_little_open(unit: Path) -> None:
    """Whoever gets into the process should find nothing but the process."""
    analyze = program("systemd-analyze", "systemd")
    done = subprocess.run(
        [analyze, "security", "--offline=true", "--no-pager", str(unit)],
        capture_output=True,
        text=True,
        check=False,
    )
    score = re.search(r"Overall exposure level for \S+: ([\d.]+)", done.stdout)

    assert score, done.stderr
    assert float(score[1]) < EXPOSURE, done.stdout


def command(unit: Path, name: str) -> list[str]:
    """A command of a unit as systemd runs it: in words, with its own signs taken off."""
    line = re.search(rf"^{name}=(.*)$", unit.read_text(), re.M)
    assert line
    return [word.replace("$$", "$").replace("%%", "%") for word in shlex.split(line[1])]


def test_the_backup_unit_makes_a_backup_and_lets_the_old_ones_go(
    tmp_path: Path, migrated_file: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Its lines are run as they stand, in other folders."""
    unit = DEPLOY / "systemd" / "evenhand-backup.service"
    file, backups = tmp_path / "evenhand.db", tmp_path / "backups"
    shutil.copy(migrated_file, file)
    engine = make_engine(f"sqlite:///{file}")
    an_exam(engine)
    engine.dispose()
    monkeypatch.setenv("EVENHAND_DATABASE_URL", f"sqlite:///{file}")
    old, young = backups / "2020-01-01T000000Z", backups / "yesterday"
    for each, days in ((old, UNIT_DAYS + 2), (young, UNIT_DAYS - 1)):
        each.mkdir(parents=True)
        (each / "manifest.json").touch()
        at = datetime.now(UTC).timestamp() - days * 86_400
        os.utime(each, (at, at))

    def run(name: str) -> None:
        words = [
            word.replace("/var/backups/evenhand", str(backups)).replace("/opt/evenhand", str(ROOT))
            for word in command(unit, name)
        ]
        subprocess.run(words, check=True, capture_output=True, cwd=ROOT)

    run("ExecStart")
    run("ExecStartPost")
    made = [each for each in backups.iterdir() if each != young]

    assert not old.exists()
    assert young.exists()
    assert [True] == [bool(re.fullmatch(r"[\d-]{10}T\d{6}Z", each.name)) for each in made]
    monkeypatch.setenv("EVENHAND_DATABASE_URL", f"sqlite:///{tmp_path / 'again.db'}")
    assert 0 == main(["restore", str(made[0])])


@contextmanager
def told_back() -> Iterator[int]:
    """A server that tells how it was asked; its port."""

    class Told(BaseHTTPRequestHandler):
        def do_POST(self) -> None:
            size = len(self.rfile.read(int(self.headers.get("Content-Length", 0))))
            asked = "\n".join(f"{name}: {value}" for name, value in self.headers.items())
            body = f"{asked}\nRead: {size}".encode()
            self.send_response(200)
            self.send_header("Content-Length", str(len(body)))
            self.end_headers()
            self.wfile.write(body)

        def do_GET(self) -> None:
            self.do_POST()

        def log_message(self, *_: object) -> None:
            """Say nothing."""

    class Quiet(HTTPServer):
        def handle_error(self, *_: object) -> None:
            """The proxy hung up in the middle of a body that is too large."""

    server = Quiet(("127.0.0.1", 0), Told)
    working = Thread(target=server.serve_forever)
    working.start()
    try:
        yield server.server_port
    finally:
        server.shutdown()
        working.join()
        server.server_close()


def test_caddys_file_is_one_that_caddy_takes() -> None:
    """With the parts that are on a clinic's machine alone left as they stand."""
    done = subprocess.run(
        [program("caddy", "caddy"), "validate", "--config", "Caddyfile", "--adapter", "caddyfile"],
        cwd=DEPLOY / "caddy",
        capture_output=True,
        text=True,
        check=False,
    )

    assert 0 == done.returncode, done.stderr


def test_nobody_names_an_address_of_their_own_through_caddy(tmp_path: Path) -> None:
    """The audit keeps the address and wrong passwords are counted by it; bodies are limited."""
    caddy, port = program("caddy", "caddy"), free_port()
    proxy = DEPLOY / "caddy" / "evenhand-proxy.caddy"
    (tmp_path / "Caddyfile").write_text(
        f"{{\n\tadmin off\n\tauto_https off\n}}\nhttp://127.0.0.1:{port} {{\n\timport {proxy}\n}}\n"
    )
    forged = {"X-Forwarded-For": "203.0.113.9", "X-Forwarded-Proto": "https"}
    with told_back() as behind:
        running = subprocess.Popen(
            [caddy, "run", "--config", "Caddyfile", "--adapter", "caddyfile"],
            cwd=tmp_path,
            env={
                **os.environ, "EVENHAND_UPSTREAMS": f"127.0.0.1:{behind}",
                "HOME": str(tmp_path), "XDG_CONFIG_HOME": str(tmp_path),
            },
            stderr=subprocess.PIPE,
            text=True,
        )  # fmt: skip
        try:
            assert running.stderr
            # It says so once it listens.
            assert any("serving initial configuration" in line for line in running.stderr)
            with httpx2.Client(base_url=f"http://127.0.0.1:{port}") as client:
                told = client.get("/", headers=forged).text
                small = client.post("/entries", content=b"x" * 200_000).status_code
                large = client.post("/entries", content=b"x" * 300_000).status_code
                page = client.post("/verify", content=b"x" * 300_000).status_code
        finally:
            running.terminate()
            running.communicate(timeout=20)

    assert "X-Forwarded-For: 127.0.0.1\n" in told
    assert "X-Forwarded-Proto: http\n" in told
    assert f"Host: 127.0.0.1:{port}\n" in told
    assert "203.0.113.9" not in told
    assert (200, 200) == (small, page)
    # Caddy 2.6 calls it 502; what is behind has not got the whole.
    assert large in (413, 502)


def test_what_is_deployed_with_names_what_exists() -> None:
    """A setting with a typing error is one that is not set."""
    known = {f"EVENHAND_{name.upper()}" for name in Settings.model_fields}
    # Caddy's own.
    known.add("EVENHAND_UPSTREAMS")
    text = "\n".join(each.read_text() for each in PAGES)
    guide = (DEPLOY / "README.md").read_text()
    links = {link.partition("#")[0] for link in re.findall(r"\]\(([^)]+)\)", guide)}

    assert set() == set(re.findall(r"EVENHAND_[A-Z_]*[A-Z]", text)) - known
    assert [] == [link for link in links if not (DEPLOY / link).is_file()]
    assert {f"{each.parent.name}/{each.name}" for each in PAGES if each.is_file()} - links == {
        "deploy/README.md"
    }
