"""The demonstration as its people leave it: signed, amended, and calling for a physician."""

import shutil
from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from threading import Event
from threading import enumerate as enumerate_threads

import pytest
from sqlalchemy import Engine
from sqlmodel import Session, select

from app.language.words import speaking
from app.places import DEMO
from app.store.alerts import alerts
from app.store.audit import head
from app.store.demo import load_demo
from app.store.demo_files import Demo, read_demo
from app.store.engine import make_engine, reading
from app.store.signatures import Signature, document, signatures
from app.store.tables import ExamRow, PatientRow
from app.store.verify import verify
from app.web.demo_signing import finish_demo, finishing

NOW = datetime(2027, 3, 2, 20, 0, tzinfo=UTC)
AMENDED = "DEMO-0009"


@pytest.fixture(scope="module")
def engine(tmp_path_factory: pytest.TempPathFactory, migrated_file: Path) -> Iterator[Engine]:
    """The demonstration as it was loaded."""
    file = shutil.copy(migrated_file, tmp_path_factory.mktemp("demo"))
    engine = make_engine(f"sqlite:///{file}")
    load_demo(engine, DEMO, NOW, lambda password: f"kept of {password}")
    yield engine
    engine.dispose()


@pytest.fixture(scope="module")
def one_person() -> Demo:
    """The invented clinic with the one person whose exam is amended; each page takes its time."""
    demo = read_demo(DEMO, NOW)
    return replace(
        demo, patients=tuple(each for each in demo.patients if each.new.chart_number == AMENDED)
    )


def states(session: Session) -> dict[str, set[str]]:
    """The states of each person's exams."""
    found: dict[str, set[str]] = {}
    for number, state in session.exec(select(PatientRow.chart_number, ExamRow.state).join(ExamRow)):
        found.setdefault(number, set()).add(state)
    return found


def pieces(session: Session) -> list[Signature]:
    """Everything that was signed."""
    ids = session.exec(select(ExamRow.id))
    return [piece for each in ids.all() for piece in signatures(session, each)]


def test_a_server_that_ends_early_leaves_nothing_half_signed(engine: Engine) -> None:
    """A physician is called all the same, and only to what none has recorded in."""
    stopped = Event()
    stopped.set()
    finish_demo(engine, read_demo(DEMO, NOW), "", stopped)

    with reading(engine) as session:
        assert ["DEMO-0008"] == [each.patient.chart_number for each in alerts(session)]
        assert [] == pieces(session)
        assert () == verify(session).alterations


def test_the_next_start_signs_and_amends_what_is_left_once(
    engine: Engine, one_person: Demo
) -> None:
    """As a person does it: pages that carry no seal, an audit that is whole, and no second time.

    In the language of the clinic, beside the server that answers.
    """
    running = set(enumerate_threads())
    with speaking("de"), finishing(engine, one_person, ""):
        for thread in set(enumerate_threads()) - running:
            thread.join()
    with reading(engine) as session:
        first, signed, audit = states(session), pieces(session), head(session)
        pages = [document(session, each.document_sha256).content for each in signed]
        report = verify(session)
    finish_demo(engine, one_person, "")
    with reading(engine) as session:
        again = states(session), pieces(session), head(session)

    assert {"amended", "open"} == first[AMENDED]
    assert ["exam", "addendum"] == [each.kind for each in signed]
    assert {"Dr Bríd Sampla"} == {each.printed_name for each in signed}
    assert {"UNTERSCHRIEBEN", "ERGÄNZT"} == {each.note.split(",")[0].split()[0] for each in signed}
    assert all(each.meaning.startswith("Ich habe") for each in signed)
    assert 2 == sum(page.startswith(b"%PDF") for page in pages)
    assert () == report.alterations
    assert (first, signed, audit) == again
