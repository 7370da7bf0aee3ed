"""Exams: started, read at any revision, and listed."""

from datetime import UTC, datetime, timedelta, timezone
from decimal import Decimal

import pytest
from sqlalchemy import Engine, text
from sqlalchemy.exc import StatementError

from app.exam.record import Patient
from app.exam.vocabulary import Side
from app.store.actor import Recorder
from app.store.engine import reading, writing
from app.store.exams import closed_before, exam_row, exams_of, start_exam, worklist
from app.store.refusals import BadForm, NotFound, StaleRevision, Unreadable
from tests.store.clinic import (
    MINUTE,
    NOW,
    NURSE,
    PHYSICIAN,
    a_patient,
    an_exam,
    stored,
    write,
)

RIGHT, LEFT = Side.RIGHT, Side.LEFT
WEEK = timedelta(days=7)


def test_a_new_exam_is_open_and_empty(engine: Engine) -> None:
    """Nothing is preselected; the patient's age and sex are known from the start."""
    exam = an_exam(engine)

    assert exam == stored(engine, exam.id)
    assert ("open", "shaky hands", NOW, NURSE.name, 0) == (
        exam.state,
        exam.reason,
        exam.started_at,
        exam.started_by,
        exam.revision,
    )
    assert Patient(Decimal(75), "female") == exam.exam.patient
    assert ({}, {}, None, None) == (
        dict(exam.cells),
        dict(exam.exam.cells),
        exam.exam.medicines,
        exam.medicines_record,
    )


def test_age_counts_on_the_day_of_the_exam(engine: Engine) -> None:
    """An old exam keeps the age that its rules and norms were read with."""
    eve = datetime(2026, 5, 5, 23, 59, 59, 999999, tzinfo=UTC)
    before = an_exam(engine, eve, chart_number="1")
    after = an_exam(engine, eve + timedelta(microseconds=1), chart_number="2")

    assert (Decimal(75), Decimal(76)) == (before.exam.patient.age, after.exam.patient.age)


def test_moments_come_back_in_utc_to_the_microsecond(engine: Engine) -> None:
    """A signature rests on them, and neither database may round or shift."""
    kolkata = timezone(timedelta(hours=5, minutes=30))
    moment = datetime(2026, 3, 4, 15, 0, 15, 123457, tzinfo=kolkata)
    exam = stored(engine, an_exam(engine, moment).id)

    assert moment == exam.started_at
    assert "2026-03-04T09:30:15.123457+00:00" == exam.started_at.isoformat()


def test_a_moment_without_an_offset_is_refused(engine: Engine) -> None:
    """Nobody could say later what it meant."""
    with pytest.raises(StatementError, match="has no offset from UTC"):
        an_exam(engine, NOW.replace(tzinfo=None))


def test_a_reason_can_have_lines_and_may_be_missing(engine: Engine) -> None:
    """It is tidied, not cut."""
    patient_id = a_patient(engine).id
    with writing(engine) as session:
        long = start_exam(session, patient_id, NURSE, " falls\r\nand tremor ", NOW)
        none = start_exam(session, patient_id, NURSE, "", NOW)

    assert ("falls\nand tremor", "") == (long.reason, none.reason)


@pytest.mark.parametrize(
    ("reason", "says"),
    [
        ("x" * 501, "the reason is longer than 500 characters"),
        ("\x00", "the reason holds a character that cannot be kept (U+0000)"),
    ],
)
def test_a_faulty_reason_is_named(engine: Engine, reason: str, says: str) -> None:
    """The exam is not started."""
    patient_id = a_patient(engine).id
    with writing(engine) as session, pytest.raises(BadForm) as fault:
        start_exam(session, patient_id, NURSE, reason, NOW)

    assert {"reason": says} == fault.value.faults
    with reading(engine) as session:
        assert [] == worklist(session)


@pytest.mark.parametrize(
    ("name", "role"),
    [("Ana", "porter"), ("Ana", ""), ("", "nurse"), (" Ana", "nurse"), ("A\x00", "nurse")],
)
def test_a_recorder_can_be_named_afterwards(name: str, role: str) -> None:
    """Every entry says who made it and as what."""
    with pytest.raises(ValueError, match=r"roles|name|cannot be kept"):
        Recorder(name, role)


def test_what_does_not_exist_is_not_found(engine: Engine) -> None:
    """An address can hold anything; the answer is the same."""
    for wrong in ("0" * 32, "", "\x00", "é" * 32, "\ud800"):
        with pytest.raises(NotFound, match="no such exam"):
            stored(engine, wrong)
        with reading(engine) as session, pytest.raises(NotFound, match="no such patient"):
            exams_of(session, wrong)
        with writing(engine) as session, pytest.raises(NotFound, match="no such patient"):
            start_exam(session, wrong, NURSE, "", NOW)


def test_an_exam_is_read_as_it_stood_at_each_revision(engine: Engine) -> None:
    """Signing and review show the exam that somebody saw, not the one that it became."""
    exam = an_exam(engine)
    first = write(engine, exam.id, {("drift", RIGHT): 1, ("tug_s", None): Decimal("9.50")}, 0)
    second = write(engine, exam.id, {("drift", RIGHT): 2, ("drift", LEFT): 0}, 1)
    third = write(engine, exam.id, {("tug_s", None): None}, 2)

    assert [exam, first, second, third] == [stored(engine, exam.id, n) for n in range(4)]
    assert {("drift", RIGHT): 2, ("drift", LEFT): 0} == dict(third.exam.cells)
    assert third.cells["tug_s", None].value is None


@pytest.mark.parametrize("revision", [-1, 1, 10**30])
def test_a_revision_that_is_not_there_is_refused(engine: Engine, revision: int) -> None:
    """An exam has revision 0 and one for each write."""
    exam = an_exam(engine)
    with pytest.raises(StaleRevision, match="at revision 0"):
        stored(engine, exam.id, revision)


def test_an_exam_that_this_version_cannot_read_is_said_to_be_so(engine: Engine) -> None:
    """A finding that is skipped in silence would change what the exam adds up to."""
    exam = an_exam(engine)
    write(engine, exam.id, {("tug_s", None): 9}, 0)
    strange = (
        "INSERT INTO entry SELECT 99, exam_id, 2, 'grip', side, value, \"by\", role, at, NULL, "
        "bulk, account_id FROM entry WHERE id = 1"
    )
    with writing(engine) as session:
        session.connection().execute(text(strange))
        session.connection().execute(text("UPDATE exam SET revision = 2"))

    with pytest.raises(Unreadable, match="does not know the finding grip"):
        stored(engine, exam.id)
    assert Decimal(9) == stored(engine, exam.id, 1).exam.value("tug_s")


def test_the_worklist_shows_the_newest_first(engine: Engine) -> None:
    """With the patient, who recorded last and how much there is."""
    oldest = an_exam(engine, NOW, chart_number="1")
    newest = an_exam(engine, NOW + 2 * MINUTE, chart_number="2")
    middle = an_exam(engine, NOW + MINUTE, chart_number="3")
    write(engine, middle.id, {("tug_s", None): 9, ("drift", LEFT): 0}, 0, NURSE, NOW + MINUTE)
    write(engine, middle.id, {("tug_s", None): None}, 1, PHYSICIAN, NOW + 3 * MINUTE)
    with reading(engine) as session:
        rows = worklist(session)

    assert [newest.id, middle.id, oldest.id] == [row.exam_id for row in rows]
    assert [newest.patient, middle.patient, oldest.patient] == [row.patient for row in rows]
    assert [(None, None, 0), (PHYSICIAN.name, NOW + 3 * MINUTE, 3), (None, None, 0)] == [
        (row.last_recorded_by, row.last_recorded_at, row.entry_count) for row in rows
    ]
    assert [(), (NURSE.name, PHYSICIAN.name), ()] == [row.recorders for row in rows]
    assert [("open", "shaky hands", NURSE.name)] * 3 == [
        (row.state, row.reason, row.started_by) for row in rows
    ]


def test_who_recorded_first_is_named_first(engine: Engine) -> None:
    """Each once, in the order in which they came to the exam."""
    exam = an_exam(engine)
    for revision, recorder in enumerate((PHYSICIAN, NURSE, PHYSICIAN)):
        write(engine, exam.id, {("tug_s", None): 9 + revision}, revision, recorder)
    with reading(engine) as session:
        (row,) = worklist(session)

    assert ((PHYSICIAN.name, NURSE.name), PHYSICIAN.name, 3) == (
        row.recorders,
        row.last_recorded_by,
        row.entry_count,
    )


def in_state(engine: Engine, state: str, started_at: datetime) -> str:
    """An exam of a patient of its own, in a state; its id."""
    exam = an_exam(engine, started_at, chart_number=f"{state} {started_at}")
    with writing(engine) as session:
        exam_row(session, exam.id).state = state
    return exam.id


def test_what_waits_for_somebody_stays_listed_and_what_is_closed_is_limited(
    engine: Engine,
) -> None:
    """An exam that was forgotten last week is seen this morning; signed ones would bury it."""
    waiting = [in_state(engine, state, NOW - WEEK) for state in ("open", "ready")]
    closed = [in_state(engine, "signed", NOW - n * MINUTE) for n in (1, 2, 3)]
    amended = in_state(engine, "amended", NOW - 4 * MINUTE)
    of_today = [in_state(engine, state, NOW) for state in ("signed", "amended")]
    with reading(engine) as session:
        rows = worklist(session, today_since=NOW, limit=2)
        on_no_day = worklist(session, limit=3)
        counted = closed_before(session, NOW)

    listed = [row.exam_id for row in rows]
    assert {*of_today, *closed[:2], *waiting} == set(listed)
    assert closed[:2] == listed[2:4]
    assert sorted(rows, key=lambda row: row.started_at, reverse=True) == rows
    assert {"signed": 3, "amended": 1} == counted
    assert amended not in listed
    assert {*of_today, closed[0], *waiting} == {row.exam_id for row in on_no_day}


def test_the_exams_of_a_patient_are_only_theirs(engine: Engine) -> None:
    """Newest first; last time's values are looked up from here."""
    first = an_exam(engine, NOW, chart_number="1")
    an_exam(engine, NOW, chart_number="2")
    with writing(engine) as session:
        second = start_exam(session, first.patient.id, PHYSICIAN, "again", NOW + MINUTE)
    with reading(engine) as session:
        rows = exams_of(session, first.patient.id)

    assert [second.id, first.id] == [row.exam_id for row in rows]
