"""Signing that is cut off at any point leaves an exam signed or not signed, nothing between."""

import subprocess
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from sqlalchemy import Engine, PoolProxiedConnection, event, text

from app.store.engine import make_engine, reading
from tests.store.clinic import stored
from tests.store.desk import (
    a_reviewed_exam,
    amended,
    everything,
    pieces_of,
    signed,
    to_amend,
    to_sign,
)

ROOT = Path(__file__).parents[2]


class CutOff(Exception):
    """Stands for whatever can go wrong at this point."""


@contextmanager
def cut_off(engine: Engine, at_point: int) -> Iterator[list[str]]:
    """Fail at the n-th point from here on: a statement, or the commit. Yields those passed."""
    passed: list[str] = []

    def reach(point: str) -> None:
        if len(passed) + 1 == at_point:
            raise CutOff(point)
        passed.append(point)

    def statement(_c: object, _cursor: object, words: str, *_: object) -> None:
        reach(words)

    real = engine.dialect.do_commit

    def commit(connection: PoolProxiedConnection) -> None:
        reach("COMMIT")
        real(connection)

    event.listen(engine, "before_cursor_execute", statement)
    # As where the connection is lost: an event of SQLAlchemy's comes too early to undo anything.
    engine.dialect.do_commit = commit  # type: ignore[method-assign, assignment]
    try:
        yield passed
    finally:
        event.remove(engine, "before_cursor_execute", statement)
        del engine.dialect.do_commit


def fail_everywhere(engine: Engine, act: Callable[[], object]) -> list[str]:
    """Do it again and again, failing one point later each time; every time nothing has changed.

    Returns the points of the run that came to the end.
    """
    before = everything(engine)
    for at_point in range(1, 100):
        with cut_off(engine, at_point) as passed:
            try:
                act()
            except CutOff:
                pass
            else:
                return passed

        assert before == everything(engine), passed
    raise AssertionError("it never came to the end")


def writes(points: list[str]) -> list[str]:
    """The points that change something, in short."""
    words = [" ".join(point.split()[:3]) for point in points]
    return [each for each in words if each.split()[0] in ("INSERT", "UPDATE", "DELETE", "COMMIT")]


WRITTEN = ["INSERT INTO document", "INSERT INTO signature", "UPDATE exam SET", "INSERT INTO audit"]


def test_a_signature_that_fails_anywhere_leaves_nothing_behind(engine: Engine) -> None:
    """The same signing goes through afterwards, whole."""
    exam = a_reviewed_exam(engine)
    prepared = to_sign(engine, exam.id)
    points = fail_everywhere(engine, lambda: signed(engine, exam.id, prepared))

    assert {*WRITTEN, "COMMIT"} == set(writes(points))
    assert "COMMIT" == writes(points)[-1]
    assert ("signed", 1) == (stored(engine, exam.id).state, len(pieces_of(engine, exam.id)))


def test_an_amendment_that_fails_anywhere_leaves_nothing_behind(engine: Engine) -> None:
    """The exam reads signed, not amended, as long as the amendment is not there."""
    exam = a_reviewed_exam(engine)
    signed(engine, exam.id, to_sign(engine, exam.id))
    prepared = to_amend(engine, exam.id)
    points = fail_everywhere(engine, lambda: amended(engine, exam.id, prepared))

    assert {*WRITTEN, "COMMIT"} == set(writes(points))
    assert ("amended", 2) == (stored(engine, exam.id).state, len(pieces_of(engine, exam.id)))


@pytest.mark.parametrize("kind", ["sqlite"])
def test_a_program_that_is_killed_while_signing_leaves_signed_or_not_signed(
    engine: Engine, kind: str, tmp_path: Path
) -> None:
    """Killed before every statement, before the commit and after it; then the file is opened."""
    exam = a_reviewed_exam(engine)
    before = everything(engine)
    # The last connection to close moves everything into the one file.
    engine.dispose()
    file = tmp_path / "evenhand.db"
    subprocess.run([sys.executable, "-m", "tests.store.dies", file, exam.id], cwd=ROOT, check=True)
    points = len(list(tmp_path.glob("evenhand.db.[0-9]"))) + len(
        list(tmp_path.glob("evenhand.db.[0-9][0-9]"))
    )
    ended = []
    for point in range(1, points + 1):
        opened = make_engine(f"sqlite:///{file}.{point}")
        with reading(opened) as session:
            sound = session.connection().execute(text("PRAGMA integrity_check")).scalar_one()
        now = everything(opened)
        pieces = pieces_of(opened, exam.id)
        whole = ("signed", 1, 1, len(before["audit"]) + 1) == (
            stored(opened, exam.id).state,
            len(pieces),
            len(now["document"]),
            len(now["audit"]),
        )

        assert "ok" == sound
        assert whole or before == now
        ended.append(whole)
        if not whole:
            signed(opened, exam.id, to_sign(opened, exam.id))
        opened.dispose()

    # Not signed at every point up to the commit; signed once that was acknowledged.
    assert sorted(ended) == ended
    assert [True, True] == ended[-2:]
    assert points > 2 + len(WRITTEN)
    assert 2 == ended.count(True)
