"""Alerts: an emergency is shown to everybody until a physician has opened the exam."""

from datetime import datetime

from sqlalchemy import Engine

from app.store.actor import Actor
from app.store.alerts import Alert, alerts, has_alert, seen_alert, set_alert
from app.store.engine import reading, writing
from app.store.exams import ExamRecord
from tests.store.clinic import MINUTE, NOW, NURSE, PHYSICIAN, an_exam
from tests.store.people import ADMINISTRATOR, audited

LATER = NOW + MINUTE


def raised(engine: Engine, exam_id: str, *warnings: str, now: datetime = NOW) -> None:
    """What a write leaves behind."""
    with writing(engine) as session:
        set_alert(session, exam_id, warnings, now)


def opened(engine: Engine, exam_id: str, actor: Actor = PHYSICIAN) -> None:
    """Somebody opens the exam."""
    with writing(engine) as session:
        seen_alert(session, exam_id, actor=actor, now=LATER)


def waiting(engine: Engine) -> list[Alert]:
    """What the worklist shows at its top."""
    with reading(engine) as session:
        return alerts(session)


def test_an_emergency_waits_for_a_physician(engine: Engine, exam: ExamRecord) -> None:
    """With whose it is and since when; nobody else takes it away by looking."""
    raised(engine, exam.id, "stroke", "cord", "stroke")
    expected = [Alert(exam.id, exam.patient, ("cord", "stroke"), NOW)]
    for actor in (NURSE, ADMINISTRATOR):
        opened(engine, exam.id, actor)

    assert expected == waiting(engine)
    opened(engine, exam.id)
    assert [] == waiting(engine)
    assert ("seen_alert", PHYSICIAN.name, {}) == audited(engine)[-1]


def test_a_physicians_own_write_counts_as_a_look(engine: Engine, exam: ExamRecord) -> None:
    """In the transaction that raised it; a nurse's write leaves it waiting."""
    with writing(engine) as session:
        set_alert(session, exam.id, ["cord"], NOW)
        seen_alert(session, exam.id, actor=NURSE, now=NOW)
    assert [exam.id] == [each.exam_id for each in waiting(engine)]
    with writing(engine) as session:
        set_alert(session, exam.id, ["cord", "fever"], NOW)
        seen_alert(session, exam.id, actor=PHYSICIAN, now=NOW)

    assert [] == waiting(engine)
    assert ("seen_alert", PHYSICIAN.name, {}) == audited(engine)[-1]


def test_the_audit_tells_the_first_look_only(engine: Engine, exam: ExamRecord) -> None:
    """That is when the emergency had been seen; without one there is nothing to tell."""
    opened(engine, exam.id)
    raised(engine, exam.id, "cord")
    opened(engine, exam.id)
    opened(engine, exam.id)

    assert 1 == [action for action, _, _ in audited(engine)].count("seen_alert")


def test_an_emergency_that_went_away_waits_no_longer(engine: Engine, exam: ExamRecord) -> None:
    """A slip was corrected; when it comes back it is a new one, also if the first was seen."""
    raised(engine, exam.id)
    raised(engine, exam.id, "cord")
    opened(engine, exam.id)
    raised(engine, exam.id)
    gone = waiting(engine)
    raised(engine, exam.id, "cord", now=LATER)

    assert [] == gone
    assert [("cord",)] == [each.warnings for each in waiting(engine)]


def test_a_new_emergency_beside_a_seen_one_waits_anew(engine: Engine, exam: ExamRecord) -> None:
    """What was seen already does not hide it; one of two that goes away is nothing new."""
    raised(engine, exam.id, "cord", "stroke")
    opened(engine, exam.id)
    raised(engine, exam.id, "cord", now=LATER)
    fewer = waiting(engine)
    raised(engine, exam.id, "cord", "fever", now=LATER)

    assert [] == fewer
    assert [Alert(exam.id, exam.patient, ("cord", "fever"), LATER)] == waiting(engine)


def test_a_second_emergency_does_not_make_the_first_look_younger(
    engine: Engine, exam: ExamRecord
) -> None:
    """It has waited since the first."""
    raised(engine, exam.id, "cord")
    raised(engine, exam.id, "cord", "fever", now=LATER)

    assert [Alert(exam.id, exam.patient, ("cord", "fever"), NOW)] == waiting(engine)


def test_the_longest_waiting_stands_first(engine: Engine, exam: ExamRecord) -> None:
    """Each exam waits for itself."""
    other = an_exam(engine, chart_number="T-2")
    raised(engine, exam.id, "cord", now=LATER)
    raised(engine, other.id, "cord", now=NOW)

    assert [other.id, exam.id] == [each.exam_id for each in waiting(engine)]
    opened(engine, other.id)
    with reading(engine) as session:
        assert [False, True] == [has_alert(session, each.id) for each in (other, exam)]
