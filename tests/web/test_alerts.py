"""An emergency stands above the worklist for everybody until a physician has opened its exam."""

import re
from datetime import UTC, datetime, timedelta
from html import unescape

import pytest
from sqlalchemy import update

from app.knowledge.load import knowledge
from app.store.actor import PROGRAM
from app.store.clinic_settings import change_settings, settings_revision
from app.store.engine import writing
from app.store.tables import AlertRow
from app.web.wording import local
from tests.web.clinic import Clinic

PATHWAY = "Call 5050 and send them with somebody"
# A nurse may record all of them. Trouble with the bladder, the bowel and the back together
# point to the nerve roots below the cord; see the cases of these warnings in the knowledge.
CORD = (("hx_bladder", "retention"), ("hx_bowel_or_saddle", "yes"))
STROKE = (("veering", "2"), ("hx_onset", "sudden"))


@pytest.fixture
def exam_id(clinic: Clinic) -> str:
    """A new exam."""
    return clinic.new_exam()


def enter(clinic: Clinic, exam_id: str, *answers: tuple[str, str]) -> None:
    """Record as the sheet's script does."""
    for finding, value in answers:
        answer = clinic.cell(exam_id, finding, "", value)
        assert 200 == answer.status_code, answer.text


def waiting(clinic: Clinic) -> str:
    """What stands above the worklist in this browser."""
    found = re.search(r'<section id="alerts".*?</section>', clinic.get("/").text, re.DOTALL)
    assert found
    return " ".join(unescape(re.sub("<[^>]+>", " ", found[0])).split())


def test_a_nurses_entry_calls_a_physician_before_everybody(clinic: Clinic, exam_id: str) -> None:
    """At the top of the page: who it is by two identifiers, since when, and what to do here."""
    with writing(clinic.app.state.engine) as session:
        changed = {"pathway.cord_compression": PATHWAY}
        change_settings(
            session,
            changed,
            at_revision=settings_revision(session),
            actor=PROGRAM,
            now=datetime.now(UTC),
        )
    assert "" == waiting(clinic)
    before = datetime.now(UTC).replace(second=0, microsecond=0)
    enter(clinic.nurse, exam_id, *CORD)
    after = datetime.now(UTC)

    page = clinic.get("/").text
    assert page.index('id="alerts"') < page.index("<h1")
    for browser in (clinic.nurse, clinic.physician, clinic.colleague):
        text = waiting(browser)
        assert "A physician is needed now LINDQVIST, Aurelia" in text
        assert re.search(r"Born 09-Mar-1951 \(\d+ y\)", text)
        assert "Chart number HC-2041" in text
        assert knowledge().warnings["cord_compression"].label in text
        assert PATHWAY in text
        since = re.search(r"Emergency since (\d\d:\d\d):", text)
        assert since
        assert since[1] in {f"{local(each):%H:%M}" for each in (before, after)}
    assert f'href="/exams/{exam_id}"' in page[page.index('id="alerts"') : page.index("<h1")]


def test_an_emergency_of_an_earlier_day_says_so(clinic: Clinic, exam_id: str) -> None:
    """A time of day alone would read as this morning's."""
    enter(clinic.nurse, exam_id, *CORD)
    with writing(clinic.app.state.engine) as session:
        since = datetime.now(UTC) - timedelta(days=2)
        session.connection().execute(update(AlertRow).values(since=since))

    assert re.search(rf"Emergency since \d\d-\w+-\d{{4}} {local(since):%H:%M}:", waiting(clinic))


@pytest.mark.parametrize("page", ["", "/review"])
def test_only_a_physician_who_opens_the_exam_takes_it_away(
    clinic: Clinic, exam_id: str, page: str
) -> None:
    """For everybody; neither a nurse who looks nor a page that asks by itself has seen to it."""
    enter(clinic.nurse, exam_id, *CORD)
    clinic.nurse.get(f"/exams/{exam_id}")
    clinic.nurse.get(f"/exams/{exam_id}/review")
    clinic.get(f"/exams/{exam_id}/updates?since=0")
    clinic.get("/updates")
    clinic.get("/")
    assert "LINDQVIST" in waiting(clinic.nurse)

    assert 200 == clinic.get(f"/exams/{exam_id}{page}").status_code
    assert ["", "", ""] == [
        waiting(each) for each in (clinic.nurse, clinic.physician, clinic.colleague)
    ]


def test_a_physician_who_records_it_has_seen_it(clinic: Clinic, exam_id: str) -> None:
    """Nobody is called to an exam that a physician has in hand; a later one calls again."""
    enter(clinic, exam_id, *CORD)
    assert "" == waiting(clinic.nurse)
    enter(clinic.nurse, exam_id, *STROKE)

    assert "LINDQVIST" in waiting(clinic.nurse)
    enter(clinic.colleague, exam_id, ("hx_cancer", "yes"))
    assert "" == waiting(clinic.nurse)


def test_a_new_emergency_in_the_same_exam_calls_again(clinic: Clinic, exam_id: str) -> None:
    """What was seen already must not hide it; more of the same calls nobody again."""
    enter(clinic.nurse, exam_id, *CORD)
    clinic.get(f"/exams/{exam_id}")
    enter(clinic.nurse, exam_id, ("hx_cancer", "yes"), ("turn_steps", "4"))
    assert "" == waiting(clinic)
    enter(clinic.nurse, exam_id, *STROKE)

    text = waiting(clinic)
    for name in ("cord_compression", "acute_ataxia"):
        assert knowledge().warnings[name].label in text


def test_an_emergency_that_a_correction_takes_back_calls_nobody(
    clinic: Clinic, exam_id: str
) -> None:
    """A slip of the hand; entered again it is a new one."""
    enter(clinic.nurse, exam_id, *CORD)
    enter(clinic.nurse, exam_id, ("hx_bowel_or_saddle", "no"))
    assert "" == waiting(clinic)
    enter(clinic.nurse, exam_id, ("hx_bowel_or_saddle", "yes"))

    assert "LINDQVIST" in waiting(clinic)


def test_who_comes_and_goes_is_not_part_of_the_call(clinic: Clinic, exam_id: str) -> None:
    """A screen reader reads the whole of it out loud whenever it changes."""
    enter(clinic.nurse, exam_id, *CORD)
    before = waiting(clinic)
    clinic.nurse.get(f"/exams/{exam_id}/updates?since=0")

    assert "R. Okafor (nurse) has it open now" in clinic.get("/").text
    assert before == waiting(clinic)
