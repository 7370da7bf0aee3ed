"""`evenhand verify`, as an administrator or an archive would call it."""

from pathlib import Path

import pytest

from app.exam.vocabulary import Side
from app.store.audit import Head, head
from app.store.engine import make_engine, reading
from tests.console import Ended, run
from tests.store.clinic import an_exam, write
from tests.store.test_verify import tampered


def verify(url: str, *arguments: str) -> Ended:
    """Run it on a database."""
    return run("verify", *arguments, settings={"DATABASE_URL": url})


@pytest.fixture
def printed(url: str) -> Head:
    """The head as a page would name it, of a database with one entry."""
    engine = make_engine(url)
    exam = an_exam(engine)
    write(engine, exam.id, {("drift", Side.RIGHT): 2}, at_revision=0)
    with reading(engine) as session:
        newest = head(session)
    engine.dispose()
    return newest


def test_an_untouched_database_verifies(url: str, printed: Head) -> None:
    """It says how much was looked at, and the head for the next time."""
    done = verify(url, "--head", str(printed))

    assert (0, "") == (done.returncode, done.err)
    assert "1 rows that it speaks of: nothing altered" in done.out
    assert f"head {printed}" in done.out


def test_an_alteration_is_named_and_the_status_says_so(url: str, printed: Head) -> None:
    """A script that runs it every night sees the status."""
    engine = make_engine(url)
    tampered(engine, "entry", "UPDATE entry SET value = '0'")
    engine.dispose()
    done = verify(url)

    assert 1 == done.returncode
    assert "entry 1: altered since audit row" in done.out


def test_a_page_that_was_not_signed_here_is_said_to_be_so(url: str, tmp_path: Path) -> None:
    """It carries nothing of this clinic, so nothing is said of what it was."""
    page = tmp_path / "page.pdf"
    page.write_bytes(b"%PDF-1.7")
    done = verify(url, str(page))

    assert 1 == done.returncode
    assert f"{page}: unknown. The file is damaged" in done.out


def test_a_missing_database_is_not_made(tmp_path: Path) -> None:
    """A typing error must not end in an empty database that verifies."""
    file = tmp_path / "typo.sqlite3"
    done = verify(f"sqlite:///{file}")

    assert (2, False) == (done.returncode, file.exists())
    assert "there is no database" in done.err


def test_a_database_of_another_version_is_refused_and_left_alone(tmp_path: Path) -> None:
    """Its tables may be missing; a verdict over the rest would be worth nothing."""
    file = tmp_path / "empty.sqlite3"
    file.touch()
    done = verify(f"sqlite:///{file}")

    assert 2 == done.returncode
    assert f"{file} has no tables of this program" in done.err


def test_a_head_with_a_typing_error_is_refused(url: str) -> None:
    """Otherwise it would look like a chain that was rewritten."""
    done = verify(url, "--head", "12")

    assert 2 == done.returncode
    assert "hash of 64 digits" in done.err
