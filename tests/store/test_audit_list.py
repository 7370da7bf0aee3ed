"""The audit as it is read: the newest first, and only what was asked for."""

from datetime import timedelta

import pytest
from sqlalchemy import Engine

from app.store.actor import Actor
from app.store.audit import note
from app.store.audit_list import MOST_LISTED, Asked, Happened, happened
from app.store.emergency_access import open_emergency_access
from app.store.engine import reading, writing
from app.store.exams import ExamRecord
from tests.store.clinic import NOW, an_exam
from tests.store.people import an_account, as_actor

NURSE = Actor("Ngozi Testwell", "nurse", "1" * 32, "192.0.2.7")
OTHER = Actor("Dr Per Prøve", "physician", "2" * 32)
MINUTE = timedelta(minutes=1)
EVERYTHING = Asked()


def noted(engine: Engine, actor: Actor, action: str, exam: ExamRecord | None = None) -> None:
    """One act more."""
    with writing(engine) as session:
        note(
            session,
            actor,
            action,
            at=NOW,
            patient_id=exam.patient.id if exam else "",
            exam_id=exam.id if exam else "",
            detail={"revision": 3},
        )


def found(engine: Engine, asked: Asked = EVERYTHING, limit: int = MOST_LISTED) -> list[Happened]:
    """What is found."""
    with reading(engine) as session:
        return happened(session, asked, limit=limit)


def test_a_row_is_told_whole(engine: Engine, exam: ExamRecord) -> None:
    """Who, from where, when, what, on which chart; the chart by the number that people use."""
    noted(engine, NURSE, "read", exam)
    row = found(engine)[0]

    assert (
        Happened(
            number=row.number,
            at=NOW,
            account_id=NURSE.account_id,
            name=NURSE.name,
            role="nurse",
            source="192.0.2.7",
            action="read",
            chart_number=exam.patient.chart_number,
            exam_id=exam.id,
            detail={"revision": 3},
            reason="",
        )
        == row
    )


def test_what_is_about_no_patient_has_no_chart_number(engine: Engine) -> None:
    """Such a row is listed all the same."""
    noted(engine, NURSE, "sign_in")

    assert [("sign_in", "", "")] == [
        (row.action, row.chart_number, row.exam_id) for row in found(engine)
    ]


@pytest.fixture
def busy(engine: Engine) -> tuple[ExamRecord, ExamRecord]:
    """Two patients with an exam each; each person reads and prints both."""
    both = an_exam(engine, chart_number="T-1"), an_exam(engine, chart_number="T-2")
    for actor in (NURSE, OTHER):
        for exam in both:
            for action in ("read", "print"):
                noted(engine, actor, action, exam)
    return both


def test_each_part_of_a_question_narrows_it(
    engine: Engine, busy: tuple[ExamRecord, ExamRecord]
) -> None:
    """All parts hold at once; none of them asks for everything."""
    first, second = (exam.patient.id for exam in busy)
    by_nurse = found(engine, Asked(account_id=NURSE.account_id))
    of_second = found(engine, Asked(patient_id=second))
    printed = found(engine, Asked(action="print"))
    one = found(engine, Asked(NURSE.account_id, first, "read"))

    assert 4 == len(by_nurse)
    assert {NURSE.name} == {row.name for row in by_nurse}
    # Added, started, and four more.
    assert 6 == len(of_second)
    assert {"T-2"} == {row.chart_number for row in of_second}
    assert 4 == len(printed)
    assert {"print"} == {row.action for row in printed}
    assert [(NURSE.name, "T-1", "read")] == [
        (row.name, row.chart_number, row.action) for row in one
    ]
    assert [] == found(engine, Asked(account_id="3" * 32))
    assert 12 == len(found(engine))


def test_pages_follow_one_another_without_a_gap(
    engine: Engine, busy: tuple[ExamRecord, ExamRecord]
) -> None:
    """The newest first; each page begins where the one before ended."""
    pages, before = [], None
    while page := found(engine, Asked(before=before), limit=5):
        pages.append([row.number for row in page])
        before = page[-1].number

    assert [[12, 11, 10, 9, 8], [7, 6, 5, 4, 3], [2, 1]] == pages


def test_no_more_is_read_than_fits_a_page(engine: Engine) -> None:
    """An audit of years must not be read as a whole."""
    with writing(engine) as session:
        for _ in range(MOST_LISTED + 1):
            note(session, NURSE, "read", at=NOW)

    assert list(range(MOST_LISTED + 1, 1, -1)) == [row.number for row in found(engine)]


def test_emergency_access_is_told_with_its_own_reason(engine: Engine) -> None:
    """Each with the one that was given for it, and nothing else with any."""
    whose = an_account(engine, "admin", "administrator")
    for reason, at in (("first", NOW), ("second", NOW + MINUTE)):
        with writing(engine) as session:
            open_emergency_access(session, reason, actor=as_actor(whose), now=at)
    noted(engine, NURSE, "read")

    assert [("read", ""), ("emergency_access", "second"), ("emergency_access", "first")] == [
        (row.action, row.reason) for row in found(engine)[:3]
    ]
    assert {""} == {row.reason for row in found(engine)[3:]}
