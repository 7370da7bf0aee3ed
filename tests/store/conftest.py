"""The databases that every test of the store runs on: a SQLite file and a PostgreSQL, both real."""

import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from sqlalchemy import Engine

from app.store.engine import make_engine, migrate
from app.store.exams import ExamRecord
from tests.postgres import fresh_database
from tests.store.clinic import an_exam


@pytest.fixture(scope="session")
def migrated_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A SQLite file with the tables and nothing in them, to be copied."""
    file = tmp_path_factory.mktemp("template") / "evenhand.db"
    engine = make_engine(f"sqlite:///{file}")
    migrate(engine)
    # The last connection to close moves everything into the one file.
    engine.dispose()
    return file


@pytest.fixture(params=["sqlite", "postgresql"])
def kind(request: pytest.FixtureRequest) -> str:
    """The kind of database; every database of one test is of the same."""
    return str(request.param)


@pytest.fixture
def url(kind: str, request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[str]:
    """The address of a new database with its tables, once on each kind."""
    if kind == "sqlite":
        file = tmp_path / "evenhand.db"
        shutil.copy(request.getfixturevalue("migrated_file"), file)
        yield f"sqlite:///{file}"
    else:
        with fresh_database() as address:
            yield address


@pytest.fixture
def empty_url(kind: str, tmp_path: Path) -> Iterator[str]:
    """The address of a new database without tables, once on each kind."""
    if kind == "sqlite":
        yield f"sqlite:///{tmp_path / 'empty.db'}"
    else:
        with fresh_database(migrated=False) as address:
            yield address


@pytest.fixture
def engine(url: str) -> Iterator[Engine]:
    """A new database with its tables, once on each kind."""
    made = make_engine(url)
    yield made
    made.dispose()


@pytest.fixture
def empty_engine(empty_url: str) -> Iterator[Engine]:
    """A new database without tables, once on each kind."""
    made = make_engine(empty_url)
    yield made
    made.dispose()


@pytest.fixture
def exam(engine: Engine) -> ExamRecord:
    """An exam without entries."""
    return an_exam(engine)
