"""`evenhand reassess`: which signed exams would read differently, worst first."""

import json
import sqlite3
from collections.abc import Callable, Iterator, Mapping
from dataclasses import replace
from itertools import islice
from pathlib import Path
from types import MappingProxyType

import pytest
from sqlalchemy import Engine, text

from app.assess.assess import assess
from app.assess.assessment import as_text
from app.cli import main
from app.exam.record import Cell, Recorded
from app.exam.vocabulary import Side
from app.knowledge.load import knowledge
from app.store.engine import make_engine, reading
from app.store.registry.reassess import reassess
from app.store.registry.signed import signed_exams_after
from app.store.registry.work_file import work_file
from app.store.verify import verify
from tests.store.clinic import an_exam, write
from tests.store.desk import an_account, signed, to_sign
from tests.store.test_verify import tampered

Said = tuple[int, str, str]
Cells = Mapping[Cell, Recorded]
OLD = "2025.3"
# A weak arm that came suddenly: an emergency. Signed when a version did not know that.
EMERGENCY: Cells = {
    ("weak_arm", Side.RIGHT): 2,
    ("hx_onset", None): "sudden",
    ("hx_years", None): 0,
}
# Trouble swallowing: a warning, but no emergency.
SOON: Cells = {("hx_swallowing", None): True}
CHOREA: Cells = {("chorea", Side.LEFT): 2}


@pytest.fixture
def engine(url: str, monkeypatch: pytest.MonkeyPatch) -> Iterator[Engine]:
    """A database that the command finds by its settings."""
    monkeypatch.setenv("EVENHAND_DATABASE_URL", url)
    made = make_engine(url)
    an_account(made)
    yield made
    made.dispose()


@pytest.fixture
def run(capsys: pytest.CaptureFixture[str]) -> Callable[..., Said]:
    """Run the command; its status, and what it said on standard output and on standard error."""

    def run(*arguments: str) -> Said:
        status = main(("reassess", *arguments))
        told = capsys.readouterr()
        return status, told.out, told.err

    return run


def a_signed_exam(
    engine: Engine, number: str, cells: Cells, *, then: Cells | None = None, under: str = OLD
) -> str:
    """A signed exam. then: what its conclusions were drawn from when it was signed."""
    exam = an_exam(engine, chart_number=number)
    held = write(engine, exam.id, cells, 0).exam
    drawn = held if then is None else replace(held, cells=MappingProxyType(dict(then)))
    found = as_text(assess(drawn, knowledge()))
    prepared = to_sign(engine, exam.id, assessment=found, knowledge=under)
    signed(engine, exam.id, prepared, under)
    return exam.id


def three_that_differ(engine: Engine) -> list[str]:
    """Three exams that would read differently, the worst first, and one that would not."""
    level = a_signed_exam(engine, "T-1", CHOREA, then={})
    soon = a_signed_exam(engine, "T-2", SOON, then={})
    a_signed_exam(engine, "T-3", SOON)
    emergency = a_signed_exam(engine, "T-4", EMERGENCY, then={})
    return [emergency, soon, level]


def told(out: str) -> list[dict[str, object]]:
    """The objects of the lines."""
    return [json.loads(line) for line in out.splitlines()]


def test_new_emergencies_stand_first_and_nothing_signed_changes(
    engine: Engine, run: Callable[..., Said]
) -> None:
    """Then other warnings, then levels; an exam that reads as it was signed is not listed."""
    expected = three_that_differ(engine)
    status, out, err = run("--json")
    *listed, counts = told(out)

    assert (0, "") == (status, err)
    assert expected == [each["exam_id"] for each in listed]
    assert {"kind": "warning", "id": "stroke_like", "signed": "not_raised", "now": "emergency"} in (
        listed[0]["changes"]  # type: ignore[operator]
    )
    assert [{"kind": "warning", "id": "swallowing", "signed": "not_raised", "now": "soon"}] == (
        listed[1]["changes"]
    )
    assert [{"kind": "category", "id": "chorea", "signed": "not_supported", "now": "fits"}] == (
        listed[2]["changes"]
    )
    assert {"exams": 4, "differing": 3, "knowledge": knowledge().version} == counts
    with reading(engine) as session:
        assert () == verify(session).alterations


@pytest.mark.parametrize("kind", ["sqlite"])
def test_what_is_listed_reads_as_words(engine: Engine, run: Callable[..., Said]) -> None:
    """The exam, and beneath it what it would say now and what was signed."""
    exam_id = a_signed_exam(engine, "T-1", CHOREA, then={})
    status, out, _ = run()

    assert 0 == status
    assert [
        f"{exam_id}, signed 2026-03-04 under knowledge {OLD}",
        "  Chorea: now fits the pattern, signed as nothing points that way",
        f"1 signed exams, 1 of which would read differently under knowledge {knowledge().version}",
    ] == out.splitlines()


def test_one_version_can_be_asked_of(engine: Engine, run: Callable[..., Said]) -> None:
    """Only exams that were signed under it; a version under which there is none is refused."""
    version = knowledge().version
    a_signed_exam(engine, "T-1", CHOREA, then={})
    now = a_signed_exam(engine, "T-2", SOON, then={}, under=version)
    status, out, _ = run("--against", version, "--json")
    refused = run("--against", "1999.9")

    assert 0 == status
    assert [now] == [each["exam_id"] for each in told(out)[:-1]]
    assert (
        2,
        "",
        (
            "evenhand: --against 1999.9: no exam was signed under it; "
            f"signed are {OLD} (1), {version} (1)\n"
        ),
    ) == refused


@pytest.mark.parametrize("kind", ["sqlite"])
def test_a_run_that_was_stopped_goes_on_where_it_was(
    engine: Engine, run: Callable[..., Said], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Stopped after two batches of one; the same command looks at the rest, and tells of all."""
    expected = three_that_differ(engine)
    file = tmp_path / "reassess.work"
    about = f"exams of the database, signed under any version, read under {knowledge().version}"
    monkeypatch.setattr("app.store.registry.reassess.BATCH", 1)
    with reading(engine) as session, work_file(file, about) as work:
        first = islice(signed_exams_after(session, "", None), 2)
        reassess(first, knowledge(), work, lambda seen: None)
    looked: list[str] = []
    with reading(engine) as session, work_file(file, about) as work:
        looked += (each.exam_id for each in signed_exams_after(session, work.seen[0], None))
    status, out, _ = run("--resume", str(file), "--json")
    again = run("--resume", str(file), "--json")

    assert 2 == len(looked)
    assert 0o600 == file.stat().st_mode & 0o777
    assert 0 == status
    assert expected == [each["exam_id"] for each in told(out)[:-1]]
    assert (0, out, "") == again


@pytest.mark.parametrize("kind", ["sqlite"])
def test_a_file_that_is_about_something_else_is_left_alone(
    engine: Engine, run: Callable[..., Said], tmp_path: Path
) -> None:
    """One line, status 2, and the file as it was."""
    a_signed_exam(engine, "T-1", CHOREA)
    other, text_file = tmp_path / "other.db", tmp_path / "notes.txt"
    with work_file(other, "exams of another clinic"):
        pass
    text_file.write_text("not a database, and long enough to be sure of it " * 20)
    tables = tmp_path / "tables.db"
    with sqlite3.connect(tables) as database:
        database.execute("CREATE TABLE mine (x)")
    for file, says in (
        (other, "begun for exams of another clinic"),
        (text_file, "not a file that a reassessment wrote"),
        (tables, "it has other tables"),
        (tmp_path / "nowhere" / "file", "No such file"),
    ):
        held = file.read_bytes() if file.exists() else b""
        status, out, err = run("--resume", str(file))

        assert (2, "", 1) == (status, out, err.count("\n"))
        assert f"evenhand: {file}: " in err
        assert says in err
        assert held == (file.read_bytes() if file.exists() else b"")


def test_a_record_that_cannot_be_read_is_named(engine: Engine, run: Callable[..., Said]) -> None:
    """One line that names the exam, and status 2."""
    exam_id = a_signed_exam(engine, "T-1", CHOREA)
    tampered(engine, "signature", "UPDATE signature SET content = content || ' '")

    assert (
        2,
        "",
        f"evenhand: the content of exam {exam_id} was altered after it was signed\n",
    ) == run()


@pytest.mark.parametrize("kind", ["sqlite"])
def test_whoever_watches_sees_how_far_it_is(
    engine: Engine, run: Callable[..., Said], monkeypatch: pytest.MonkeyPatch
) -> None:
    """A bar on standard error, and nothing of it among the results."""
    a_signed_exam(engine, "T-1", CHOREA)
    monkeypatch.setattr("sys.stderr.isatty", lambda: True)
    _, out, err = run()

    assert f"\r[{'#' * 30}] 1 of 1 exams\n" == err
    assert "#" not in out


def test_the_rows_in_the_store_are_read_and_never_written(engine: Engine) -> None:
    """A connection that cannot write is enough."""
    a_signed_exam(engine, "T-1", CHOREA, then={})
    with reading(engine) as session, work_file(None, "this") as work:
        if engine.dialect.name == "sqlite":
            session.execute(text("PRAGMA query_only = ON"))
        reassess(signed_exams_after(session, "", None), knowledge(), work, lambda seen: None)

        assert 1 == work.differing
