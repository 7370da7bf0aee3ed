"""Last time's value beside each cell: dated, told apart from today's, and never an answer."""

import re
from collections.abc import Iterable

from sqlmodel import select

from app.report.phrases import day
from app.store.engine import writing
from app.store.tables import ExamRow
from app.web.wording import local
from tests.web.clinic import Clinic
from tests.web.tables import audit_rows

Cells = Iterable[tuple[str, str, str]]
BEFORE: Cells = (
    ("rest_tremor_hand", "right", "2"),
    ("rest_tremor_hand", "left", "0"),
    ("base", "", "wide"),
    ("tug_s", "", "9.10"),
)


def two_visits(clinic: Clinic, cells: Cells = BEFORE, *, is_signed: bool = True) -> tuple[str, str]:
    """An exam and a second one of the same patient, begun after it."""
    first = clinic.new_exam()
    for finding, side, value in cells:
        assert 200 == clinic.cell(first, finding, side, value).status_code
    if is_signed:
        as_signed(clinic, first)
    return first, another(clinic, first)


def as_signed(clinic: Clinic, exam_id: str) -> None:
    """Give it the state alone, as a page takes long to render; another sheet asks for no more."""
    with writing(clinic.app.state.engine) as session:
        session.exec(select(ExamRow).where(ExamRow.id == exam_id)).one().state = "signed"


def another(clinic: Clinic, exam_id: str) -> str:
    """One more exam of the same patient."""
    path = f"/patients/{clinic.stored(exam_id).patient.id}"
    answer = clinic.client.post(path, data={"reason": "Again"})
    assert 303 == answer.status_code
    return str(answer.headers["location"]).split("?")[0].rsplit("/", 1)[1]


def last_of(page: str, dom: str) -> tuple[str, str] | None:
    """What stands beside a cell: as it is seen, and as it is heard."""
    found = re.search(
        rf'id="{dom}-last"><span aria-hidden="true">(.*?)</span><span class="spoken">(.*?)</span>',
        page,
    )
    return None if found is None else (found[1], found[2])


def test_each_cell_shows_its_own_value_of_last_time_with_its_date(clinic: Clinic) -> None:
    """RIGHT beside RIGHT, and nothing where it was not examined then."""
    first, second = two_visits(clinic)
    when = day(local(clinic.stored(first).started_at))
    page = clinic.get(f"/exams/{second}?part=whole").text

    assert ("last 2", f"last time, {when}: 2 definite") == last_of(page, "c-rest_tremor_hand-right")
    assert ("last 0", f"last time, {when}: 0 none") == last_of(page, "c-rest_tremor_hand-left")
    assert ("last: wide", f"last time, {when}: wide") == last_of(page, "c-base")
    assert ("last 9.10", f"last time, {when}: 9.10 s") == last_of(page, "c-tug_s")
    assert last_of(page, "c-drift-right") is None
    assert f'<a href="/exams/{first}">{when}</a>' in page
    assert f"then={first}&amp;now={second}" in page


def test_it_is_no_answer_of_today(clinic: Clinic) -> None:
    """Nothing is chosen or filled in by it, and nothing is stored."""
    _, second = two_visits(clinic)
    page = clinic.get(f"/exams/{second}?part=whole").text

    assert " checked data-key" not in page
    assert 'value="9.10"' not in page
    assert {} == clinic.stored(second).cells


def test_what_could_not_be_tested_last_time_says_so(clinic: Clinic) -> None:
    """It is not the same as not examined, and never a normal value."""
    first = clinic.new_exam()
    clinic.cell(first, "drift", "left", "untestable", why="arm in plaster")
    page = clinic.get(f"/exams/{another(clinic, first)}?part=whole").text
    found = last_of(page, "c-drift-left")

    assert found
    assert "last, not signed: cannot be tested" == found[0]


def test_an_exam_that_was_not_signed_says_so_at_every_value(clinic: Clinic) -> None:
    """Nobody has reviewed it; the head says so too."""
    first, second = two_visits(clinic, is_signed=False)
    when = day(local(clinic.stored(first).started_at))
    page = clinic.get(f"/exams/{second}?part=whole").text

    assert (
        "last, not signed: 2",
        f"last time, {when}, not signed: 2 definite",
    ) == last_of(page, "c-rest_tremor_hand-right")
    assert 'class="unsigned">not signed</span>' in page


def test_a_cell_that_a_colleague_changed_keeps_it(clinic: Clinic) -> None:
    """The cell is drawn anew and put into the open sheet."""
    _, second = two_visits(clinic)
    clinic.colleague.cell(second, "rest_tremor_hand", "right", "1")
    news = clinic.cell(second, "drift", "left", "0", revision=0)

    assert 200 == news.status_code
    assert 'hx-swap-oob="true"' in news.text
    assert "last 2" in (last_of(news.text, "c-rest_tremor_hand-right") or ())


def test_what_a_nurse_may_not_write_stands_as_words_with_last_time_beside(clinic: Clinic) -> None:
    """Who reads only sees the same."""
    _, second = two_visits(clinic)
    page = clinic.nurse.get(f"/exams/{second}?part=whole").text

    assert "last 2" in (last_of(page, "c-rest_tremor_hand-right") or ())


def test_that_the_earlier_exam_was_seen_stands_in_the_audit(clinic: Clinic) -> None:
    """Its values are read with the sheet of today."""
    first, second = two_visits(clinic)
    before = len(audit_rows(clinic.app))
    clinic.get(f"/exams/{second}")
    rows = audit_rows(clinic.app)[before:]

    assert [("read", second), ("read", first)] == [(each.action, each.exam_id) for each in rows]
