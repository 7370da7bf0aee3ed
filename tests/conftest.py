"""What the tests of every room share: how property tests draw, and the databases.

Property tests have the same examples on every run and no deadline;
`pytest --hypothesis-profile=explore` draws other examples each time, and more of them.

What needs a database runs twice, on a SQLite file and on a PostgreSQL, both real. A test of the
pages runs on one of them, which its name decides, so that every run has both and stays short; with
EVENHAND_TEST_EVERY_DATABASE=1 it runs on each.
"""

import os
import shutil
from collections.abc import Callable, Iterator
from pathlib import Path
from zlib import crc32

import pytest
from hypothesis import settings
from sqlalchemy import Engine

from app.store.engine import make_engine, migrate
from tests.evidence.searched import Searched
from tests.evidence.watch import Evidence
from tests.postgres import fresh_database
from tests.sampling import WHOLE

settings.register_profile(
    "steady", deadline=None, derandomize=True, max_examples=100 if WHOLE else 40
)
settings.register_profile("explore", deadline=None, max_examples=2000)
settings.load_profile("steady")

KINDS = ("sqlite", "postgresql")


def pytest_configure(config: pytest.Config) -> None:
    """Watch that what is claimed of safety and security was shown, and what the program logs."""
    config.pluginmanager.register(Evidence(), "evidence")
    config.pluginmanager.register(Searched(), "searched")


@pytest.fixture(scope="session", autouse=True)
def _one_seal(tmp_path_factory: pytest.TempPathFactory) -> Iterator[None]:
    """One key for the seals of all clinics of the tests: making one takes longer than a test."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("EVENHAND_SEAL_FOLDER", str(tmp_path_factory.mktemp("seal")))
        yield


def new_file(folder: Path, fill: Callable[[Engine], None] | None = None) -> Path:
    """A SQLite file with the tables, and with what `fill` writes into them."""
    file = folder / "evenhand.db"
    engine = make_engine(f"sqlite:///{file}")
    migrate(engine)
    if fill:
        fill(engine)
    # The last connection to close moves everything into the one file.
    engine.dispose()
    return file


@pytest.fixture(scope="session")
def migrated_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A SQLite file with the tables and nothing in them, to be copied."""
    return new_file(tmp_path_factory.mktemp("template"))


def pytest_generate_tests(metafunc: pytest.Metafunc) -> None:
    """Say on which kinds of database a test runs that asks for one and does not say itself."""
    marks = metafunc.definition.iter_markers("parametrize")
    if "kind" not in metafunc.fixturenames or any("kind" in mark.args[0] for mark in marks):
        return
    kinds = list(KINDS)
    name = metafunc.definition.nodeid
    if name.startswith("tests/web/") and os.environ.get("EVENHAND_TEST_EVERY_DATABASE") != "1":
        kinds = [KINDS[crc32(name.encode()) % len(KINDS)]]
    metafunc.parametrize("kind", kinds)


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
