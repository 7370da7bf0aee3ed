"""Two app servers share everything: what one was told the other knows, and one may die."""

from collections.abc import Iterator
from contextlib import contextmanager

import httpx2
import pytest
from sqlalchemy import make_url

from app.people.throttle import FREE
from tests.cluster.day import add_members_to, run
from tests.cluster.machines import Machines, machines
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


def test_wrong_passwords_are_counted_over_all_servers(at: Machines) -> None:
    """Otherwise each further server would be as many more tries for whoever guesses.

    Source: OWASP ASVS 5.0.0, V6.3.1 (read).
    """
    with httpx2.Client(base_url=at.address) as client:
        page = client.get("/sign-in").text
        token = found(r'name="form_token" value="(\w+)"', page)
        wrong = {"sign_in_name": COLLEAGUE.sign_in_name, "password": "no", "form_token": token}
        statuses = [client.post("/sign-in", data=wrong).status_code for _ in range(FREE + 1)]

    assert [*[401] * FREE, 429] == statuses


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
