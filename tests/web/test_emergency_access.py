"""Emergency access: an administrator reads charts for an hour, and each look is told."""

import json
import re
from datetime import UTC, datetime, timedelta
from html import unescape

import pytest
from sqlmodel import select

from app.store.actor import Actor
from app.store.audit_tables import AuditRow, EmergencyAccessRow
from app.store.emergency_access import open_emergency_access
from app.store.engine import reading, writing
from app.store.tables import AlertRow
from app.web.noted import IN_EMERGENCY
from app.web.wording import local
from tests.web.clinic import ADMINISTRATOR, PERSON, PHYSICIAN, Clinic
from tests.web.tables import audit_rows, kept
from tests.web.test_admin_accounts import held, page_of, save, seen
from tests.web.test_admin_audit import asked, lines

HOUR = timedelta(hours=1)
WHY = "The ward asks for the medicines and nobody else can be reached"
# Each page that shows something of a patient. The last but one is a text, the last a PDF.
SEEN = (
    "/", "/updates", "/patients/{patient_id}",
    "/exams/{exam_id}", "/exams/{exam_id}/updates?since=0",
    "/exams/{exam_id}/why/parkinsonism", "/exams/{exam_id}/note", "/exams/{exam_id}/pdf",
)  # fmt: skip


def paths(clinic: Clinic, exam_id: str) -> list[str]:
    """The address of each page that shows something of a patient."""
    patient_id = clinic.stored(exam_id).patient.id
    return [path.format(exam_id=exam_id, patient_id=patient_id) for path in SEEN]


def opened(clinic: Clinic, ago: timedelta = timedelta()) -> Clinic:
    """The administrator's browser, who opened the charts so long ago."""
    now = datetime.now(UTC) - ago
    browser, whose = clinic.administrator, held(clinic, ADMINISTRATOR)
    actor = Actor(ADMINISTRATOR.name, ADMINISTRATOR.role, whose.id)
    with writing(clinic.app.state.engine) as session:
        open_emergency_access(session, WHY, actor=actor, now=now)
    return browser


def reasons(clinic: Clinic) -> list[str]:
    """Every reason that was given."""
    with reading(clinic.app.state.engine) as session:
        return [row.reason for row in session.exec(select(EmergencyAccessRow))]


def looks(rows: list[AuditRow]) -> list[tuple[str, bool]]:
    """What was done, and whether it is marked as seen in an emergency."""
    return [(row.action, IN_EMERGENCY in json.loads(row.detail)) for row in rows]


def test_a_reason_opens_the_charts_for_an_hour(clinic: Clinic) -> None:
    """Before it not one page of a patient opens; after it each does, and says until when."""
    exam_id, administrator = clinic.new_exam(), clinic.administrator
    shut = [administrator.get(path).status_code for path in paths(clinic, exam_id)]
    answer = administrator.client.post("/emergency-access", data={"reason": f" {WHY} "})
    with reading(clinic.app.state.engine) as session:
        row = session.exec(select(EmergencyAccessRow)).one()

    assert {403} == set(shut)
    assert (303, "/") == (answer.status_code, answer.headers["location"])
    assert (WHY, HOUR) == (row.reason, row.until - row.at)
    for path in paths(clinic, exam_id):
        assert administrator.get(path).status_code in (200, 204), path
    until = f"{local(row.until):%H:%M}"
    for path in ("/", f"/exams/{exam_id}", "/emergency-access"):
        assert f"until {until}" in re.sub(r"\d\d-\w{3}-\d{4} ", "", administrator.get(path).text)


def test_the_list_and_the_search_name_patients_to_be_opened(clinic: Clinic) -> None:
    """Nobody knows the address of a chart; nothing on the way asks to write."""
    exam_id = clinic.new_exam()
    administrator = opened(clinic)
    listed = administrator.get("/")
    found = administrator.client.post("/", data={"search": PERSON["family_name"][:4]})
    patient = re.search(r'href="(/patients/[0-9a-f]{32})"', found.text)
    assert patient
    card, sheet = administrator.get(patient[1]), administrator.get(f"/exams/{exam_id}")

    assert f"/exams/{exam_id}" in listed.text
    assert f"/exams/{exam_id}" in card.text
    for page in (listed, found, card):
        assert PERSON["chart_number"] in page.text
        assert "New patient</a>" not in page.text
        assert "Start the exam" not in page.text
    assert not re.search(r'name="(value\.|medicines|normal)', sheet.text)
    assert "New patient</a>" in clinic.nurse.get("/").text
    assert "Start the exam" in clinic.nurse.get(patient[1]).text


def test_each_look_is_marked_and_told_as_such(clinic: Clinic) -> None:
    """Whoever reads the audit sees at once what was seen beyond a role, by whom and why."""
    exam_id = clinic.new_exam()
    administrator = opened(clinic)
    before = len(audit_rows(clinic.app))
    for path in paths(clinic, exam_id):
        administrator.get(path)
    administrator.client.post("/", data={"search": "lind"})
    clinic.nurse.get(f"/exams/{exam_id}")
    rows = audit_rows(clinic.app)[before:]
    told = lines(asked(clinic))

    assert [
        ("worklist", True), ("read", True), ("read", True), ("read", True), ("note", True),
        ("print", True), ("search", True), ("sign_in", False), ("read", False),
    ] == looks(rows)  # fmt: skip
    marked = [each for each in told if "under emergency access" in each["what"]]
    assert 7 == len(marked)
    assert {f"{ADMINISTRATOR.name} administrator"} == {each["who"] for each in marked}
    assert f"opened charts in an emergency {WHY}" in {each["what"] for each in told}


@pytest.mark.parametrize(
    ("typed", "says"),
    [
        ("", "The reason is missing"),
        (" . ", "The reason has no letter or digit"),
        ("x" * 501, "The reason is longer than 500 characters"),
        ("a\x1bb", "The reason holds a character that cannot be kept"),
    ],
)
def test_without_a_reason_it_stays_shut(clinic: Clinic, typed: str, says: str) -> None:
    """Said beside the field and above, with what was typed."""
    administrator = clinic.administrator
    answer = administrator.client.post("/emergency-access", data={"reason": typed})
    text = unescape(answer.text)

    assert 422 == answer.status_code
    assert 2 == text.count(says)
    assert 'href="#reason"' in text
    assert not typed.isalpha() or f'value="{typed}"' in text
    assert [] == reasons(clinic)
    assert 403 == administrator.get("/").status_code


def test_after_the_hour_it_is_shut_again(clinic: Clinic) -> None:
    """The pages that were open show nothing new, and the refusal says how to go on."""
    exam_id = clinic.new_exam()
    administrator = opened(clinic, ago=HOUR)
    answer = administrator.get(f"/exams/{exam_id}")

    assert [WHY] == reasons(clinic)
    assert {403} == {administrator.get(path).status_code for path in paths(clinic, exam_id)}
    assert 'href="/emergency-access"' in answer.text
    assert "Emergency access until" not in administrator.get("/admin/accounts").text
    assert PERSON["family_name"].upper() not in answer.text


def test_a_minute_before_the_hour_is_over_it_is_open(clinic: Clinic) -> None:
    """So that the test above is one of the hour."""
    exam_id = clinic.new_exam()

    assert (
        200 == opened(clinic, ago=HOUR - timedelta(minutes=1)).get(f"/exams/{exam_id}").status_code
    )


@pytest.mark.parametrize(
    ("path", "then", "why"),
    [
        ("/emergency-access/end", "/emergency-access?done=ended", "not needed any more"),
        ("/sign-out", "/sign-in", "signed out"),
        ("/switch", "/sign-in", "signed out"),
    ],
)
def test_whoever_opened_it_ends_it_and_signing_out_does(
    clinic: Clinic, path: str, then: str, why: str
) -> None:
    """Nothing stays open behind somebody who has gone; the same person says why once more."""
    exam_id = clinic.new_exam()
    administrator = opened(clinic)
    assert 'action="/emergency-access/end"' in administrator.get(f"/exams/{exam_id}").text
    ended = administrator.client.post(path, data={"left_out": "yes"})
    again = clinic.other_browser(ADMINISTRATOR)
    told = lines(again.get("/admin/audit"))

    assert (303, then) == (ended.status_code, ended.headers["location"])
    assert 403 == again.get(f"/exams/{exam_id}").status_code
    assert 'action="/emergency-access/end"' not in again.get("/emergency-access").text
    assert "Emergency access is ended" in again.get("/emergency-access?done=ended").text
    assert f"ended emergency access {why}" in {each["what"] for each in told}


def test_who_becomes_a_physician_within_the_hour_reads_as_one(clinic: Clinic) -> None:
    """Their role opens the charts now; a mark would say that it was an emergency."""
    exam_id = clinic.new_exam()
    assert 303 == save(clinic, PHYSICIAN, role="administrator").status_code
    opened(clinic)
    other = clinic.other_browser(PHYSICIAN)
    form = {"printed_name": ADMINISTRATOR.name, "role": "physician", "is_active": "yes"}
    path = page_of(clinic, ADMINISTRATOR)
    assert 303 == other.client.post(path, data=form | seen(clinic, ADMINISTRATOR)).status_code
    before = len(audit_rows(clinic.app))
    again = clinic.other_browser(ADMINISTRATOR).get(f"/exams/{exam_id}")

    assert 200 == again.status_code
    assert "Emergency access until" not in again.text
    assert [("sign_in", False), ("read", False)] == looks(audit_rows(clinic.app)[before:])


def test_it_never_lets_anybody_write(clinic: Clinic) -> None:
    """Not into the chart, not beside it, and an emergency stays unseen by a physician."""
    exam_id = clinic.new_exam()
    clinic.cell(exam_id, "drift", "left", "2")
    clinic.nurse.cell(exam_id, "hx_onset", "", "sudden")
    administrator = opened(clinic)
    patient_id = clinic.stored(exam_id).patient.id
    before, anything = kept(clinic.app), {"revision": "2", "station": "rest"}
    refused = [
        administrator.cell(exam_id, "turn_en_bloc", "", "true").status_code,
        administrator.sheet(exam_id, {"value.hx_years": "2"}).status_code,
        administrator.new_patient(chart_number="HC-9").status_code,
        administrator.client.post(f"/patients/{patient_id}", data={"reason": "x"}).status_code,
        *(
            administrator.client.post(f"/exams/{exam_id}/{act}", data=anything).status_code
            for act in ("normal", "medicines", "ready", "review", "sign", "amend")
        ),
    ]
    administrator.get(f"/exams/{exam_id}")
    with reading(clinic.app.state.engine) as session:
        seen_by = session.exec(select(AlertRow.seen_by)).one()

    assert {403} == set(refused), refused
    assert before == kept(clinic.app)
    assert seen_by is None


def test_nobody_else_has_it(clinic: Clinic) -> None:
    """A nurse and a physician open every chart already; to them it is no way to anything."""
    for browser in (clinic.nurse, clinic.physician):
        refused = browser.client.post("/emergency-access", data={"reason": WHY})

        assert 403 == refused.status_code
    assert [] == reasons(clinic)
    assert clinic.member == PHYSICIAN


def test_it_is_one_persons_and_not_one_browsers(clinic: Clinic) -> None:
    """Another administrator says why for themselves; the same one has it wherever they are."""
    exam_id = clinic.new_exam()
    administrator = opened(clinic)
    assert 303 == save(clinic, PHYSICIAN, role="administrator").status_code
    other = clinic.other_browser(PHYSICIAN)

    assert 200 == administrator.get(f"/exams/{exam_id}").status_code
    assert 200 == clinic.other_browser(ADMINISTRATOR).get(f"/exams/{exam_id}").status_code
    assert 403 == other.get(f"/exams/{exam_id}").status_code


def test_a_page_that_asks_by_itself_does_not_fill_the_audit(clinic: Clinic) -> None:
    """A list that was left open asks every few seconds, also once the hour is over."""
    exam_id = clinic.new_exam()
    administrator = opened(clinic, ago=HOUR)
    before = len(audit_rows(clinic.app))
    for path in ("/updates", f"/exams/{exam_id}/updates?since=0"):
        assert 403 == administrator.get(path).status_code

    assert before == len(audit_rows(clinic.app))
