"""Handing over and signing: only what was reviewed, once, and nothing afterwards."""

import threading
from concurrent.futures import ThreadPoolExecutor
from datetime import timedelta

import pytest
from sqlalchemy import Engine, text
from sqlalchemy.exc import DatabaseError

from app.exam.vocabulary import Side
from app.store.actor import Actor, Recorder
from app.store.audit import Head
from app.store.engine import reading, writing
from app.store.entries import mark_rest_normal, record, record_medicines
from app.store.exams import exam_record
from app.store.refusals import BackDated, NotFound, NotOpen, StaleReview, Unreadable
from app.store.review import record_review
from app.store.signatures import document, hash_of
from app.store.signing import hand_over, sign, take_back
from tests.store.clinic import (
    MINUTE,
    NOW,
    NURSE,
    PHYSICIAN,
    an_exam,
    stored,
    wait_until_blocked,
    write,
)
from tests.store.desk import (
    IMPRESSION,
    KNOWLEDGE,
    LATER,
    MEANING,
    SIGNER,
    a_reviewed_exam,
    an_account,
    changed,
    decide,
    everything,
    pieces_of,
    signed,
    to_sign,
)

DRIFT = ("drift", Side.RIGHT)
OTHER = Recorder("Dr Ana Example", "physician", "b" * 32)


def audited(engine: Engine) -> list[tuple[str, str]]:
    """Action and detail of every row of the audit."""
    with reading(engine) as session:
        rows = session.connection().execute(
            text("SELECT action, detail FROM audit ORDER BY number")
        )
        return [(row.action, row.detail) for row in rows]


# ---- handing over


def test_an_exam_is_handed_over_and_taken_back(engine: Engine) -> None:
    """Each is noted once; pressing twice is not doing it twice, and the revision stays."""
    exam = an_exam(engine)
    states = []
    for move in (hand_over, hand_over, take_back, take_back, hand_over):
        with writing(engine) as session:
            move(session, exam.id, actor=NURSE, now=NOW)
        states.append(stored(engine, exam.id).state)

    assert ["ready", "ready", "open", "open", "ready"] == states
    done = [action for action, _ in audited(engine)]
    assert ["start", "hand_over", "take_back", "hand_over"] == done[done.index("start") :]
    assert 0 == stored(engine, exam.id).revision


def test_both_go_on_recording_after_the_hand_over(engine: Engine) -> None:
    """Ready says whose turn it is; it locks nobody out."""
    exam = an_exam(engine)
    with writing(engine) as session:
        hand_over(session, exam.id, actor=NURSE, now=NOW)
    write(engine, exam.id, {DRIFT: 1}, 0, NURSE)

    assert 2 == write(engine, exam.id, {DRIFT: 2}, 1, PHYSICIAN).revision


def test_an_exam_that_is_not_there_is_not_found(engine: Engine) -> None:
    """The same answer for all that can be done with it."""
    prepared = to_sign(engine, a_reviewed_exam(engine).id)
    for move in (hand_over, take_back):
        with writing(engine) as session, pytest.raises(NotFound):
            move(session, "0" * 32, actor=NURSE, now=NOW)
    with pytest.raises(NotFound):
        signed(engine, "0" * 32, prepared)
    with pytest.raises(NotFound):
        pieces_of(engine, "0" * 32)


# ---- signing


@pytest.mark.parametrize("state", ["open", "ready"])
def test_a_signature_keeps_what_it_says_and_what_it_stands_for(engine: Engine, state: str) -> None:
    """Name, role, meaning, time with the offset of the place, revision, knowledge, both hashes."""
    exam = a_reviewed_exam(engine)
    if state == "ready":
        with writing(engine) as session:
            hand_over(session, exam.id, actor=NURSE, now=NOW)
    prepared, revision = to_sign(engine, exam.id)
    made = signed(engine, exam.id, (prepared, revision))

    assert [made] == pieces_of(engine, exam.id)
    assert "signed" == stored(engine, exam.id).state
    assert (0, "exam", 2, KNOWLEDGE, None, None) == (
        made.number,
        made.kind,
        made.revision,
        made.knowledge,
        made.text,
        made.reason,
    )
    assert (SIGNER.account_id, SIGNER.name, "physician", MEANING) == (
        made.account_id,
        made.printed_name,
        made.role,
        made.meaning,
    )
    assert "2026-03-04T11:40:15.123456+02:00" == made.signed_at.isoformat()
    assert (prepared.content, prepared.note) == (made.content, made.note)
    assert hash_of(prepared.content) == made.content_sha256
    assert prepared.audit == made.audit


def test_the_page_is_kept_in_the_bytes_that_were_rendered(engine: Engine) -> None:
    """It is never made again."""
    exam = a_reviewed_exam(engine)
    prepared = to_sign(engine, exam.id)
    made = signed(engine, exam.id, prepared)
    with reading(engine) as session:
        page = document(session, made.document_sha256)

    assert (prepared[0].document, "application/pdf", exam.id, LATER) == (
        page.content,
        page.media_type,
        page.exam_id,
        page.made_at,
    )
    with reading(engine) as session, pytest.raises(NotFound):
        document(session, "0" * 64)


def test_signing_is_noted_with_the_rows_that_it_made(engine: Engine) -> None:
    """The chain carries the hashes of the signature and of the page."""
    exam = a_reviewed_exam(engine)
    made = signed(engine, exam.id, to_sign(engine, exam.id))
    with reading(engine) as session:
        rows = session.connection().execute(
            text("SELECT rows FROM audit ORDER BY number DESC LIMIT 1")
        )
        evidence = str(rows.scalar_one())

    assert ("sign", '{"kind":"exam","number":0,"revision":2}') == audited(engine)[-1]
    assert f'["document","{made.document_sha256}"' in evidence
    assert '["signature","' in evidence


# ---- what is never signed


def test_an_entry_after_the_review_stops_the_signature(engine: Engine) -> None:
    """Nobody has seen the exam as it is now."""
    exam = a_reviewed_exam(engine)
    prepared = to_sign(engine, exam.id)
    write(engine, exam.id, {DRIFT: 3}, 2, NURSE)
    before = everything(engine)
    with pytest.raises(StaleReview, match="revision 3; revision 2 was reviewed"):
        signed(engine, exam.id, prepared)

    assert before == everything(engine)
    assert 3 == signed(engine, exam.id, to_sign(engine, exam.id)).revision


def test_a_decision_after_the_review_stops_the_signature(engine: Engine) -> None:
    """An impression that changed in another window is not what was read."""
    exam = a_reviewed_exam(engine)
    prepared = to_sign(engine, exam.id)
    decide(engine, exam.id, {IMPRESSION: "Another."}, 2)
    with pytest.raises(StaleReview):
        signed(engine, exam.id, prepared)

    assert [] == pieces_of(engine, exam.id)


@pytest.mark.parametrize("off_by", [-1, 1])
def test_a_wrong_revision_with_the_right_content_is_refused(engine: Engine, off_by: int) -> None:
    """The form says which revision was reviewed, and only that one is signed."""
    exam = a_reviewed_exam(engine)
    signing, revision = to_sign(engine, exam.id)
    with pytest.raises(StaleReview):
        signed(engine, exam.id, (signing, revision + off_by))

    assert [] == pieces_of(engine, exam.id)


def test_content_that_is_not_what_the_exam_holds_is_refused(engine: Engine) -> None:
    """Whatever else goes wrong on the way, a signature stands under the stored entries alone."""
    exam, other = a_reviewed_exam(engine), an_exam(engine, chart_number="T-2")
    write(engine, other.id, {DRIFT: 2}, 0)
    prepared, foreign = to_sign(engine, exam.id), to_sign(engine, other.id)[0].content
    before = everything(engine)
    wrong = (
        {"content": foreign},
        {"content": prepared[0].content.replace('"value":"1"', '"value":"2"')},
        {"content": prepared[0].content + " "},
        {"meaning": "recorded only"},
        {"signer": OTHER},
        {"signed_at": LATER + MINUTE},
    )
    for values in wrong:
        with pytest.raises(StaleReview, match="something else"):
            signed(engine, exam.id, changed(prepared, **values))

    assert before == everything(engine)


def test_an_audit_row_that_is_not_there_cannot_be_named(engine: Engine) -> None:
    """The page would send whoever checks it to a row that never was."""
    exam = a_reviewed_exam(engine)
    prepared = to_sign(engine, exam.id)
    before = everything(engine)
    for named in (Head(1, "0" * 64), Head(999, prepared[0].audit.hash)):
        with pytest.raises(ValueError, match="not in the audit"):
            signed(engine, exam.id, changed(prepared, audit=named))

    assert before == everything(engine)


def test_a_time_before_what_is_signed_is_refused(engine: Engine) -> None:
    """A clock that was set back must not make a signature older than its entries."""
    an_account(engine)
    exam = an_exam(engine)
    early = NOW - timedelta(microseconds=1)
    with pytest.raises(BackDated, match="check the server's clock"):
        signed(engine, exam.id, to_sign(engine, exam.id, early))
    write(engine, exam.id, {DRIFT: 1}, 0, now=NOW + MINUTE)
    with pytest.raises(BackDated):
        signed(engine, exam.id, to_sign(engine, exam.id, NOW))
    decide(engine, exam.id, {IMPRESSION: "x"}, 1, now=NOW + 2 * MINUTE)
    with pytest.raises(BackDated):
        signed(engine, exam.id, to_sign(engine, exam.id, NOW + MINUTE))
    with writing(engine) as session:
        record_medicines(session, exam.id, (), at_revision=2, recorder=NURSE, now=NOW + 3 * MINUTE)
    with pytest.raises(BackDated):
        signed(engine, exam.id, to_sign(engine, exam.id, NOW + 2 * MINUTE))

    assert [] == pieces_of(engine, exam.id)
    assert 3 == signed(engine, exam.id, to_sign(engine, exam.id, NOW + 3 * MINUTE)).revision


def test_a_signature_that_could_not_be_told_afterwards_is_refused(engine: Engine) -> None:
    """Somebody with an account, a time with its offset, a meaning in one line."""
    prepared = to_sign(engine, a_reviewed_exam(engine).id)
    for values in (
        {"signer": PHYSICIAN},
        {"signed_at": NOW.replace(tzinfo=None)},
        {"meaning": ""},
        {"meaning": " examined"},
        {"meaning": "two\nlines"},
        {"meaning": "x" * 201},
    ):
        with pytest.raises(ValueError, match=r"account|offset|meaning|longer|cannot be kept"):
            changed(prepared, **values)


# ---- at the same time


def test_of_two_who_sign_at_once_one_does(engine: Engine) -> None:
    """Both had reviewed the same; there is one signature and one page."""
    exam = a_reviewed_exam(engine)
    an_account(engine, OTHER)
    prepared = [to_sign(engine, exam.id), to_sign(engine, exam.id, signer=OTHER)]
    start = threading.Barrier(2)

    def attempt(number: int) -> str:
        start.wait()
        try:
            return signed(engine, exam.id, prepared[number]).printed_name
        except NotOpen:
            return "refused"

    with ThreadPoolExecutor(2) as pool:
        ended = list(pool.map(attempt, range(2)))

    (piece,) = pieces_of(engine, exam.id)
    assert sorted([piece.printed_name, "refused"]) == sorted(ended)
    assert (1, 1) == (len(everything(engine)["document"]), ended.count("refused"))
    assert 1 == [action for action, _ in audited(engine)].count("sign")


def test_an_entry_that_lands_first_stops_a_signature_that_waits(engine: Engine) -> None:
    """The signature looks when its turn comes, not when it came."""
    exam = a_reviewed_exam(engine)
    prepared = to_sign(engine, exam.id)
    ended: list[str] = []

    def late() -> None:
        try:
            signed(engine, exam.id, prepared)
            ended.append("signed")
        except StaleReview:
            ended.append("stale")

    second = threading.Thread(target=late)
    with writing(engine) as session:
        record(session, exam.id, {DRIFT: 3}, at_revision=2, recorder=NURSE, now=NOW)
        second.start()
        wait_until_blocked(engine, second)
    second.join()

    assert ["stale"] == ended
    assert ("open", []) == (stored(engine, exam.id).state, pieces_of(engine, exam.id))


def test_an_entry_that_waits_for_a_signature_is_refused(engine: Engine) -> None:
    """It would change what was just signed."""
    exam = a_reviewed_exam(engine)
    signing, revision = to_sign(engine, exam.id)
    ended: list[str] = []

    def late() -> None:
        try:
            write(engine, exam.id, {DRIFT: 3}, 2, NURSE)
            ended.append("written")
        except NotOpen:
            ended.append("refused")

    second = threading.Thread(target=late)
    with writing(engine) as session:
        sign(session, exam.id, signing, reviewed_revision=revision, knowledge=KNOWLEDGE)
        second.start()
        wait_until_blocked(engine, second)
    second.join()

    assert ["refused"] == ended
    assert 1 == stored(engine, exam.id).exam.value(*DRIFT)


# ---- afterwards


def test_nothing_changes_after_signing(engine: Engine) -> None:
    """No entry, no medicine, no decision, no hand-over, no second signature."""
    exam = a_reviewed_exam(engine)
    prepared = to_sign(engine, exam.id)
    signed(engine, exam.id, prepared)
    before = everything(engine)
    me: Actor = NURSE
    asked = (
        lambda s: record(s, exam.id, {DRIFT: 2}, at_revision=2, recorder=NURSE, now=NOW),
        lambda s: record(s, exam.id, {DRIFT: 1}, at_revision=2, recorder=NURSE, now=NOW),
        lambda s: record_medicines(s, exam.id, (), at_revision=2, recorder=NURSE, now=NOW),
        lambda s: mark_rest_normal(s, exam.id, "rest", at_revision=2, recorder=NURSE, now=NOW),
        lambda s: record_review(
            s, exam.id, {IMPRESSION: "y"}, at_revision=2, recorder=SIGNER, now=NOW
        ),
        lambda s: hand_over(s, exam.id, actor=me, now=NOW),
        lambda s: take_back(s, exam.id, actor=me, now=NOW),
        lambda s: sign(s, exam.id, prepared[0], reviewed_revision=2, knowledge=KNOWLEDGE),
    )
    for ask in asked:
        with writing(engine) as session, pytest.raises(NotOpen):
            ask(session)

    assert before == everything(engine)


@pytest.mark.parametrize("table", ["signature", "document"])
@pytest.mark.parametrize("statement", ["UPDATE {} SET exam_id = exam_id", "DELETE FROM {}"])
def test_a_signed_row_is_never_changed(engine: Engine, table: str, statement: str) -> None:
    """Triggers refuse it in both databases."""
    exam = a_reviewed_exam(engine)
    signed(engine, exam.id, to_sign(engine, exam.id))
    before = everything(engine)
    with pytest.raises(DatabaseError, match=f"{table} is never"), writing(engine) as session:
        session.connection().execute(text(statement.format(table)))

    assert before == everything(engine)


def test_a_page_that_was_altered_is_not_shown_as_the_signed_one(engine: Engine) -> None:
    """Somebody with the database's own tools can remove a trigger."""
    exam = a_reviewed_exam(engine)
    made = signed(engine, exam.id, to_sign(engine, exam.id))
    where = " ON document" if engine.dialect.name == "postgresql" else ""
    with writing(engine) as session:
        session.connection().execute(text(f"DROP TRIGGER document_is_never_changed{where}"))
        session.connection().execute(text("UPDATE document SET content = :x"), {"x": b"%PDF"})
    with reading(engine) as session, pytest.raises(Unreadable, match="was altered"):
        document(session, made.document_sha256)


def test_a_signed_exam_still_reads_as_it_stood_at_each_revision(engine: Engine) -> None:
    """Signing closes the past; it does not hide it."""
    exam = a_reviewed_exam(engine)
    before = [stored(engine, exam.id, revision).cells for revision in range(3)]
    signed(engine, exam.id, to_sign(engine, exam.id))
    with reading(engine) as session:
        after = [exam_record(session, exam.id, at_revision=number).cells for number in range(3)]

    assert before == after
