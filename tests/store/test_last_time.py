"""Which exam is last time's: the newest signed one before, and what is said where there is none."""

from datetime import timedelta

from sqlalchemy import Engine
from sqlmodel import select

from app.exam.vocabulary import Side
from app.store.engine import reading, writing
from app.store.exams import ExamRecord, start_exam
from app.store.last_time import LastTime, last_time
from app.store.on_paper import OnPaper
from app.store.tables import ExamRow
from tests.store.clinic import NOW, NURSE, a_patient, write

DAY = timedelta(days=1)


def an_exam(
    engine: Engine, patient_id: str, days_ago: int, state: str = "open", *, is_empty: bool = False
) -> ExamRecord:
    """An exam of some days ago in a state."""
    at = NOW - days_ago * DAY
    with writing(engine) as session:
        exam = start_exam(session, patient_id, NURSE, "", at)
    if not is_empty:
        exam = write(engine, exam.id, {("drift", Side.RIGHT): 2}, 0, now=at)
    with writing(engine) as session:
        session.exec(select(ExamRow).where(ExamRow.id == exam.id)).one().state = state
    return exam


def before(engine: Engine, exam: ExamRecord) -> LastTime | None:
    """What another request finds."""
    with reading(engine) as session:
        return last_time(session, exam)


def test_a_first_exam_has_no_last_time(engine: Engine) -> None:
    """Neither its own values nor those of another patient or of later stand beside it."""
    patient_id, other_id = a_patient(engine).id, a_patient(engine, chart_number="T-2").id
    today = an_exam(engine, patient_id, 0)
    an_exam(engine, other_id, 30, "signed")
    an_exam(engine, patient_id, -1, "signed")

    assert before(engine, today) is None


def test_the_newest_signed_one_comes_first_and_says_what_it_passed_over(engine: Engine) -> None:
    """What is not signed was not reviewed; that there is such an exam is said all the same."""
    patient_id = a_patient(engine).id
    an_exam(engine, patient_id, 90, "signed")
    amended = an_exam(engine, patient_id, 60, "amended")
    unsigned = an_exam(engine, patient_id, 30, "ready")
    found = before(engine, an_exam(engine, patient_id, 0))

    assert found
    assert (amended.id, True) == (found.record.id, found.is_signed)
    assert unsigned.started_at == found.passed_over


def test_where_none_is_signed_the_newest_says_that_it_is_not(engine: Engine) -> None:
    """It is better than nothing, and somebody may have started one by mistake."""
    patient_id = a_patient(engine).id
    an_exam(engine, patient_id, 60)
    newest = an_exam(engine, patient_id, 30, "ready")
    an_exam(engine, patient_id, 10, is_empty=True)
    found = before(engine, an_exam(engine, patient_id, 0))

    assert found
    assert (newest.id, False, None) == (found.record.id, found.is_signed, found.passed_over)


def test_an_exam_on_paper_stands_where_it_was_done(engine: Engine) -> None:
    """Not where it was entered: neither as the time before, nor with a time before of its own."""
    patient_id = a_patient(engine).id
    first = an_exam(engine, patient_id, 20, "signed")
    second = an_exam(engine, patient_id, 10, "signed")
    with writing(engine) as session:
        paper = OnPaper(NOW - 15 * DAY, "Dr Per Prøve")
        typed = start_exam(session, patient_id, NURSE, "", NOW - DAY, paper)
    typed = write(engine, typed.id, {("drift", Side.RIGHT): 1}, 0, now=NOW - DAY)

    between, after = before(engine, typed), before(engine, an_exam(engine, patient_id, 0))

    assert between
    assert (first.id, None) == (between.record.id, between.passed_over)
    assert after
    # The typed one is not signed, and older than the newest signed one.
    assert (second.id, None) == (after.record.id, after.passed_over)
