"""The files that a clinic deploys with are read by the programs that they are for."""

import os
import re
import shlex
import shutil
import subprocess
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from http.server import BaseHTTPRequestHandler, HTTPServer
from pathlib import Path
from threading import Thread

import httpx2
import pytest
from cryptography import x509
from cryptography.hazmat.primitives import hashes
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.hazmat.primitives.serialization import Encoding, NoEncryption, PrivateFormat

from app.cli.program import main
from app.settings import ROOT, Settings
from app.store.engine import make_engine
from app.web.guard import HEADERS, HSTS
from tests.cluster.machines import free_port, nginx_or_skip, temporary
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

    assert "InaccessiblePaths=-/opt/evenhand/.git" in unit.read_text()
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
            if self.path == "/gone":
                return
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


def plainly(address: str) -> tuple[int, int]:
    """How http is answered: a page, and a call with a token."""
    carried = {"Authorization": "Bearer x"}
    with httpx2.Client(base_url=address) as client:
        page, call = client.get("/sign-in"), client.get("/api/cds-services", headers=carried)

    assert page.headers["location"].startswith("https://")
    assert "location" not in call.headers
    assert "exchange it" in call.text
    return page.status_code, call.status_code


def guarded(answer: httpx2.Response) -> None:
    """A page of the proxy's own carries the guards that those of the program have, once each."""
    assert "Look whether it was recorded" in answer.text
    for name, value in HEADERS.items():
        if name != "Content-Security-Policy":
            assert [value] == answer.headers.get_list(name), name
    (policy,) = answer.headers.get_list("Content-Security-Policy")
    for part in ("default-src 'none'", "frame-ancestors 'none'", "form-action 'none'"):
        assert part in policy
    assert [HSTS] == answer.headers.get_list("Strict-Transport-Security")
    assert ["no-store"] == answer.headers.get_list("Cache-Control")


def certificate(folder: Path) -> tuple[Path, Path]:
    """A certificate for this machine that nobody trusts, and its key."""
    key, name = ec.generate_private_key(ec.SECP256R1()), x509.Name([])
    now = datetime.now(UTC)
    made = x509.CertificateBuilder(
        name, name, key.public_key(), 1, now - timedelta(days=1), now + timedelta(days=1)
    ).sign(key, hashes.SHA256())
    files = folder / "certificate.pem", folder / "key.pem"
    files[0].write_bytes(made.public_bytes(Encoding.PEM))
    files[1].write_bytes(
        key.private_bytes(Encoding.PEM, PrivateFormat.PKCS8, NoEncryption()),
    )
    return files


@contextmanager
def nginx_before(port: int, folder: Path) -> Iterator[tuple[int, int]]:
    """The clinic's own files with what is of its machine changed; the ports for http and https.

    port: of the program.
    """
    nginx, plain, tls = nginx_or_skip(), free_port(), free_port()
    pem, key = certificate(folder)
    theirs = (DEPLOY / "nginx" / "evenhand.conf").read_text()
    for old, new in (
        ("listen 80;", f"listen 127.0.0.1:{plain};"),
        ("listen 443 ssl http2;", f"listen 127.0.0.1:{tls} ssl http2;"),
        ("127.0.0.1:8001 ", f"127.0.0.1:{port} "),
        ("    server 127.0.0.1:8002 max_fails=1 fail_timeout=5s;  # CHANGE\n", ""),
        ("/etc/ssl/evenhand/fullchain.pem", str(pem)),
        ("/etc/ssl/evenhand/key.pem", str(key)),
        ("/etc/nginx/evenhand-proxy.conf", str(DEPLOY / "nginx" / "evenhand-proxy.conf")),
        ("/var/log/nginx/evenhand.log", str(folder / "error.log")),
    ):
        assert old in theirs, old
        theirs = theirs.replace(old, new)
    # As root, nginx would hand its folders to somebody who may not enter ours.
    user = "user root;\n" if os.geteuid() == 0 else ""
    (folder / "nginx.conf").write_text(
        f"{user}daemon off;\npid {folder}/nginx.pid;\nevents {{}}\n"
        f"http {{\n{temporary(folder)}\n{theirs}\n}}\n"
    )
    log = folder / "start.log"
    running = subprocess.Popen(
        [nginx, "-p", str(folder), "-e", str(log), "-c", str(folder / "nginx.conf")]
    )
    try:
        with httpx2.Client(transport=httpx2.HTTPTransport(retries=8)) as client:
            client.get(f"http://127.0.0.1:{plain}/")
        yield plain, tls
    finally:
        running.terminate()
        running.wait(timeout=20)


def test_nginx_sends_people_on_and_programs_away_and_guards_what_it_says_itself(
    tmp_path: Path,
) -> None:
    """Its own pages are answers too; a token that came by http is not to be sent so again."""
    with told_back() as behind, nginx_before(behind, tmp_path) as (plain, tls):
        assert (308, 403) == plainly(f"http://127.0.0.1:{plain}")
        with httpx2.Client(base_url=f"https://127.0.0.1:{tls}", verify=False) as client:
            told = client.get("/sign-in")
            faults = {
                413: client.post("/entries", content=b"x" * 300_000),
                502: client.get("/gone"),
                414: client.get("/" + "x" * 9000),
                400: client.get("/", headers={"x": "y" * 9000}),
            }
        unsafe = httpx2.get(f"http://127.0.0.1:{tls}/")

    assert "X-Forwarded-Proto: https\n" in told.text
    assert "Strict-Transport-Security" not in told.headers
    for status, answer in (*faults.items(), (400, unsafe)):
        assert status == answer.status_code
        guarded(answer)


def test_caddy_passes_on_what_is_true_and_guards_what_it_says_itself(tmp_path: Path) -> None:
    """The audit keeps the address and wrong passwords are counted by it; bodies are limited."""
    caddy, port, plain = program("caddy", "caddy"), free_port(), free_port()
    proxy = DEPLOY / "caddy" / "evenhand-proxy.caddy"
    # The clinic's own file with what is of its machine changed; there is no certificate here.
    theirs = (DEPLOY / "caddy" / "Caddyfile").read_text()
    theirs = theirs.replace("http://evenhand.clinic.example", f"http://127.0.0.1:{plain}")
    theirs = theirs.replace("\nevenhand.clinic.example", f"\nhttp://127.0.0.1:{port}")
    theirs = theirs.replace("import evenhand-proxy.caddy", f"import {proxy}")
    (tmp_path / "Caddyfile").write_text(f"{{\n\tadmin off\n\tauto_https off\n}}\n{theirs}")
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
                large = client.post("/entries", content=b"x" * 300_000)
                page = client.post("/verify", content=b"x" * 300_000).status_code
                sent_on = plainly(f"http://127.0.0.1:{plain}")
        finally:
            running.terminate()
            running.communicate(timeout=20)

    assert "X-Forwarded-For: 127.0.0.1\n" in told
    assert "X-Forwarded-Proto: http\n" in told
    assert f"Host: 127.0.0.1:{port}\n" in told
    assert "203.0.113.9" not in told
    assert (200, 200) == (small, page)
    # Caddy 2.6 calls it 502; what is behind has not got the whole.
    assert large.status_code in (413, 502)
    guarded(large)
    assert (308, 403) == sent_on


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
    files = {each.relative_to(DEPLOY).as_posix() for each in PAGES if each.is_file()}
    assert {"README.md"} == files - links
