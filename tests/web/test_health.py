"""What a proxy is told, and what a person is told while the database cannot be asked."""

from collections.abc import Iterator

import pytest
from sqlalchemy import Engine, text

import app.store.engine
from app.store.engine import Pool, make_engine, reading, writing
from app.store.patients import find_patients
from tests.web.clinic import Clinic


@pytest.fixture
def full(clinic: Clinic, url: str) -> Iterator[Engine]:
    """The program with one connection to its database, which can be taken away from it."""
    made = make_engine(url, Pool(connections=1, wait_s=0.01))
    clinic.app.state.engine.dispose()
    clinic.app.state.engine = made
    yield made
    made.dispose()


@pytest.mark.parametrize("kind", ["postgresql"])
def test_a_pool_that_is_taken_is_a_clear_page_that_says_when_to_try_again(
    clinic: Clinic, full: Engine
) -> None:
    """Nothing was recorded, and the sheet sends the same entry again (static/sheet.js: 500 and up).

    Also where it fails before a route, as nobody can be asked who is there.
    """
    exam_id = clinic.new_exam()
    with reading(full) as session:
        find_patients(session, "")
        refused = [
            clinic.get("/"),
            clinic.client.post(f"/exams/{exam_id}/cells", data={"finding": "drift"}),
            clinic.get("/readyz"),
        ]
        alive = clinic.get("/healthz")
    again = clinic.cell(exam_id, "drift", "right", "1")

    assert [(503, "3")] * 3 == [(each.status_code, each.headers["Retry-After"]) for each in refused]
    for page in refused[:2]:
        assert "Nothing was recorded" in page.text
        assert "keeps what you typed" in page.text
        assert "postgres" not in page.text.lower()
    assert (200, "alive\n") == (alive.status_code, alive.text)
    assert (200, 1) == (again.status_code, len(clinic.entries(exam_id)))
    assert (200, "ready\n") == (clinic.get("/readyz").status_code, clinic.get("/readyz").text)


@pytest.mark.parametrize("kind", ["postgresql"])
def test_no_request_waits_for_a_second_connection_while_it_holds_one(
    clinic: Clinic, full: Engine
) -> None:
    """With as many of them as there are connections, all would wait until they were given up."""
    exam_id = clinic.new_exam()
    clinic.nurse.cell(exam_id, "turn_en_bloc", "", "2")
    exam = f"/exams/{exam_id}"
    paths = ("/", exam, f"{exam}/updates?since=0", f"{exam}/review", f"{exam}/pdf", "/me")

    assert [200] * 6 == [clinic.get(path).status_code for path in paths]


def test_a_server_on_tables_of_another_version_is_not_ready(clinic: Clinic) -> None:
    """A newer server has brought them up to date; the proxy passes this one over."""
    engine = clinic.app.state.engine.execution_options(evenhand_writes=True)
    with engine.begin() as connection:
        connection.execute(text("UPDATE alembic_version SET version_num = '9999'"))
    answer = clinic.get("/readyz")

    assert (503, "not ready: the tables of the database are not those of this version\n") == (
        answer.status_code, answer.text
    )  # fmt: skip


@pytest.mark.parametrize("kind", ["sqlite"])
def test_a_disk_that_is_slow_for_somebody_else_is_said_and_the_next_try_is_saved(
    clinic: Clinic, url: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Another write holds the file for longer than anybody waits."""
    exam_id = clinic.new_exam()
    monkeypatch.setattr(app.store.engine, "WAIT_MS", 20)
    clinic.app.state.engine.dispose()
    other = make_engine(url)
    with writing(other):
        refused = clinic.cell(exam_id, "drift", "right", "1")
    other.dispose()
    again = clinic.cell(exam_id, "drift", "right", "1")

    assert (503, "3") == (refused.status_code, refused.headers["Retry-After"])
    assert "Nothing was recorded; try again" in refused.text
    assert (200, 1) == (again.status_code, len(clinic.entries(exam_id)))
