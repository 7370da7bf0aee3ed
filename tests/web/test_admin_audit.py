"""The audit as an administrator reads it: who saw which chart, and whether anything was altered."""

import re
from datetime import UTC, datetime
from html import unescape
from typing import Any

import pytest
from sqlalchemy import text

from app.report.phrases import day
from app.store.actor import Actor
from app.store.audit import Head, head, note
from app.store.audit_list import MOST_LISTED
from app.store.engine import reading, writing
from app.store.verify import verify
from app.web.audit_words import ACTIONS
from app.web.wording import local
from tests.store.test_audit import unguarded
from tests.store.test_migrations import changing
from tests.web.clinic import ADMINISTRATOR, NURSE, PERSON, PHYSICIAN, Clinic
from tests.web.tables import audit_rows
from tests.web.test_admin_accounts import held, seen

AUDIT, VERIFY = "/admin/audit", "/admin/audit/verify"
NEWEST_ROW = re.compile(r'<tbody>\s*<tr>\s*<td class="whole">(\d+)</td>')


def lines(answer: Any) -> list[dict[str, str]]:
    """The rows of the page: number, when, who, what, chart, source, each as its words."""
    names = ("number", "when", "who", "what", "chart", "source")
    rows = re.findall(r"<tr>(.*?)</tr>", answer.text, re.DOTALL)
    cells = [re.findall(r"<td[^>]*>(.*?)</td>", row, re.DOTALL) for row in rows]
    return [dict(zip(names, map(words, row), strict=True)) for row in cells if row]


def words(html: str) -> str:
    """What is read of a piece of a page."""
    return " ".join(unescape(re.sub(r"<[^>]+>", " ", html)).split())


def asked(clinic: Clinic, **form: str) -> Any:
    """The audit, asked for as its form does."""
    form = {"account": "", "action": "", "chart_number": ""} | form
    return clinic.administrator.client.post(AUDIT, data=form)


def checked(clinic: Clinic, heads: str = "") -> Any:
    """Everything checked, against these heads."""
    return clinic.administrator.client.post(VERIFY, data={"heads": heads})


def tampered(clinic: Clinic, statement: str) -> None:
    """Change the audit as somebody could who owns the database."""
    engine = clinic.app.state.engine
    with changing(engine) as connection:
        for each in (*unguarded(engine, "audit"), statement):
            connection.execute(text(each))


def newest(clinic: Clinic) -> Head:
    """The head of the chain now."""
    with reading(clinic.app.state.engine) as session:
        return head(session)


def test_who_saw_which_chart_is_found_by_its_number(clinic: Clinic) -> None:
    """Reading counts as much as writing; another patient's rows are not among them."""
    exam_id = clinic.new_exam()
    clinic.new_exam(chart_number="HC-9")
    clinic.nurse.get(f"/exams/{exam_id}")
    clinic.colleague.get(f"/exams/{exam_id}/note")
    found = lines(asked(clinic, chart_number=" hc-2041 "))

    assert [
        ("Dr A. Reyes physician", "opened a note revision 0"),
        ("R. Okafor nurse", "opened a chart"),
        ("Dr I. Brandt physician", "started an exam"),
        ("Dr I. Brandt physician", "added a patient"),
    ] == [(line["who"], line["what"]) for line in found]
    assert {f"HC-2041 exam {exam_id[:8]}", "HC-2041"} == {line["chart"] for line in found}
    row = next(row for row in audit_rows(clinic.app) if row.action == "note")
    at = local(row.at)
    assert (str(row.number), f"{day(at)} {at:%H:%M:%S}", "testclient") == (
        found[0]["number"], found[0]["when"], found[0]["source"],
    )  # fmt: skip


def test_it_is_asked_by_person_and_by_what_they_did(clinic: Clinic) -> None:
    """And by both together with a chart number."""
    first, other = clinic.new_exam(), clinic.new_exam(chart_number="HC-9")
    for exam_id in (first, other):
        clinic.nurse.get(f"/exams/{exam_id}")
        clinic.get(f"/exams/{exam_id}")
    nurse = held(clinic, NURSE).id

    by_nurse = lines(asked(clinic, account=nurse))
    reads = lines(asked(clinic, action="read"))
    both = asked(clinic, account=nurse, action="read", chart_number="HC-9")
    assert ["opened a chart", "opened a chart", "signed in"] == [each["what"] for each in by_nurse]
    assert [PHYSICIAN.name, NURSE.name] * 2 == [each["who"].rpartition(" ")[0] for each in reads]
    assert [("HC-9", "R. Okafor nurse")] == [
        (each["chart"].partition(" ")[0], each["who"]) for each in lines(both)
    ]
    # What was asked for stands in the form again.
    assert re.search(rf'value="{nurse}"\s+selected', both.text)
    assert re.search(r'value="read"\s+selected', both.text)
    assert 'value="HC-9"' in both.text


def test_older_rows_follow_page_by_page_and_none_is_lost(clinic: Clinic) -> None:
    """Each row once, the newest first, down to the very first; and back to the newest."""
    clinic.administrator.get(AUDIT)
    with writing(clinic.app.state.engine) as session:
        for _ in range(MOST_LISTED):
            note(session, Actor("Somebody", "nurse"), "read", at=datetime.now(UTC))
    total, seen = len(audit_rows(clinic.app)), []
    answer = clinic.administrator.get(AUDIT)
    assert ">Newest</button>" not in answer.text
    while True:
        seen += [int(line["number"]) for line in lines(answer)]
        older = re.search(r'name="before"\s+value="(\d+)"', answer.text)
        if older is None:
            break
        answer = asked(clinic, before=older[1])

    assert list(range(total, 0, -1)) == seen
    assert ">Newest</button>" in answer.text
    assert [total] == [int(number) for number in NEWEST_ROW.findall(asked(clinic).text)]


def test_older_rows_of_one_kind_stay_of_that_kind(clinic: Clinic) -> None:
    """The page is asked for with everything that the form says."""
    clinic.administrator.get(AUDIT)
    with writing(clinic.app.state.engine) as session:
        for number in range(2 * MOST_LISTED + 2):
            action = ("read", "print")[number % 2]
            note(session, Actor("Somebody", "nurse"), action, at=datetime.now(UTC))
    first = asked(clinic, action="print")
    older = re.search(r'name="before"\s+value="(\d+)"', first.text)
    assert older
    rest = asked(clinic, action="print", before=older[1])

    assert MOST_LISTED == len(lines(first))
    assert ["made or fetched a PDF"] == [line["what"] for line in lines(rest)]


@pytest.mark.parametrize("before", ["-1", "x", "1" * 40, "²"])
def test_a_page_that_there_cannot_be_is_the_newest(clinic: Clinic, before: str) -> None:
    """Only somebody who writes the form themselves can ask for it."""
    assert lines(asked(clinic)) == lines(asked(clinic, before=before))


def test_a_chart_number_that_nobody_has_is_told(clinic: Clinic) -> None:
    """An empty list would read as: nobody opened this chart."""
    answer = asked(clinic, chart_number="HC-404", action="read")

    assert 422 == answer.status_code
    assert 2 == answer.text.count("No patient has this chart number")
    assert 'href="#chart_number"' in answer.text
    assert 'value="HC-404"' in answer.text
    assert re.search(r'value="read"\s+selected', answer.text)
    assert [] == lines(answer)
    assert "Nothing that fits" not in answer.text


def test_no_patient_is_named_and_no_chart_number_stands_in_an_address(clinic: Clinic) -> None:
    """Addresses end up in logs, histories and proxies; a search is a form that is posted."""
    exam_id = clinic.new_exam()
    clinic.nurse.get(f"/exams/{exam_id}")
    clinic.nurse.client.post("/", data={"search": PERSON["family_name"]})
    page = asked(clinic, chart_number=PERSON["chart_number"])

    for name in (PERSON["family_name"], PERSON["given_name"], PERSON["birth_date"]):
        assert name.lower() not in page.text.lower()
        assert name.lower() not in clinic.administrator.get(AUDIT).text.lower()
    assert [] == re.findall(r'(?:href|action|src)="[^"]*HC-[^"]*"', page.text)
    forms = re.findall(r"<form[^>]*>", page.text)
    assert [AUDIT] == [AUDIT for form in forms if f'action="{AUDIT}"' in form and "post" in form]
    # An address with a number in it asks for nothing.
    assert lines(clinic.administrator.get(AUDIT)) == lines(
        clinic.administrator.get(f"{AUDIT}?chart_number=HC-404&action=read")
    )


def test_every_act_that_was_noted_is_told_in_words(clinic: Clinic) -> None:
    """The program's own short words are no sentence, and an account's id is nobody's name."""
    exam_id = clinic.new_exam()
    clinic.cell(exam_id, "rest_tremor_hand", "right", "2")
    path = f"/admin/accounts/{held(clinic, NURSE).id}"
    clinic.administrator.client.post(f"{path}/code", data=seen(clinic, NURSE))
    clinic.administrator.client.post(
        "/admin/clinic", data={"name": "Quay Practice", "revision": "0"}
    )
    clinic.other_browser(None).sign_in(NURSE, password="wrong")
    clinic.nurse.get(AUDIT)
    shown = {line["what"] for line in lines(clinic.administrator.get(AUDIT))}

    assert {row.action for row in audit_rows(clinic.app)} <= set(ACTIONS)
    assert {
        f"made a code {NURSE.name}",
        "changed the clinic’s settings name",
        "recorded entries 1, revision 1",
        "was refused GET, /admin/audit, answer 403",
        "was not let in for sign_in, the name, the password or the code was not right",
    } <= shown, shown


# ---- whether anything was altered


def test_a_whole_chain_is_said_to_be_whole(clinic: Clinic) -> None:
    """With the head, to be kept elsewhere; that it was checked stands in the audit, too."""
    clinic.new_exam()
    assert "Nothing was altered" not in clinic.administrator.get(VERIFY).text
    now = newest(clinic)
    answer = checked(clinic, f"\n {now} \n")
    last = audit_rows(clinic.app)[-1]

    assert 200 == answer.status_code
    assert f"{now.number} acts and the " in answer.text
    assert "Nothing was altered." in answer.text
    assert f"Head {now}" in answer.text
    assert ("verify", ADMINISTRATOR.name) == (last.action, last.name)


def test_a_row_that_was_changed_is_named(clinic: Clinic) -> None:
    """The very row, by its number."""
    clinic.new_exam()
    number = newest(clinic).number
    clinic.nurse.get("/me")
    tampered(clinic, f"UPDATE audit SET name = 'Nobody' WHERE number = {number}")
    answer = checked(clinic)

    assert "Altered places: 1." in answer.text
    assert f"<li>audit row {number}: altered</li>" in answer.text


def test_a_tail_that_was_cut_off_is_named_by_a_head_on_paper(clinic: Clinic) -> None:
    """The chain that is left is whole in itself; only the paper knows of the rest."""
    exam_id = clinic.new_exam()
    clinic.administrator.get(AUDIT)
    kept_until = newest(clinic)
    clinic.get(f"/exams/{exam_id}")
    clinic.get(f"/exams/{exam_id}/note")
    paper = newest(clinic)
    tampered(clinic, f"DELETE FROM audit WHERE number > {kept_until.number}")
    with reading(clinic.app.state.engine) as session:
        assert () == verify(session).alterations
    answer = checked(clinic, f"{kept_until}\n{paper}")
    cut = f"audit rows {kept_until.number + 1} to {paper.number}"

    assert f"<li>{cut}: cut off: a signed page names {paper}</li>" in answer.text
    assert "Altered places: 1." in answer.text


@pytest.mark.parametrize(
    ("typed", "says"),
    [
        ("nine", "Line 1 of the heads: a head begins with the number of its row, as in 412:9f86…"),
        ("\n4:12", "Line 2 of the heads: a head ends with a hash of 64 digits 0 to 9 and a to f"),
    ],
)
def test_a_head_that_is_none_is_told_and_nothing_is_checked(
    clinic: Clinic, typed: str, says: str
) -> None:
    """A mistyped head must not pass for one that agrees."""
    answer = checked(clinic, typed)
    shown = unescape(answer.text)

    assert 422 == answer.status_code
    assert 2 == shown.count(says)
    assert 'href="#heads"' in shown
    assert f"{typed.strip()}</textarea>" in shown
    assert "Nothing was altered" not in shown
    assert "verify" not in {row.action for row in audit_rows(clinic.app)}


def test_only_an_administrator_checks(clinic: Clinic) -> None:
    """And a refused try is an act of its own."""
    for browser in (clinic.nurse, clinic.physician):
        assert 403 == browser.client.post(VERIFY, data={"heads": ""}).status_code
        assert 403 == browser.client.post(AUDIT, data={"action": "read"}).status_code
    actions = [row.action for row in audit_rows(clinic.app)]

    assert (4, 0) == (actions.count("refused"), actions.count("verify"))
