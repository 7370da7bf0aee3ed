"""Addendum, late entry and correction: signed pieces beside a signed exam."""

import json
import threading
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from datetime import timedelta

import pytest
from sqlalchemy import Engine

from app.language.words import speaking
from app.store.actor import Recorder
from app.store.engine import reading, writing
from app.store.refusals import BackDated, BadForm, NotSigned, StaleReview
from app.store.signatures import document
from app.store.signed_content import Amendment
from app.store.signing import amend, checked_amendment
from tests.store.clinic import MINUTE, an_exam, stored
from tests.store.desk import (
    ADDENDUM,
    LATER,
    MEANING,
    SIGNER,
    a_reviewed_exam,
    amended,
    an_account,
    everything,
    pieces_of,
    signed,
    to_amend,
    to_sign,
)

OTHER = Recorder("Dr Ana Example", "physician", "b" * 32)
LATE = Amendment("late_entry", "The left foot was seen too.", "forgotten on the day")
CORRECTION = Amendment("correction", "The tremor was on the LEFT.", "sides were mixed up")


def a_signed_exam(engine: Engine) -> str:
    """The id of an exam that was signed."""
    exam = a_reviewed_exam(engine)
    signed(engine, exam.id, to_sign(engine, exam.id))
    return exam.id


def test_amendments_are_numbered_and_each_is_signed_for_itself(engine: Engine) -> None:
    """Its own type, author, time, reason and page."""
    exam_id = a_signed_exam(engine)
    an_account(engine, OTHER)
    made = [
        amended(engine, exam_id, to_amend(engine, exam_id, amendment, LATER + n * MINUTE, author))
        for n, (amendment, author) in enumerate(
            [(ADDENDUM, SIGNER), (LATE, OTHER), (CORRECTION, SIGNER)], start=1
        )
    ]
    exam, *pieces = pieces_of(engine, exam_id)

    assert made == pieces
    assert [
        (1, "addendum", ADDENDUM.text, ADDENDUM.reason, SIGNER.name, LATER + MINUTE),
        (2, "late_entry", LATE.text, LATE.reason, OTHER.name, LATER + 2 * MINUTE),
        (3, "correction", CORRECTION.text, CORRECTION.reason, SIGNER.name, LATER + 3 * MINUTE),
    ] == [
        (each.number, each.kind, each.text, each.reason, each.printed_name, each.signed_at)
        for each in pieces
    ]
    assert ["+02:00"] * 3 == [each.signed_at.isoformat()[-6:] for each in pieces]
    assert [MEANING] * 3 == [each.meaning for each in pieces]
    assert 4 == len({each.document_sha256 for each in (exam, *pieces)})


def test_the_exam_reads_amended_and_stays_as_it_was_signed(engine: Engine) -> None:
    """The first signature, its page and the entries are the same as before."""
    exam_id = a_signed_exam(engine)
    before, first = everything(engine), pieces_of(engine, exam_id)
    with reading(engine) as session:
        page = document(session, first[0].document_sha256)
    states = []
    for n in (1, 2):
        prepared = to_amend(engine, exam_id, signed_at=LATER + n * MINUTE)
        amended(engine, exam_id, prepared)
        states.append(stored(engine, exam_id).state)
    after = everything(engine)

    assert ["amended", "amended"] == states
    assert first == pieces_of(engine, exam_id)[:1]
    with reading(engine) as session:
        assert page == document(session, first[0].document_sha256)
    for table in ("entry", "review_entry"):
        assert before[table] == after[table]


def test_an_amendment_belongs_to_the_pieces_before_it(engine: Engine) -> None:
    """It names their hashes, so it cannot be moved to another exam or another place."""
    exam_id = a_signed_exam(engine)
    for n in (1, 2):
        amended(engine, exam_id, to_amend(engine, exam_id, signed_at=LATER + n * MINUTE))
    exam, first, second = pieces_of(engine, exam_id)

    assert [exam.content_sha256] == json.loads(first.content)["after"]
    assert [exam.content_sha256, first.content_sha256] == json.loads(second.content)["after"]


def test_an_unsigned_exam_is_not_amended(engine: Engine) -> None:
    """It still takes entries."""
    prepared = to_amend(engine, a_signed_exam(engine))
    other = an_exam(engine, chart_number="T-2")
    before = everything(engine)
    with pytest.raises(NotSigned):
        amended(engine, other.id, prepared)

    assert before == everything(engine)


def test_who_has_not_seen_the_newest_amendment_adds_none(engine: Engine) -> None:
    """Two corrections that do not know of each other could say the opposite."""
    exam_id = a_signed_exam(engine)
    mine, theirs = to_amend(engine, exam_id), to_amend(engine, exam_id, CORRECTION)
    amended(engine, exam_id, theirs)
    before = everything(engine)
    with pytest.raises(StaleReview, match="amendment 1 stands there by now"):
        amended(engine, exam_id, mine)

    assert before == everything(engine)


def test_of_two_who_amend_at_once_one_does(engine: Engine) -> None:
    """The other one reads first."""
    exam_id = a_signed_exam(engine)
    prepared = [to_amend(engine, exam_id), to_amend(engine, exam_id, CORRECTION)]
    start = threading.Barrier(2)

    def attempt(number: int) -> str:
        start.wait()
        try:
            return amended(engine, exam_id, prepared[number]).kind
        except StaleReview:
            return "refused"

    with ThreadPoolExecutor(2) as pool:
        ended = list(pool.map(attempt, range(2)))

    _, piece = pieces_of(engine, exam_id)
    assert sorted([piece.kind, "refused"]) == sorted(ended)


def test_an_amendment_is_never_back_dated(engine: Engine) -> None:
    """Its time is now: not before the exam was signed, nor before the last amendment."""
    exam_id = a_signed_exam(engine)
    moment = timedelta(microseconds=1)
    with pytest.raises(BackDated):
        amended(engine, exam_id, to_amend(engine, exam_id, signed_at=LATER - moment))
    amended(engine, exam_id, to_amend(engine, exam_id, signed_at=LATER + MINUTE))
    with pytest.raises(BackDated):
        amended(engine, exam_id, to_amend(engine, exam_id, signed_at=LATER + MINUTE - moment))

    assert 2 == len(pieces_of(engine, exam_id))


def test_an_amendment_that_was_not_the_one_signed_is_refused(engine: Engine) -> None:
    """Text, reason and type are what the content says, or nothing is kept."""
    exam_id = a_signed_exam(engine)
    amendment, signing, number = to_amend(engine, exam_id)
    before = everything(engine)
    for values in ({"text": "Something else."}, {"reason": "another"}, {"kind": "correction"}):
        with pytest.raises(StaleReview, match="not the amendment"):
            amended(engine, exam_id, (replace(amendment, **values), signing, number))

    assert before == everything(engine)


def test_every_fault_of_an_amendment_is_named() -> None:
    """It needs its type, its text and its reason."""
    with pytest.raises(BadForm) as refused:
        checked_amendment(Amendment("exam", " ", "x" * 501))

    assert {
        "kind": "choose addendum, late entry or correction",
        "text": "the text is missing",
        "reason": "the reason is longer than 500 characters",
    } == refused.value.faults
    assert Amendment("addendum", "a\nb", "c") == checked_amendment(
        Amendment("addendum", " a\r\nb ", "c ")
    )


def test_a_refused_amendment_is_refused_in_the_language_in_use() -> None:
    """Also the name of what is missing."""
    with speaking("de"), pytest.raises(BadForm) as refused:
        checked_amendment(Amendment("addendum", "", ""))

    assert {"text": "der Text fehlt", "reason": "der Grund fehlt"} == refused.value.faults


def test_an_amendment_that_was_not_checked_is_refused(engine: Engine) -> None:
    """Else what is kept could differ from what was shown."""
    exam_id = a_signed_exam(engine)
    _, signing, number = to_amend(engine, exam_id)
    for faulty in (Amendment("addendum", " a ", "b"), Amendment("addendum", "a", "")):
        with writing(engine) as session, pytest.raises(ValueError, match=r"checked|missing"):
            amend(session, exam_id, faulty, signing, after_number=number)
