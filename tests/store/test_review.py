"""Reviewing: what a physician decides, kept like an entry."""

import threading

import pytest
from sqlalchemy import Engine, text
from sqlalchemy.exc import DatabaseError

from app.exam.vocabulary import Side
from app.knowledge.load import knowledge
from app.store.engine import writing
from app.store.refusals import (
    BadForm,
    Collision,
    NotFound,
    NotOpen,
    ReviewCollision,
    StaleRevision,
    Unreadable,
)
from app.store.review import ReviewItem, ReviewKey, ReviewValue, StepDecision, record_review
from tests.store.clinic import MINUTE, NOW, NURSE, PHYSICIAN, an_exam, stored, wait_until_blocked
from tests.store.clinic import write as record
from tests.store.desk import (
    IMPRESSION,
    SIGNER,
    a_reviewed_exam,
    decide,
    everything,
    reviewed,
    signed,
    to_sign,
)

STEP, OTHER_STEP = list(knowledge().steps)[:2]
WARNING = next(iter(knowledge().warnings))
PLAN: ReviewKey = ("plan", "")


def test_a_review_begins_with_nothing_decided(engine: Engine) -> None:
    """No suggestion is taken over, and no emergency acknowledged, by doing nothing."""
    review = reviewed(engine, an_exam(engine).id)

    assert ("", "") == (review.impression, review.plan)
    assert ({}, frozenset(), frozenset(), {}) == (
        dict(review.steps),
        review.acknowledged,
        review.confirmed,
        dict(review.items),
    )


def test_codes_that_the_classification_keeps_apart_are_never_chosen_together(
    engine: Engine,
) -> None:
    """R25 carries an Excludes1 for G20 to G26 (ICD-10-CM, April 2026); nothing is half-written."""
    exam = an_exam(engine)
    chosen = ("code", "G20.C")
    decide(engine, exam.id, {chosen: True, ("code", "R26.81"): True}, 0)
    with pytest.raises(BadForm, match=r"R25\.1 never stands in one summary with G20\.C"):
        decide(engine, exam.id, {("code", "R25.1"): True, PLAN: "Walk."}, 1)

    assert (("G20.C", "R26.81"), "") == (
        reviewed(engine, exam.id).codes,
        reviewed(engine, exam.id).plan,
    )
    decide(engine, exam.id, {chosen: None, ("code", "R25.1"): True}, 1)
    assert ("R25.1", "R26.81") == reviewed(engine, exam.id).codes


def test_only_codes_that_the_program_offers_can_be_chosen(engine: Engine) -> None:
    """A code that names a cause is in the lists, and is never offered."""
    exam = an_exam(engine)
    for code in ("G20.A1", "Z99.9"):
        with pytest.raises(BadForm, match=f"code.{code}"):
            decide(engine, exam.id, {("code", code): True}, 0)


def test_every_decision_is_kept_with_who_and_when(engine: Engine) -> None:
    """One write is one revision, as with entries."""
    exam = an_exam(engine)
    made = record(engine, exam.id, {("drift", Side.RIGHT): 2}, 0, NURSE)
    number = made.cells["drift", Side.RIGHT].entry_id
    changes: dict[ReviewKey, ReviewValue | None] = {
        IMPRESSION: " Slow\r\nand stiff. ",
        PLAN: "Physiotherapy.",
        ("step", STEP): StepDecision(True),
        ("step", OTHER_STEP): StepDecision(False, "done last year"),
        ("emergency", WARNING): True,
        ("confirmed", str(number)): True,
    }
    revision = decide(engine, exam.id, changes, 1, PHYSICIAN, NOW + MINUTE)
    review = reviewed(engine, exam.id)

    assert 2 == revision == stored(engine, exam.id).revision
    assert ("Slow\nand stiff.", "Physiotherapy.") == (review.impression, review.plan)
    assert {
        STEP: StepDecision(True),
        OTHER_STEP: StepDecision(False, "done last year"),
    } == dict(review.steps)
    assert (frozenset({WARNING}), frozenset({number})) == (review.acknowledged, review.confirmed)
    assert changes.keys() == review.items.keys()
    assert (
        ReviewItem("Physiotherapy.", PHYSICIAN.name, "physician", NOW + MINUTE, 2)
        == (review.items[PLAN])
    )


def test_a_decision_can_be_taken_back_and_its_past_stays(engine: Engine) -> None:
    """An empty impression is none; what stood before can still be read."""
    exam = an_exam(engine)
    decide(engine, exam.id, {IMPRESSION: "First.", ("emergency", WARNING): True}, 0)
    decide(engine, exam.id, {IMPRESSION: "  ", ("emergency", WARNING): None}, 1)
    before, after = reviewed(engine, exam.id, 1), reviewed(engine, exam.id)

    assert ("First.", frozenset({WARNING})) == (before.impression, before.acknowledged)
    assert ("", frozenset()) == (after.impression, after.acknowledged)
    assert {IMPRESSION, ("emergency", WARNING)} == after.items.keys()
    assert after.items[IMPRESSION].value is None


def test_what_stands_so_already_is_not_written_again(engine: Engine) -> None:
    """A form sent twice does not make the exam newer than what was reviewed."""
    exam = an_exam(engine)
    decide(engine, exam.id, {IMPRESSION: "Slow."}, 0)
    before = everything(engine)

    assert 1 == decide(engine, exam.id, {IMPRESSION: "Slow.", PLAN: ""}, 0)
    assert before == everything(engine)


def test_the_same_item_is_not_written_over_unseen(engine: Engine) -> None:
    """The answer has both texts; other items go on."""
    exam = an_exam(engine)
    decide(engine, exam.id, {IMPRESSION: "Hers."}, 0)
    with pytest.raises(Collision) as refused:
        decide(engine, exam.id, {IMPRESSION: "His.", PLAN: "Wait."}, 0, PHYSICIAN)

    assert isinstance(refused.value, ReviewCollision)
    theirs, mine = refused.value.items[IMPRESSION]
    assert ("Hers.", "His.", 1) == (theirs.value, mine, len(refused.value.items))
    assert "" == reviewed(engine, exam.id).plan
    assert 2 == decide(engine, exam.id, {PLAN: "Wait."}, 0, PHYSICIAN)


def test_a_writer_waits_for_the_other_and_then_looks(engine: Engine) -> None:
    """It decides by what is there when its turn comes."""
    exam = an_exam(engine)
    refused: list[ReviewCollision] = []

    def late() -> None:
        try:
            decide(engine, exam.id, {IMPRESSION: "His."}, 0, PHYSICIAN)
        except ReviewCollision as collision:
            refused.append(collision)

    second = threading.Thread(target=late)
    with writing(engine) as session:
        record_review(
            session, exam.id, {IMPRESSION: "Hers."}, at_revision=0, recorder=SIGNER, now=NOW
        )
        second.start()
        wait_until_blocked(engine, second)
    second.join()

    assert 1 == len(refused)
    assert "Hers." == reviewed(engine, exam.id).impression


@pytest.mark.parametrize(
    ("key", "value", "fault"),
    [
        (("step", STEP), StepDecision(False), "the step is declined without a reason"),
        (("step", STEP), StepDecision(False, " "), "the step is declined without a reason"),
        (("step", "nonsense"), StepDecision(True), "this exam's review has no such part"),
        (("step", STEP), "yes", "the step has a value that it cannot have"),
        (("emergency", WARNING), False, "the emergency has a value that it cannot have"),
        (("emergency", ""), True, "this exam's review has no such part"),
        (("mood", ""), "fine", "this exam's review has no such part"),
        (("impression", "x"), "fine", "this exam's review has no such part"),
        (("impression", ""), "x" * 4001, "the impression is longer than 4000 characters"),
        (
            ("plan", ""),
            "\u202eturned",
            "the plan holds a character that cannot be kept (U+202E)",
        ),
    ],
)
def test_a_faulty_decision_is_named_and_nothing_is_written(
    engine: Engine, key: ReviewKey, value: ReviewValue, fault: str
) -> None:
    """Also where other decisions of the same form are right."""
    exam = an_exam(engine)
    before = everything(engine)
    with pytest.raises(BadForm) as refused:
        decide(engine, exam.id, {("emergency", WARNING): True, key: value}, 0)

    assert [fault] == list(refused.value.faults.values())
    assert before == everything(engine)


def test_an_entry_of_another_exam_cannot_be_confirmed(engine: Engine) -> None:
    """A number in a form can be anybody's."""
    mine, foreign = an_exam(engine), an_exam(engine, chart_number="T-2")
    theirs = record(engine, foreign.id, {("drift", Side.RIGHT): 2}, 0)
    number = str(theirs.cells["drift", Side.RIGHT].entry_id)
    with pytest.raises(BadForm, match="no such part"):
        decide(engine, mine.id, {("confirmed", number): True}, 0)


def test_a_review_knows_its_exam_and_its_revisions(engine: Engine) -> None:
    """The same refusals as for entries."""
    exam = an_exam(engine)
    for revision in (-1, 1):
        with pytest.raises(StaleRevision):
            decide(engine, exam.id, {IMPRESSION: "x"}, revision)
        with pytest.raises(StaleRevision):
            reviewed(engine, exam.id, revision)
    with pytest.raises(NotFound):
        decide(engine, "0" * 32, {IMPRESSION: "x"}, 0)
    with pytest.raises(NotFound):
        reviewed(engine, "0" * 32)


def test_a_signed_exam_takes_no_more_decisions(engine: Engine) -> None:
    """What was signed was the last word."""
    exam = a_reviewed_exam(engine)
    signed(engine, exam.id, to_sign(engine, exam.id))
    before = everything(engine)
    with pytest.raises(NotOpen):
        decide(engine, exam.id, {IMPRESSION: "Another."}, 2)

    assert before == everything(engine)


@pytest.mark.parametrize("statement", ["UPDATE review_entry SET value = NULL", "DELETE FROM {}"])
def test_a_decision_is_never_changed(engine: Engine, statement: str) -> None:
    """Not even by somebody who reaches the database through the program."""
    exam = a_reviewed_exam(engine)
    with pytest.raises(DatabaseError, match="review_entry is never"), writing(engine) as session:
        session.connection().execute(text(statement.format("review_entry")))

    assert "A slow hand." == reviewed(engine, exam.id).impression


@pytest.mark.parametrize("value", ["{", "3", '{"taken": true}', "[]"])
def test_a_decision_that_cannot_be_read_is_said_to_be_so(engine: Engine, value: str) -> None:
    """What is skipped in silence could be a declined step."""
    exam = an_exam(engine)
    row = (
        'INSERT INTO review_entry (exam_id, revision, kind, item, value, "by", role, at) '
        "VALUES (:exam, 1, 'step', 'x', :value, 'A', 'nurse', '2026-03-04 09:30:00.000000')"
    )
    with writing(engine) as session:
        session.connection().execute(text(row), {"exam": exam.id, "value": value})
        session.connection().execute(text("UPDATE exam SET revision = 1"))

    with pytest.raises(Unreadable, match="holds a step that cannot be read"):
        reviewed(engine, exam.id)
