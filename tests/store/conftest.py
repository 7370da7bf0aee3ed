"""The databases of the tests of the store."""

from collections.abc import Iterator

import pytest
from sqlalchemy import Engine

from app.store.engine import make_engine
from app.store.exams import ExamRecord
from tests.store.clinic import an_exam


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
