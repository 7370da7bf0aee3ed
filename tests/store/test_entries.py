"""Writing: what becomes an entry, what collides, and what is refused."""

from dataclasses import astuple
from decimal import Decimal

import pytest
from sqlalchemy import Engine, text

from app.exam.faults import BadExam
from app.exam.record import Untestable
from app.exam.vocabulary import Side
from app.store.actor import Recorder
from app.store.engine import reading, writing
from app.store.entries import EntryRecord, history, record_medicines
from app.store.exams import ExamRecord
from app.store.refusals import Collision, MedicinesCollision, NotFound, NotOpen, StaleRevision
from tests.store.clinic import MINUTE, NOW, NURSE, PHYSICIAN, rest_normal, stored, write

RIGHT, LEFT = Side.RIGHT, Side.LEFT
DRIFT = ("drift", RIGHT)
TUG = ("tug_s", None)


def entries(engine: Engine, exam_id: str) -> list[EntryRecord]:
    """Every entry, as another request reads them."""
    with reading(engine) as session:
        return history(session, exam_id)


def medicines(
    engine: Engine, exam_id: str, lines: tuple[str, ...] | None, at_revision: int
) -> ExamRecord:
    """Write the medicines in a transaction of its own."""
    with writing(engine) as session:
        return record_medicines(
            session, exam_id, lines, at_revision=at_revision, recorder=NURSE, now=NOW
        )


def test_a_write_becomes_entries_that_say_who_when_and_what(
    engine: Engine, exam: ExamRecord
) -> None:
    """In the order of the exam, right before left, each naming the entry that it replaces."""
    write(engine, exam.id, {TUG: Decimal("9.50"), ("drift", LEFT): 0, DRIFT: 2}, 0, NURSE)
    later = NOW + MINUTE
    pain = Untestable("pain")
    write(engine, exam.id, {DRIFT: pain, TUG: None}, 1, PHYSICIAN, later)

    nurse, physician = (NURSE.name, NURSE.role), (PHYSICIAN.name, PHYSICIAN.role)
    assert [
        EntryRecord(1, "drift", RIGHT, 2, *nurse, NOW, None, False, 1),
        EntryRecord(2, "drift", LEFT, 0, *nurse, NOW, None, False, 1),
        EntryRecord(3, "tug_s", None, Decimal("9.50"), *nurse, NOW, None, False, 1),
        EntryRecord(4, "drift", RIGHT, pain, *physician, later, 1, False, 2),
        EntryRecord(5, "tug_s", None, None, *physician, later, 3, False, 2),
    ] == entries(engine, exam.id)


def test_the_sheet_shows_the_newest_entry_of_each_cell(engine: Engine, exam: ExamRecord) -> None:
    """A cleared cell is known to be cleared, and is not in the exam."""
    write(engine, exam.id, {DRIFT: 1, TUG: 9}, 0)
    kept = write(engine, exam.id, {DRIFT: 2, TUG: None}, 1, NURSE, NOW + MINUTE)

    assert [DRIFT, TUG] == list(kept.cells)
    assert (3, 2, NURSE.name, "nurse", NOW + MINUTE, False, 2, "") == astuple(kept.cells[DRIFT])
    assert (4, None, NURSE.name, "nurse", NOW + MINUTE, False, 2, "") == astuple(kept.cells[TUG])
    assert {DRIFT: 2} == dict(kept.exam.cells)


def test_what_stands_there_already_makes_no_entry(engine: Engine, exam: ExamRecord) -> None:
    """A form sends every cell; only those that changed are somebody's doing."""
    first = write(engine, exam.id, {DRIFT: 1, TUG: Decimal("5.60")}, 0)
    again = write(engine, exam.id, {DRIFT: 1, TUG: Decimal("5.6"), ("flap", LEFT): None}, 1)
    one = write(engine, exam.id, {DRIFT: 1, ("flap", LEFT): 0}, 1)

    assert first == again
    assert (2, 3) == (one.revision, len(entries(engine, exam.id)))
    assert first.cells[DRIFT] == one.cells[DRIFT]


def test_nothing_is_nothing(engine: Engine, exam: ExamRecord) -> None:
    """An empty write, and clearing what was never there, leave the revision."""
    assert exam == write(engine, exam.id, {}, 0)
    assert exam == write(engine, exam.id, {DRIFT: None}, 0)
    assert exam == medicines(engine, exam.id, None, 0)


def test_a_write_with_one_fault_writes_nothing(engine: Engine, exam: ExamRecord) -> None:
    """What was accepted must be what was sent, whole."""
    with pytest.raises(BadExam, match=r"findings\.drift\.right: 7 is not a grade"):
        write(engine, exam.id, {TUG: 9, DRIFT: 7}, 0)

    assert exam == stored(engine, exam.id)


def test_a_cell_written_meanwhile_collides(engine: Engine, exam: ExamRecord) -> None:
    """The answer has both values, and nothing of the late write is kept."""
    theirs = write(engine, exam.id, {DRIFT: 1}, 0, NURSE)
    with pytest.raises(Collision) as refused:
        write(engine, exam.id, {DRIFT: 2, TUG: 9}, 0, PHYSICIAN)

    assert {DRIFT: (theirs.cells[DRIFT], 2)} == refused.value.cells
    assert "somebody else wrote 1 of these cells meanwhile" == str(refused.value)
    assert theirs == stored(engine, exam.id)


def test_one_collides_with_oneself(engine: Engine, exam: ExamRecord) -> None:
    """The second tab of one person is as stale as anybody's."""
    write(engine, exam.id, {DRIFT: 1}, 0, PHYSICIAN)
    with pytest.raises(Collision):
        write(engine, exam.id, {DRIFT: 2}, 0, PHYSICIAN)


def test_a_cleared_cell_collides_both_ways(engine: Engine, exam: ExamRecord) -> None:
    """To clear is to write."""
    write(engine, exam.id, {DRIFT: 1, TUG: 9}, 0)
    write(engine, exam.id, {DRIFT: None, TUG: 8}, 1)
    with pytest.raises(Collision) as refused:
        write(engine, exam.id, {DRIFT: 2, TUG: None}, 1)

    assert [(DRIFT, None, 2), (TUG, Decimal(8), None)] == [
        (cell, theirs.value, mine) for cell, (theirs, mine) in refused.value.cells.items()
    ]


def test_the_same_value_from_both_is_no_collision(engine: Engine, exam: ExamRecord) -> None:
    """They agree; and a write that is sent again after a lost answer is the same write."""
    write(engine, exam.id, {DRIFT: 1, TUG: 9}, 0, NURSE)
    kept = write(engine, exam.id, {DRIFT: 1, TUG: Decimal("9.0"), ("flap", LEFT): 0}, 0, PHYSICIAN)

    assert (2, 3) == (kept.revision, len(entries(engine, exam.id)))
    assert NURSE.name == kept.cells[DRIFT].by


def test_other_cells_do_not_collide(engine: Engine, exam: ExamRecord) -> None:
    """Nurse and physician work on one exam at the same time; sides are cells of their own."""
    write(engine, exam.id, {TUG: 9}, 0, NURSE)
    kept = write(engine, exam.id, {DRIFT: 2}, 0, PHYSICIAN)
    kept = write(engine, exam.id, {("drift", LEFT): 1}, 0, NURSE)

    assert {TUG: Decimal(9), DRIFT: 2, ("drift", LEFT): 1} == dict(kept.exam.cells)
    assert 3 == kept.revision


def test_who_has_seen_the_other_value_may_replace_it(engine: Engine, exam: ExamRecord) -> None:
    """A collision is settled by writing again at the revision that was shown."""
    theirs = write(engine, exam.id, {DRIFT: 1}, 0, NURSE)

    assert 2 == write(engine, exam.id, {DRIFT: 2}, theirs.revision).exam.value(*DRIFT)


@pytest.mark.parametrize("revision", [-1, 1])
def test_a_revision_that_is_not_there_cannot_have_been_seen(
    engine: Engine, exam: ExamRecord, revision: int
) -> None:
    """Such a request is broken, not late."""
    with pytest.raises(StaleRevision, match=f"it has no revision {revision}"):
        write(engine, exam.id, {DRIFT: 1}, revision)
    with pytest.raises(StaleRevision, match=f"it has no revision {revision}"):
        medicines(engine, exam.id, (), revision)
    with pytest.raises(StaleRevision, match=f"it has no revision {revision}"):
        rest_normal(engine, exam.id, "rest", revision)

    assert exam == stored(engine, exam.id)


def test_an_exam_that_is_not_there_takes_no_entries(engine: Engine) -> None:
    """Whatever stands in the address."""
    for wrong in ("0" * 32, "", "\x00"):
        with pytest.raises(NotFound, match="no such exam"):
            write(engine, wrong, {DRIFT: 1}, 0)
        with pytest.raises(NotFound, match="no such exam"):
            medicines(engine, wrong, (), 0)
        with pytest.raises(NotFound, match="no such exam"):
            rest_normal(engine, wrong, "rest", 0)
        with pytest.raises(NotFound, match="no such exam"):
            entries(engine, wrong)


@pytest.mark.parametrize(
    ("state", "takes"), [("open", True), ("ready", True), ("signed", False), ("amended", False)]
)
def test_a_signed_exam_takes_no_entries(
    engine: Engine, exam: ExamRecord, state: str, takes: bool
) -> None:
    """Nor does an amended one; what is ready may still be worked on."""
    with writing(engine) as session:
        session.connection().execute(text(f"UPDATE exam SET state = '{state}'"))
    before = stored(engine, exam.id)
    if takes:
        assert 2 == medicines(engine, write(engine, exam.id, {DRIFT: 1}, 0).id, (), 1).revision
        return

    with pytest.raises(NotOpen, match=f"the exam is {state}"):
        write(engine, exam.id, {DRIFT: 1}, 0)
    with pytest.raises(NotOpen, match=f"the exam is {state}"):
        medicines(engine, exam.id, (), 0)
    with pytest.raises(NotOpen, match=f"the exam is {state}"):
        rest_normal(engine, exam.id, "rest", 0)
    assert before == stored(engine, exam.id)


def test_medicines_are_entries_like_all_others(engine: Engine, exam: ExamRecord) -> None:
    """None means that nobody asked, an empty list that nothing is taken."""
    asked = medicines(engine, exam.id, ("aspirin 75 mg", " as  typed "), 0)
    none = medicines(engine, exam.id, (), 1)
    cleared = medicines(engine, exam.id, None, 2)

    assert [("aspirin 75 mg", " as  typed "), (), None] == [
        each.exam.medicines for each in (asked, none, cleared)
    ]
    assert [
        ("medicines", None, ("aspirin 75 mg", " as  typed "), None, 1),
        ("medicines", None, (), 1, 2),
        ("medicines", None, None, 2, 3),
    ] == [
        (each.finding, each.side, each.value, each.replaces, each.revision)
        for each in entries(engine, exam.id)
    ]
    assert {} == dict(cleared.cells)
    assert cleared.medicines_record is not None
    assert (3, None, NURSE.name, "nurse", NOW, 3, "") == astuple(cleared.medicines_record)


def test_medicines_collide_as_a_whole(engine: Engine, exam: ExamRecord) -> None:
    """A line that somebody added would be lost; the same lines are no collision."""
    theirs = medicines(engine, exam.id, ("aspirin",), 0)
    with pytest.raises(MedicinesCollision) as refused:
        medicines(engine, exam.id, ("aspirin", "levodopa"), 0)

    assert (theirs.medicines_record, ("aspirin", "levodopa"), {}) == (
        refused.value.theirs,
        refused.value.mine,
        refused.value.cells,
    )
    assert theirs == medicines(engine, exam.id, ("aspirin",), 0)
    assert theirs == stored(engine, exam.id)
    assert 2 == medicines(engine, exam.id, ("aspirin", "levodopa"), 1).revision


def test_medicines_are_no_cell(engine: Engine, exam: ExamRecord) -> None:
    """They have their own way in, with their own checks."""
    with pytest.raises(BadExam, match=r"findings\.medicines: not a finding"):
        write(engine, exam.id, {("medicines", None): "aspirin"}, 0)


def test_names_of_every_script_are_kept(engine: Engine, exam: ExamRecord) -> None:
    """Who recorded, and the reason in words, come back letter by letter."""
    who = Recorder("Dr 山田 太郎", "physician")
    kept = write(engine, exam.id, {DRIFT: Untestable("痛み “links” \\ ' 🦴")}, 0, who)

    assert kept == stored(engine, exam.id)
    assert (who.name, Untestable("痛み “links” \\ ' 🦴")) == (
        kept.cells[DRIFT].by,
        kept.exam.cells[DRIFT],
    )
