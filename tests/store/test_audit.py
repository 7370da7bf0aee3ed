"""The audit: each act leaves a row that is chained to the one before, or the act did not happen."""

import json
from concurrent.futures import ThreadPoolExecutor

import pytest
from sqlalchemy import Engine
from sqlmodel import col, select

from app.exam.vocabulary import Side
from app.store.actor import PROGRAM, Actor
from app.store.audit import FIRST, Head, head, note
from app.store.audit_tables import AuditRow
from app.store.engine import migrate, reading, writing
from app.store.entries import history
from app.store.exams import ExamRecord
from app.store.verify import verify
from tests.store.clinic import NOW, PHYSICIAN, an_exam, rest_normal, write
from tests.store.test_migrations import changing

DRIFT = ("drift", Side.RIGHT)


def rows(engine: Engine) -> list[AuditRow]:
    """Every row of the audit in its order."""
    with reading(engine) as session:
        found = list(session.exec(select(AuditRow).order_by(col(AuditRow.number))))
        session.expunge_all()
    return found


def test_a_new_database_has_an_empty_chain(engine: Engine) -> None:
    """Nothing happened yet."""
    with reading(engine) as session:
        assert Head(0, FIRST) == head(session)


def test_each_write_of_entries_is_one_row_that_names_them(engine: Engine, exam: ExamRecord) -> None:
    """Who, when, which exam of which patient, and the digest of each entry; no clinical value."""
    write(engine, exam.id, {DRIFT: 2, ("tug_s", None): 12}, at_revision=0)
    last = rows(engine)[-1]
    with reading(engine) as session:
        entries = history(session, exam.id)

    assert ("record", PHYSICIAN.name, "physician") == (last.action, last.name, last.role)
    assert (exam.id, exam.patient.id, NOW) == (last.exam_id, last.patient_id, last.at)
    assert [("entry", str(each.entry_id)) for each in entries] == [
        (table, key) for table, key, _ in json.loads(last.rows)
    ]
    assert {"revision": 1, "entries": 2} == json.loads(last.detail)


def test_a_write_that_changes_nothing_leaves_no_row(engine: Engine, exam: ExamRecord) -> None:
    """A value that stands there already is no act."""
    write(engine, exam.id, {DRIFT: 2}, at_revision=0)
    before = len(rows(engine))
    write(engine, exam.id, {DRIFT: 2}, at_revision=1)

    assert before == len(rows(engine))


def test_what_is_undone_leaves_no_row(engine: Engine, exam: ExamRecord) -> None:
    """The note and what it is about are kept together or not at all."""
    before = rows(engine)[-1].hash

    def fail_after_noting() -> None:
        with writing(engine) as session:
            note(session, PROGRAM, "read", at=NOW, exam_id=exam.id)
            raise ZeroDivisionError

    with pytest.raises(ZeroDivisionError):
        fail_after_noting()

    assert before == rows(engine)[-1].hash


def test_numbers_have_no_gaps_and_each_row_holds_the_hash_of_the_one_before(
    engine: Engine, exam: ExamRecord
) -> None:
    """So that a row cannot be taken out of the middle unseen."""
    for revision in range(3):
        write(engine, exam.id, {DRIFT: revision + 1}, at_revision=revision)
    chain = rows(engine)

    assert list(range(1, len(chain) + 1)) == [row.number for row in chain]
    assert [FIRST, *(row.hash for row in chain[:-1])] == [row.previous for row in chain]


def test_writers_at_the_same_time_make_one_chain(engine: Engine) -> None:
    """Two rows after the same one would be a fork that hides one of them."""
    exams = [an_exam(engine, chart_number=f"T-{place}") for place in range(4)]

    def examine(exam: ExamRecord) -> None:
        for revision in range(5):
            write(engine, exam.id, {DRIFT: revision % 3 + 1}, at_revision=revision)

    with ThreadPoolExecutor(4) as pool:
        list(pool.map(examine, exams))
    with reading(engine) as session:
        checked = verify(session)

    assert () == checked.alterations
    assert 20 == sum(row.action == "record" for row in rows(engine))


def test_a_name_cannot_break_out_of_its_row(engine: Engine) -> None:
    """Text is told apart from what stands beside it, whatever quotes it holds."""
    odd = Actor('Ana", "role": "physician', "nurse", source="127.0.0.1")
    with writing(engine) as session:
        note(session, odd, "read", at=NOW, detail={"what": '"}\\'})
    last = rows(engine)[-1]

    assert (odd.name, "nurse") == (last.name, last.role)
    assert {"what": '"}\\'} == json.loads(last.detail)


def test_entries_from_before_the_audit_are_taken_into_its_first_row(
    engine: Engine, exam: ExamRecord
) -> None:
    """A database of the first release had none: from now on its entries are guarded too."""
    rest_normal(engine, exam.id, "rest", 0)
    with changing(engine) as connection:
        for statement in unguarded(engine, "audit"):
            connection.exec_driver_sql(statement)
        connection.exec_driver_sql("DELETE FROM audit")
    migrate(engine)
    with reading(engine) as session:
        entries, checked = history(session, exam.id), verify(session)

    assert ["begin"] == [row.action for row in rows(engine)]
    assert (1, len(entries), ()) == (checked.audit, checked.rows, checked.alterations)


def unguarded(engine: Engine, table: str) -> list[str]:
    """Statements that take the guards of a table away, as its administrator could."""
    if engine.dialect.name == "postgresql":
        return [f"ALTER TABLE {table} DISABLE TRIGGER USER"]
    return [f"DROP TRIGGER {table}_is_never_{done}" for done in ("changed", "deleted")]
