"""The invented clinic that a visitor can try the program with."""

import shutil
import threading
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from sqlalchemy import Engine, delete
from sqlmodel import select

from app.exam.record import Patient
from app.exam.vocabulary import vocabulary
from app.exam.writing import exam_as_json
from app.store.accounts import accounts, has_demo_accounts
from app.store.audit_tables import AuditRow
from app.store.demo import load_demo
from app.store.demo_files import BadDemo, read_demo
from app.store.engine import make_engine, reading, writing
from app.store.entries import EntryRecord, history
from app.store.exams import exam_record, worklist
from app.store.patients import age_on, find_patients
from app.store.people_tables import AccountRow
from app.store.tables import EntryRow
from app.store.verify import verify
from tests.store.clinic import a_patient
from tests.store.people import an_account

FOLDER = Path(__file__).parents[2] / "seed_demo"
AS_WRITTEN = datetime(2026, 11, 25, 20, 0, tzinfo=UTC)
LATER = datetime(2031, 7, 1, 3, 0, tzinfo=UTC)


def kept(password: str) -> str:
    """What the tests keep of a password; the store does not look at it."""
    return f"kept of {password}"


@pytest.fixture(scope="module")
def six(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The demonstration with its first six people only, which is loaded in a third of the time."""
    folder = shutil.copytree(FOLDER, tmp_path_factory.mktemp("demo") / "six")
    file = folder / "clinic.toml"
    first, _, others = file.read_text(encoding="utf-8").partition("# ---- The people below")
    assert others
    file.write_text(first, encoding="utf-8")
    return folder


def test_the_demo_is_loaded_once(engine: Engine, six: Path) -> None:
    """A second start changes nothing."""
    first = load_demo(engine, six, AS_WRITTEN, kept)
    with reading(engine) as session:
        before = find_patients(session, ""), worklist(session)
    second = load_demo(engine, six, AS_WRITTEN, kept)
    with reading(engine) as session:
        after = find_patients(session, ""), worklist(session)

    assert (6, 0) == (first, second)
    assert before == after
    assert (6, 8) == (len(after[0]), len(after[1]))
    assert [f"DEMO-000{n}" for n in range(1, 7)] == sorted(c.chart_number for c in after[0])


def test_servers_that_start_together_load_the_demo_once(engine: Engine, six: Path) -> None:
    """The second waits for the first and then finds its patients."""
    start = threading.Barrier(2)

    def load(_: int) -> int:
        start.wait()
        return load_demo(engine, six, AS_WRITTEN, kept)

    with ThreadPoolExecutor(2) as pool:
        assert [0, 6] == sorted(pool.map(load, range(2)))


def test_the_demo_never_mixes_with_real_patients(engine: Engine) -> None:
    """Invented people beside real ones would be taken for real."""
    real = a_patient(engine)

    assert 0 == load_demo(engine, FOLDER, AS_WRITTEN, kept)
    with reading(engine) as session:
        assert [real] == find_patients(session, "")
        assert [] == accounts(session)


def test_the_demo_never_comes_to_people_who_work_here(engine: Engine) -> None:
    """Its passwords are known to everybody; they would open what the clinic records."""
    real = an_account(engine, "admin", "administrator")

    assert 0 == load_demo(engine, FOLDER, AS_WRITTEN, kept)
    with reading(engine) as session:
        assert [real] == accounts(session)
        assert [] == find_patients(session, "")
        assert not has_demo_accounts(session)


def test_the_accounts_come_with_the_passwords_that_the_page_tells(
    engine: Engine, six: Path
) -> None:
    """Each long enough for the rules of real ones, and marked by its name as what it is."""
    load_demo(engine, six, AS_WRITTEN, kept)
    told = read_demo(six, AS_WRITTEN).accounts
    with reading(engine) as session:
        held = accounts(session)
        assert has_demo_accounts(session)

    assert ["demo-administrator", "demo-nurse", "demo-physician"] == [
        each.sign_in_name for each in held
    ]
    assert {
        (each.sign_in_name, each.printed_name, each.role, kept(each.password)) for each in told
    } == {(each.sign_in_name, each.printed_name, each.role, each.password_hash) for each in held}
    assert min(len(each.password) for each in told) >= 15
    assert {"nurse", "physician", "administrator"} == {each.role for each in told}


def test_a_demo_from_before_there_were_accounts_is_given_them(engine: Engine, six: Path) -> None:
    """Otherwise nobody could sign in to it any more. Its patients are not added again."""
    load_demo(engine, six, AS_WRITTEN, kept)
    with writing(engine) as session:
        session.exec(delete(AccountRow))
    again = load_demo(engine, six, AS_WRITTEN, kept)
    with reading(engine) as session:
        assert (0, 3, 6) == (again, len(accounts(session)), len(find_patients(session, "")))


def test_what_the_demo_records_is_recorded_by_its_accounts(engine: Engine, six: Path) -> None:
    """The audit of the demonstration can be tried out: who did what, in one chain."""
    load_demo(engine, six, AS_WRITTEN, kept)
    with reading(engine) as session:
        by_id = {each.id: (each.printed_name, each.role) for each in accounts(session)}
        by_id[""] = ("Evenhand", "")
        entries = list(session.exec(select(EntryRow)))
        acts = list(session.exec(select(AuditRow)))
        verified = verify(session)

        assert {(each.by, each.role) for each in entries} == {
            by_id[each.account_id or "none"] for each in entries
        }
        assert [by_id[each.account_id] for each in acts] == [
            (each.name, each.role) for each in acts
        ]
        added = {name for each in acts if each.action == "add_patient" for name in [each.name]}
        assert {"Teo Contoh"} == added
        assert (len(entries), ()) == (verified.rows, verified.alterations)


@pytest.fixture(scope="module")
def loaded(tmp_path_factory: pytest.TempPathFactory, migrated_file: Path) -> Iterator[Engine]:
    """The whole demonstration, loaded years after it was written."""
    file = shutil.copy(migrated_file, tmp_path_factory.mktemp("demo"))
    engine = make_engine(f"sqlite:///{file}")
    load_demo(engine, FOLDER, LATER, kept)
    yield engine
    engine.dispose()


@pytest.fixture(scope="module")
def entries(loaded: Engine) -> list[list[EntryRecord]]:
    """The entries of every exam, newest exam first."""
    with reading(loaded) as session:
        return [history(session, row.exam_id) for row in worklist(session)]


def test_what_is_stored_is_what_the_files_say(loaded: Engine) -> None:
    """Findings, medicines, sex, the age on the day of each exam, and what was done on paper."""
    demo = read_demo(FOLDER, LATER)
    written = {
        (person.new.chart_number, each.started_at, each.reason): (
            exam_as_json(each.exam),
            each.on_paper,
            "ready" if each.handed_over else "open",
        )
        for person in demo.patients
        for each in person.exams
    }
    with reading(loaded) as session:
        records = [exam_record(session, row.exam_id) for row in worklist(session)]

    assert written == {
        (each.patient.chart_number, each.started_at, each.reason): (
            exam_as_json(each.exam),
            each.on_paper,
            each.state,
        )
        for each in records
    }


def test_what_was_marked_in_bulk_is_stored_so(loaded: Engine) -> None:
    """The rest of the stations that the files name, and what is not normal never."""
    words = vocabulary()
    demo = read_demo(FOLDER, LATER)
    told = {
        (person.new.chart_number, each.started_at): set(each.bulk)
        for person in demo.patients
        for each in person.exams
    }
    with reading(loaded) as session:
        for row in worklist(session):
            held = exam_record(session, row.exam_id)
            in_bulk = {cell for cell, each in held.cells.items() if each.bulk}
            stations = {words[finding].station for finding, _ in in_bulk}
            assert told[held.patient.chart_number, held.started_at] == stations
            assert all(held.exam.cells[cell] == words[cell[0]].normal_value() for cell in in_bulk)


def test_the_nurse_does_her_part_and_the_physician_the_rest(
    entries: list[list[EntryRecord]],
) -> None:
    """Two visits wait for the physician, as on a working day."""
    words = vocabulary()
    by_nurse = {e.finding for exam in entries for e in exam if e.role == "nurse"} - {"medicines"}
    by_physician = {e.finding for exam in entries for e in exam if e.role == "physician"}

    assert {True} == {words[finding].nurse for finding in by_nurse}
    assert {False} == {words[finding].nurse for finding in by_physician}
    by = [{e.role for e in exam} for exam in entries]
    assert [{"nurse"}, {"nurse"}] == by[:2]
    assert all(each == {"nurse", "physician"} for each in by[2:])


def test_no_entry_lies_in_the_future(entries: list[list[EntryRecord]]) -> None:
    """The newest is of the last day, and time goes forward in every exam."""
    times = [[entry.at for entry in exam] for exam in entries]
    newest = max(each[-1] for each in times)

    assert times == [sorted(each) for each in times]
    assert newest <= LATER < newest + timedelta(days=1, hours=1)


# Every example reads all the files.
@settings(deadline=None, max_examples=30)
@given(st.datetimes(datetime(2020, 1, 1), datetime(2090, 1, 1), timezones=st.just(UTC)))  # noqa: DTZ001
def test_every_age_stays_as_the_file_says(now: datetime) -> None:
    """Whenever the demo is loaded, the exams mean the same."""
    written: list[Patient] = []
    meant: list[Patient] = []
    for person in read_demo(FOLDER, now).patients:
        for each in person.exams:
            age = age_on(person.new.birth_date, each.examined_at.astimezone(UTC).date())
            written.append(each.exam.patient)
            meant.append(Patient(Decimal(age), person.new.sex))

    assert written == meant


@pytest.mark.parametrize(
    ("file", "old", "new", "says"),
    [
        (
            "exams/DEMO-0004-a.json",
            '"veering": 2',
            '"veering": 9',
            "DEMO-0004-a.json: findings.veering",
        ),
        ("clinic.toml", "DEMO-0006-a.json", "gone.json", "gone.json: "),
        ("clinic.toml", 'chart_number = "DEMO-0002"', "", "clinic.toml: chart_number"),
        ("clinic.toml", 'birth_date = "1945-08-21"', "", "clinic.toml: 'birth_date' is missing"),
        ("clinic.toml", 'role = "nurse"', 'role = "cook"', "an account for each of nurse, phys"),
        ("clinic.toml", 'role = "nurse"', "", "clinic.toml: 'role' is missing"),
        ("clinic.toml", '"demo-nurse"', '"nurse"', "nurse does not begin with demo-"),
        ("clinic.toml", "as_of = ", "as of = ", "clinic.toml: "),
        ("clinic.toml", "18:00:00+00:00", "18:00:00", "18:00:00 has no offset"),
        ("clinic.toml", "09:05:00+00:00", "09:05:00", "09:05:00 has no offset"),
    ],
)
def test_a_faulty_file_is_named(tmp_path: Path, file: str, old: str, new: str, says: str) -> None:
    """Whoever edits the demo sees where."""
    folder = shutil.copytree(FOLDER, tmp_path / "demo")
    text = (folder / file).read_text(encoding="utf-8")
    assert 1 == text.count(old)
    (folder / file).write_text(text.replace(old, new), encoding="utf-8")

    with pytest.raises(BadDemo) as refused:
        read_demo(folder, AS_WRITTEN)
    assert says in str(refused.value)


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ('DEMO-0006"', 'demo-0001"', "already taken"),
        ("demo-administrator", "demo-nurse", "sign-in name is taken"),
    ],
)
def test_a_demo_that_fails_loads_nobody(
    engine: Engine, tmp_path: Path, old: str, new: str, says: str
) -> None:
    """What is given twice is found only when the second is added."""
    folder = shutil.copytree(FOLDER, tmp_path / "demo")
    file = folder / "clinic.toml"
    file.write_text(file.read_text(encoding="utf-8").replace(old, new), encoding="utf-8")

    with pytest.raises(BadDemo, match=says):
        load_demo(engine, folder, AS_WRITTEN, kept)
    with reading(engine) as session:
        assert [] == find_patients(session, "")
        assert [] == accounts(session)
