"""Two app servers share everything: what one was told the other knows, and one may die."""

import subprocess
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime

import httpx2
import pytest
from cryptography.hazmat.primitives.serialization import (
    Encoding,
    NoEncryption,
    PrivateFormat,
    pkcs12,
)
from sqlalchemy import make_url
from sqlmodel import col, select

from app.people.throttle import FREE
from app.report.seal_key import own_key
from app.store.audit_tables import AuditRow
from app.store.engine import reading
from tests.cluster.day import add_members_to, opened, run
from tests.cluster.machines import PROXY, Machines, free_port, machines, nginx_or_skip, temporary
from tests.cluster.people import Person, found
from tests.postgres import cluster
from tests.web.clinic import COLLEAGUE, HTMX, PHYSICIAN

HEALTH = ("healthz", "readyz")


@pytest.fixture(scope="module")
def at() -> Iterator[Machines]:
    """Both servers have started at once on an empty database."""
    with machines() as running:
        add_members_to(running)
        yield running


def test_the_first_start_of_two_servers_makes_one_clinic(at: Machines) -> None:
    """One set of tables, one code for the first administrator, one key for the seal."""
    said = [each.said() for each in at.servers]

    assert 1 == sum(text.count("There is no account yet") for text in said), said
    assert ["evenhand-seal.p12"] == [file.name for file in (at.folder / "seal").iterdir()]


def test_an_exam_goes_on_while_a_server_dies(at: Machines) -> None:
    """Nobody notices more than a retry: everything that was answered with “saved” is there once."""
    outcome = run(at, each=6, rounds=1)

    # Two entries before, six of each person; one more try for the lost answer and the dead server.
    assert (14, 14, 0, 0) == (
        outcome.entries, outcome.acknowledged, outcome.lost, outcome.twice
    )  # fmt: skip
    assert outcome.retries >= 2
    assert outcome.signed


def test_wrong_passwords_are_counted_over_all_servers_for_the_address_that_sent_them(
    at: Machines,
) -> None:
    """Otherwise each further server would be as many more tries for whoever guesses, and each
    address that a header can be made to name.

    Source: OWASP ASVS 5.0.0, V6.3.1 (read).
    """
    elsewhere = httpx2.HTTPTransport(local_address="127.0.0.2")
    with httpx2.Client(base_url=at.address, transport=elsewhere) as client:
        page = client.get("/sign-in").text
        token = found(r'name="form_token" value="(\w+)"', page)
        wrong = {"sign_in_name": COLLEAGUE.sign_in_name, "password": "no", "form_token": token}
        statuses = [
            client.post(
                "/sign-in", data=wrong, headers={"X-Forwarded-For": f"192.0.2.{number}"}
            ).status_code
            for number in range(FREE + 1)
        ]
    with opened(at) as engine, reading(engine) as session:
        asked = select(AuditRow.source).order_by(col(AuditRow.number).desc()).limit(1)
        source = session.exec(asked).one()

    assert [*[401] * FREE, 429] == statuses
    assert "127.0.0.2" == source


def test_the_configuration_for_nginx_is_one(at: Machines) -> None:
    """A clinic starts from it: with its own names in it, nginx takes it without a warning."""
    made = own_key(at.folder / "tls.p12", "Harbour Clinic", datetime.now(UTC))
    assert made.certificate
    key, certificate, _ = pkcs12.load_key_and_certificates(
        (at.folder / "tls.p12").read_bytes(), None
    )
    assert key
    assert certificate
    (at.folder / "key.pem").write_bytes(
        key.private_bytes(Encoding.PEM, PrivateFormat.PKCS8, NoEncryption())
    )
    (at.folder / "chain.pem").write_bytes(certificate.public_bytes(Encoding.PEM))
    site = (PROXY.parent / "evenhand.conf").read_text("utf-8")
    for theirs, ours in (
        ("/etc/nginx/evenhand-proxy.conf", PROXY),
        ("/etc/ssl/evenhand/fullchain.pem", at.folder / "chain.pem"),
        ("/etc/ssl/evenhand/key.pem", at.folder / "key.pem"),
        ("/var/log/nginx/evenhand.log", at.folder / "site.log"),
        # Only root may listen there.
        ("listen 80;", f"listen 127.0.0.1:{free_port()};"),
        ("listen 443 ", f"listen 127.0.0.1:{free_port()} "),
    ):
        assert theirs in site
        site = site.replace(theirs, str(ours))
    file = at.folder / "site.conf"
    whole = f"pid {at.folder}/site.pid;\nevents {{}}\nhttp {{\n{temporary(at.folder)}\n{site}\n}}\n"
    file.write_text(whole, "utf-8")
    log = str(at.folder / "site.log")
    tried = subprocess.run(
        [nginx_or_skip(), "-t", "-q", "-e", log, "-c", str(file)],
        capture_output=True, text=True, check=False,
    )  # fmt: skip

    assert (0, "") == (tried.returncode, tried.stderr)


def test_a_database_that_is_away_is_said_and_nothing_is_half_done(
    at: Machines,
) -> None:
    """503 and when to try again; the sheet keeps the entry and sends it again."""
    entry = {"finding": "drift", "side": "right", "value": "1", "revision": "0", "seen": "0"}
    with Person.at(at.address, PHYSICIAN) as person:
        path = f"/exams/{person.start_exam(chart_number='HC-1', family_name='Vzorek')}"
        with away(at):
            answers = [
                person.client.get("/"),
                person.client.post(f"{path}/cells", data=entry, headers=HTMX),
            ]
            told = [httpx2.get(f"{at.servers[0].address}/{asked}") for asked in HEALTH]
        person.enter("drift", "right", "1")

    assert [(503, "3")] * 2 == [(each.status_code, each.headers["Retry-After"]) for each in answers]
    assert all("Nothing was recorded" in each.text for each in answers)
    assert [(200, "alive\n"), (503, "not ready: the database does not answer\n")] == [
        (each.status_code, each.text) for each in told
    ]
    assert [1] == [each.made for each in person.acknowledged]


@contextmanager
def away(at: Machines) -> Iterator[None]:
    """The database lets nobody in."""
    name = make_url(at.url).database
    cluster().execute(f"ALTER DATABASE {name} ALLOW_CONNECTIONS false")
    cut_off(at)
    yield
    cluster().execute(f"ALTER DATABASE {name} ALLOW_CONNECTIONS true")


def cut_off(at: Machines) -> None:
    """End every connection to the database."""
    cluster().execute(
        "SELECT pg_terminate_backend(pid) FROM pg_stat_activity "
        f"WHERE datname = '{make_url(at.url).database}' AND pid <> pg_backend_pid()"
    )
