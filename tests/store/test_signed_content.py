"""What a signature stands for: everything that the exam holds, in one way only."""

import json
from dataclasses import replace
from decimal import Decimal
from typing import Any

from sqlalchemy import Engine

from app.exam.record import Untestable
from app.exam.vocabulary import Side
from app.knowledge.load import knowledge
from app.store.engine import reading, writing
from app.store.entries import record_medicines
from app.store.exams import ExamRecord, exam_record
from app.store.review import Review, StepDecision, review_of
from app.store.signed_content import signed_content
from tests.store.clinic import MINUTE, NOW, NURSE, an_exam, rest_normal, write
from tests.store.desk import ASSESSMENT, IMPRESSION, KNOWLEDGE, LATER, MEANING, NOTE, SIGNER, decide

RIGHT, LEFT = Side.RIGHT, Side.LEFT
STEP = next(iter(knowledge().steps))


def a_full_exam(engine: Engine) -> tuple[ExamRecord, Review]:
    """Graded, timed, cleared, not testable, marked in bulk, with medicines and decisions."""
    exam = an_exam(engine)
    write(engine, exam.id, {("drift", RIGHT): 2, ("tug_s", None): Decimal("9.50")}, 0, NURSE)
    write(engine, exam.id, {("drift", RIGHT): None, ("drift", LEFT): Untestable("cast")}, 1)
    rest_normal(engine, exam.id, "repeat", 2)
    with writing(engine) as session:
        record_medicines(
            session, exam.id, ("levodopa",), at_revision=3, recorder=NURSE, now=NOW + MINUTE
        )
    decide(engine, exam.id, {IMPRESSION: "Slow.", ("step", STEP): StepDecision(False, "done")}, 4)
    decide(engine, exam.id, {IMPRESSION: None}, 5)
    with reading(engine) as session:
        return exam_record(session, exam.id), review_of(session, exam.id)


def content(held: ExamRecord, review: Review, **changed: Any) -> str:
    """The content as it is signed."""
    plain: dict[str, Any] = {
        "assessment": ASSESSMENT,
        "knowledge": KNOWLEDGE,
        "note": NOTE,
        "signer": SIGNER,
        "meaning": MEANING,
        "signed_at": LATER,
    }
    return signed_content(held, review, **plain | changed)


def test_the_content_holds_all_that_the_exam_holds(engine: Engine) -> None:
    """Values as typed, cells that were cleared, who and when, bulk, medicines, decisions."""
    held, review = a_full_exam(engine)
    told = json.loads(content(held, review))
    entries = {(each["finding"], each["side"]): each for each in told["entries"]}

    assert (held.id, 6, "shaky hands", NURSE.name) == tuple(
        told["exam"][key] for key in ("id", "revision", "reason", "started_by")
    )
    assert ("T-1", "Mustermann", "Erika", "1950-05-06", "female") == tuple(
        told["patient"][key]
        for key in ("chart_number", "family_name", "given_name", "birth_date", "sex")
    )
    assert len(held.cells) == len(entries)
    assert ("9.50", NURSE.name, "nurse", 1, False) == tuple(
        entries["tug_s", None][key] for key in ("value", "by", "role", "revision", "bulk")
    )
    assert (None, 2) == tuple(entries["drift", "right"][key] for key in ("value", "revision"))
    assert '{"untestable":"cast"}' == entries["drift", "left"]["value"]
    assert any(each["bulk"] for each in told["entries"])
    assert ('["levodopa"]', "2026-03-04T09:31:15.123456+00:00") == (
        told["medicines"]["value"],
        told["medicines"]["at"],
    )
    assert [("impression", "", None, 6), ("step", STEP, '{"reason":"done","taken":false}', 5)] == [
        (each["kind"], each["item"], each["value"], each["revision"]) for each in told["review"]
    ]
    assert (ASSESSMENT, KNOWLEDGE, MEANING, "2026-03-04T11:40:15.123456+02:00") == tuple(
        told[key] for key in ("assessment", "knowledge", "meaning", "signed_at")
    )
    assert {"account_id": SIGNER.account_id, "name": SIGNER.name, "role": "physician"} == (
        told["signer"]
    )


def test_every_part_of_it_makes_another_content(engine: Engine) -> None:
    """Nothing that is signed can be exchanged without the hash showing it."""
    held, review = a_full_exam(engine)
    drift = ("drift", LEFT)
    others = [
        content(replace(held, patient=replace(held.patient, given_name="Emma")), review),
        content(replace(held, revision=7), review),
        content(replace(held, cells=dict(list(held.cells.items())[1:])), review),
        content(
            replace(held, cells={**held.cells, drift: replace(held.cells[drift], bulk=True)}),
            review,
        ),
        content(replace(held, medicines_record=None), review),
        content(held, replace(review, items={})),
        content(held, review, assessment="{}"),
        content(held, review, knowledge="2"),
        content(held, review, note="another"),
        content(held, review, signer=NURSE),
        content(held, review, meaning="another"),
        content(held, review, signed_at=LATER + MINUTE),
    ]

    assert len(others) + 1 == len({content(held, review), *others})
    assert content(held, review) == content(held, review)


def test_the_state_is_no_part_of_it(engine: Engine) -> None:
    """The hand-over may come between the review and the signature and changes nothing signed."""
    held, review = a_full_exam(engine)

    assert content(held, review) == content(replace(held, state="ready"), review)
