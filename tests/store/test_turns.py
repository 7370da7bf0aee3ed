"""Writers of one SQLite file: one after the other, in their order, each for itself."""

import shutil
import sqlite3
from collections.abc import Callable, Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from pathlib import Path

import pytest
from sqlalchemy import Engine

import app.store.engine
from app.exam.vocabulary import Side
from app.store.engine import make_engine, writing
from app.store.entries import record
from app.store.exams import exam_record
from app.store.turns import TooLong, Turns
from tests.store.clinic import NOW, PHYSICIAN, an_exam, stored

WAIT_S = 30.0
TREMOR, TAPS = ("rest_tremor_hand", Side.RIGHT), ("finger_tap_slow", Side.LEFT)


@pytest.fixture
def file_engine(migrated_file: Path, tmp_path: Path) -> Iterator[Engine]:
    """A database of one file."""
    file = tmp_path / "evenhand.db"
    shutil.copy(migrated_file, file)
    made = make_engine(f"sqlite:///{file}")
    yield made
    made.dispose()


def in_line(
    turns: Turns, pool: ThreadPoolExecutor, jobs: list[Callable[[], None]]
) -> list[Future[None]]:
    """The jobs behind whoever has the turn, each asked for once the one before it stands there."""
    asked = []
    for place, job in enumerate(jobs, start=1):
        asked.append(pool.submit(job))
        while len(turns._waiting) < place and not asked[-1].done():
            pass
    return asked


def test_the_turn_goes_to_whoever_asked_first() -> None:
    """Nobody is passed over for seconds, as with a lock that is tried again and again."""
    turns, came = Turns(), list[int]()

    def write(number: int) -> None:
        with turns.mine(WAIT_S):
            came.append(number)

    with ThreadPoolExecutor(4) as pool:
        with turns.mine(WAIT_S):
            asked = in_line(turns, pool, [lambda n=n: write(n) for n in range(4)])  # type: ignore[misc]
        for each in asked:
            each.result()

    assert [0, 1, 2, 3] == came


def test_who_waited_too_long_stands_in_nobodys_way() -> None:
    """Their place in the line is given up; the turn would otherwise go to nobody for ever."""
    turns = Turns()
    with turns.mine(WAIT_S), ThreadPoolExecutor(1) as pool:

        def ask() -> None:
            with turns.mine(0.001):
                pytest.fail("the turn was taken already")

        with pytest.raises(TooLong):
            pool.submit(ask).result()

    with turns.mine(WAIT_S):
        assert not turns._waiting


def test_two_writers_are_one_after_the_other_and_one_that_fails_takes_nothing_with_it(
    file_engine: Engine,
) -> None:
    """The second begins once the first has ended, sees all of it, and may fail by itself."""
    exam, at_work, most = an_exam(file_engine), list[int](), list[int]()

    def write(value: int, *, fails: bool = False) -> None:
        with writing(file_engine) as session:
            at_work.append(value)
            most.append(len(at_work))
            seen = exam_record(session, exam.id).revision
            changes = {TREMOR: value}
            stamp = {"at_revision": seen, "recorder": PHYSICIAN, "now": NOW}
            record(session, exam.id, changes, **stamp)  # type: ignore[arg-type]
            at_work.pop()
            if fails:
                raise LookupError

    turns = app.store.engine._turns[str(file_engine.url.database)]
    with ThreadPoolExecutor(3) as pool:
        with turns.mine(WAIT_S):
            first, failed, last = in_line(
                turns, pool, [lambda: write(1), lambda: write(2, fails=True), lambda: write(3)]
            )
        first.result()
        last.result()
        with pytest.raises(LookupError):
            failed.result()

    kept = stored(file_engine, exam.id)
    assert {1} == set(most)
    assert (2, 3) == (kept.revision, kept.exam.cells[TREMOR])


def test_nothing_is_there_before_its_commit_and_everything_after_it(file_engine: Engine) -> None:
    """What answers a person stands behind the end of `writing`; another program sees it then."""
    exam = an_exam(file_engine)
    other = sqlite3.connect(str(file_engine.url.database))

    def entries() -> int:
        count: int = other.execute("SELECT count(*) FROM entry").fetchone()[0]
        return count

    with writing(file_engine) as session:
        record(session, exam.id, {TAPS: 2}, at_revision=0, recorder=PHYSICIAN, now=NOW)
        before = entries()

    assert (0, 1) == (before, entries())
    other.close()
