"""Exams that were done on paper: what is kept of when and by whom, and that it stays so."""

import json
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal

import pytest
from sqlalchemy import Engine, text
from sqlalchemy.exc import DBAPIError
from sqlmodel import select

from app.store.audit_tables import AuditRow
from app.store.engine import reading, writing
from app.store.exams import ExamRecord, exams_of, start_exam, worklist
from app.store.on_paper import OnPaper, check_on_paper
from app.store.refusals import BadForm
from app.store.review import review_of
from app.store.verify import verify
from tests.store.clinic import NOW, NURSE, a_patient, an_exam, stored
from tests.store.test_signed_content import content

DAY = timedelta(days=1)
PAPER = OnPaper(NOW - DAY, "Dr Per Prøve")
# By the clocks of the place where the tests run.
YESTERDAY = (NOW - DAY).astimezone()
TYPED = {
    "examined_on": f"{YESTERDAY:%Y-%m-%d}",
    "examined_time": f"{YESTERDAY:%H:%M}",
    "examined_by": "Dr Per Prøve",
}


def on_paper(engine: Engine, **changed: str) -> ExamRecord:
    """An exam that was done on paper."""
    patient_id = a_patient(engine, **changed).id
    with writing(engine) as session:
        return start_exam(session, patient_id, NURSE, "", NOW, PAPER)


def test_it_says_when_and_by_whom_and_when_it_was_entered(engine: Engine) -> None:
    """Who types is not taken for who examined."""
    exam = on_paper(engine)

    assert exam == stored(engine, exam.id)
    assert PAPER == exam.on_paper
    assert (PAPER.examined_at, NOW, NURSE.name) == (
        exam.examined_at,
        exam.started_at,
        exam.started_by,
    )


def test_any_other_exam_was_done_when_it_was_started(engine: Engine) -> None:
    exam = an_exam(engine)

    assert (None, NOW) == (exam.on_paper, exam.examined_at)


def test_the_age_is_the_one_at_the_examination(engine: Engine) -> None:
    """Norms are by age; a birthday between exam and entry must not move them."""
    birth_date = f"1950-{NOW:%m-%d}"
    before = on_paper(engine, birth_date=birth_date)
    today = an_exam(engine, chart_number="T-2", birth_date=birth_date)

    assert (Decimal(75), Decimal(76)) == (before.exam.patient.age, today.exam.patient.age)


def test_lists_say_it_too_and_a_patients_exams_stand_in_the_order_of_examining(
    engine: Engine,
) -> None:
    """What was entered last need not be the newest; on the worklist it is what is to be done."""
    late = on_paper(engine)
    with writing(engine) as session:
        other = start_exam(session, late.patient.id, NURSE, "", NOW - DAY / 2)
    with reading(engine) as session:
        by_patient, waiting = exams_of(session, late.patient.id), worklist(session)

    assert [other.id, late.id] == [row.exam_id for row in by_patient]
    assert [late.id, other.id] == [row.exam_id for row in waiting]
    assert [PAPER, None] == [row.on_paper for row in waiting]


def test_the_audit_vouches_for_it(engine: Engine) -> None:
    """And tells it; the row is one of those that it names."""
    exam = on_paper(engine)
    with reading(engine) as session:
        row = session.exec(select(AuditRow).where(AuditRow.action == "start")).one()
        checked = verify(session)

    assert {
        "examined_at": "2026-03-03T09:30:15.123456+00:00",
        "examined_by": "Dr Per Prøve",
    } == json.loads(row.detail)
    assert [["on_paper", exam.id]] == [each[:2] for each in json.loads(row.rows)]
    assert () == checked.alterations


@pytest.mark.parametrize(
    "act", ["UPDATE on_paper SET examined_by = 'somebody else'", "DELETE FROM on_paper"]
)
def test_it_is_never_changed_again(engine: Engine, act: str) -> None:
    """The database itself refuses."""
    exam = on_paper(engine)
    with pytest.raises(DBAPIError, match="is never"), writing(engine) as session:
        session.connection().execute(text(act))

    assert exam == stored(engine, exam.id)


def test_an_exam_cannot_become_one_on_paper_unseen(engine: Engine) -> None:
    """A row that is added past the program is found."""
    exam = an_exam(engine)
    with writing(engine) as session:
        session.connection().execute(
            text("INSERT INTO on_paper VALUES (:id, '2026-03-03 09:30:15', 'nobody')"),
            {"id": exam.id},
        )
    with reading(engine) as session:
        checked = verify(session)

    assert [f"on_paper {exam.id}: added past the audit"] == list(map(str, checked.alterations))


def test_it_is_signed_and_any_other_exam_is_signed_as_before(engine: Engine) -> None:
    """No byte more where it was not on paper, so that what was signed before stays valid."""
    late, other = on_paper(engine), an_exam(engine, chart_number="T-2")
    with reading(engine) as session:
        reviews = [review_of(session, each.id) for each in (late, other)]
    signed = [content(held, review) for held, review in zip((late, other), reviews, strict=True)]

    assert PAPER.told() == json.loads(signed[0])["exam"]["on_paper"]
    assert {"id", "reason", "started_at", "started_by", "revision"} == set(
        json.loads(signed[1])["exam"]
    )
    assert signed[0] != content(replace(late, on_paper=replace(PAPER, examined_by="x")), reviews[0])


def test_an_exam_before_the_patient_was_born_is_refused(engine: Engine) -> None:
    """And nothing is kept of it."""
    with pytest.raises(BadForm) as refused:
        on_paper(engine, birth_date=f"{NOW:%Y-%m-%d}")

    assert {"examined_on": "the exam lies before the birth of the patient"} == refused.value.faults


# ---- what a form says


def test_what_was_typed_is_by_the_clocks_of_the_place() -> None:
    """To the minute, which is all that somebody writes on paper."""
    found = check_on_paper(TYPED | {"examined_by": "  Dr Per  Prøve "}, NOW)

    assert OnPaper(YESTERDAY.replace(second=0, microsecond=0), "Dr Per Prøve") == found


def test_an_empty_form_says_nothing_of_paper() -> None:
    assert check_on_paper({}, NOW) is None
    assert check_on_paper({"examined_on": " ", "examined_time": "", "examined_by": ""}, NOW) is None


@pytest.mark.parametrize(
    ("changed", "faults"),
    [
        ({"examined_by": ""}, {"examined_by": "who examined is missing"}),
        ({"examined_time": ""}, {"examined_time": "the time of the exam is missing"}),
        (
            {"examined_on": "", "examined_by": "?"},
            {
                "examined_on": "the date of the exam is missing",
                "examined_by": "who examined has no letter or digit",
            },
        ),
        (
            {"examined_on": "2026-02-30"},
            {"examined_on": "the date of the exam is not a date: write it as 2026-03-04"},
        ),
        (
            {"examined_on": "2026-W10-1", "examined_time": "24:00"},
            {
                "examined_on": "the date of the exam is not a date: write it as 2026-03-04",
                "examined_time": "the time of the exam is not a time: write it as 14:10",
            },
        ),
        (
            {"examined_on": f"{date(2026, 3, 4) + DAY:%Y-%m-%d}"},
            {"examined_on": "the exam lies in the future"},
        ),
        (
            {"examined_on": f"{YESTERDAY - 31 * DAY:%Y-%m-%d}"},
            {"examined_on": "the exam is more than 31 days ago: keep the paper in the chart"},
        ),
        (
            {"examined_on": "2025" + TYPED["examined_on"][4:]},
            {"examined_on": "the exam is more than 31 days ago: keep the paper in the chart"},
        ),
    ],
)
def test_what_is_wrong_is_named(changed: dict[str, str], faults: dict[str, str]) -> None:
    """Every fault at once."""
    with pytest.raises(BadForm) as refused:
        check_on_paper(TYPED | changed, NOW)

    assert faults == refused.value.faults


def test_the_last_moment_and_the_first_are_allowed() -> None:
    """Exactly now, and exactly 31 days ago."""
    now = datetime(2026, 3, 4, 9, 30, tzinfo=UTC)
    for moment in (now, now - 31 * DAY):
        local = moment.astimezone()
        typed = {"examined_on": f"{local:%Y-%m-%d}", "examined_time": f"{local:%H:%M}"}
        found = check_on_paper(typed | {"examined_by": "A"}, now)

        assert found is not None
        assert moment == found.examined_at
