"""What somebody with an account might send on purpose: markup, fields of others, fields twice."""

import json
import re
import subprocess
import sys
from collections.abc import Iterator
from typing import Any

import pytest

from app.settings import ROOT
from app.store.accounts import account_named
from app.store.engine import reading
from tests.web.clinic import HTMX, NURSE, PERSON, PHYSICIAN, Clinic
from tests.web.tables import addresses, audit_rows
from tests.web.test_admin_clinic import save
from tests.web.test_bad_input import FORM
from tests.web.test_on_paper import PAPER
from tests.web.test_review import TREMOR, amendment, send, settled, signed

# It breaks out of an element, an attribute and a script, and each place has a number of its own.
EVIL = "<script>evil({0})</script>'\"><img src=x onerror=evil({0})><!-- {{{{7*191}}}} -->"
FREE = ("family_name", "given_name", "reason", "examined_by")


def evil(number: int) -> str:
    """What is typed into one place."""
    return EVIL.format(number)


def poisoned(clinic: Clinic) -> str:
    """A signed and amended exam with markup in whatever takes text; its id."""
    assert 303 == save(clinic, name=evil(1)[:80], **{"pathway.short_course": evil(2)}).status_code
    typed = PAPER | {name: evil(number) for number, name in enumerate(FREE, start=3)}
    typed["chart_number"] = "<script>evil(7)</script>"
    exam_id = clinic.new_exam(**typed)
    for cell in TREMOR:
        assert 200 == clinic.cell(exam_id, *cell).status_code
    assert 200 == clinic.cell(exam_id, "rise", "", "untestable", why=evil(8)).status_code
    assert 303 == clinic.sheet(exam_id, {"medicines": evil(9)}).status_code
    who = {"initials": "SS", "impression": evil(10), "plan": evil(11)}
    form = settled(clinic, exam_id) | who
    step = next(name for name in form if name.startswith("step."))
    declined = {step: "declined", step.replace("step.", "reason."): evil(12)}
    answer = send(clinic, exam_id, form | declined)
    assert 303 == answer.status_code, answer.text
    more = amendment(clinic, exam_id, text=evil(13), reason=evil(14), initials="SS")
    answer = send(clinic, exam_id, more, "amend")
    assert 303 == answer.status_code, answer.text
    return exam_id


def answers(clinic: Clinic, exam_id: str) -> Iterator[tuple[str, Any]]:
    """Whatever can be read, by whoever may, in whole and in pieces."""
    ids = {"exam_id": exam_id, "patient_id": clinic.stored(exam_id).patient.id}
    for method, path in addresses(clinic.app, ids):
        # A PDF is read where it is made (tests/report); what is known speaks of nobody.
        if method == "GET" and not re.search("/(pdf|paper|leaflet|knowledge|practice)", path):
            is_theirs = path.startswith(("/admin", "/emergency"))
            yield path, (clinic.administrator if is_theirs else clinic).get(path)
    yield "a piece", clinic.client.get(f"/exams/{exam_id}", headers=HTMX)
    yield "a search", clinic.client.post("/", data={"search": evil(15)})
    yield "a fault", clinic.new_patient(birth_date=evil(16), sex=evil(17))
    yield "a name at the door", clinic.other_browser(None).sign_in(NURSE, sign_in_name=evil(18))
    yield "an address", clinic.get(f"/{evil(19)}")


def test_markup_that_is_typed_anywhere_is_text_wherever_it_is_read(clinic: Clinic) -> None:
    """Every page, piece, document and error, of an exam with markup in each of its texts."""
    exam_id, seen = poisoned(clinic), set[str]()
    for path, answer in answers(clinic, exam_id):
        kind = answer.headers.get("content-type", "")
        if "json" in kind:
            json.loads(answer.text)
        if kind.startswith(("text/", "application/fhir")):
            seen |= set(re.findall(r"evil\((\d+)\)", answer.text))
        if kind.startswith("text/html"):
            for opening in ("<script>", "<img", "onerror=evil(1)>", "<!-- {", "1337"):
                assert opening not in answer.text, (path, opening)

    # Or nothing would have been tried.
    assert {str(number) for number in range(2, 16)} <= seen, seen


def test_a_field_that_no_form_has_changes_nothing(clinic: Clinic) -> None:
    """Neither a role, nor a state, nor an author comes from what is sent."""
    extra = {
        "id": "0" * 32, "state": "signed", "role": "administrator", "is_active": "", "by": "Nobody",
        "recorded_by": "Nobody", "account_id": "0" * 32, "password_hash": "x", "revision_of": "9",
        "__proto__": "x", "constructor": "x", "knowledge_version": "0", "emergency_until": "9999",
    }  # fmt: skip
    nurse = clinic.nurse
    exam_id = nurse.new_exam(**extra)
    form = {"finding": "rise", "side": "", "value": "slow", "revision": "0"}
    assert 303 == nurse.client.post(f"/exams/{exam_id}/cells", data=extra | form).status_code
    nurse.client.post("/me/password", data=extra | {"password": "x"})
    held = clinic.stored(exam_id)
    with reading(clinic.app.state.engine) as session:
        account = account_named(session, NURSE.sign_in_name)

    assert exam_id != "0" * 32
    assert ("open", NURSE.name) == (held.state, clinic.entries(exam_id)[0].by)
    assert account
    assert ("nurse", True) == (account.role, account.is_active)
    assert [] == signed(clinic, exam_id)
    assert 403 == nurse.get("/admin/accounts").status_code


@pytest.mark.parametrize("path", ["/patients/new", "/exams/{id}/cells", "/exams/{id}/sign"])
def test_a_field_that_stands_twice_refuses_the_form(clinic: Clinic, path: str) -> None:
    """The first and the last would each be believed by some reader; nothing is recorded."""
    exam_id = clinic.new_exam()
    body = "value=slow&finding=rise&side=&revision=0&value=normal&family_name=A&family_name=B"
    answer = clinic.client.post(path.replace("{id}", exam_id), content=body, headers=FORM)

    assert 422 == answer.status_code
    assert "stands twice" in answer.text
    assert [] == clinic.entries(exam_id)


def test_what_stands_in_the_query_is_no_form(clinic: Clinic) -> None:
    """A link cannot carry what a form must."""
    exam_id = clinic.new_exam()
    asked = {"finding": "rise", "side": "", "value": "slow", "revision": "0"}
    answer = clinic.client.post(f"/exams/{exam_id}/cells", params=asked, data={"x": "y"})

    assert 422 == answer.status_code
    assert [] == clinic.entries(exam_id)
    token = clinic.client.headers.pop("X-Form-Token")
    assert 403 == clinic.client.post(f"/?form_token={token}", data=PERSON).status_code
    assert PHYSICIAN == clinic.member


def test_no_header_says_what_the_address_does_not(clinic: Clinic) -> None:
    """A proxy's or another framework's headers name neither a method, a place nor a person here."""
    exam_id = clinic.new_exam()
    spoofed = {
        "X-HTTP-Method-Override": "POST", "X-Method-Override": "POST", "X-Original-URL": "/me",
        "X-Rewrite-URL": "/me", "X-Forwarded-Host": "elsewhere.example", "X-Forwarded-Prefix": "/x",
        "X-Forwarded-User": "l.marsh", "Remote-User": "l.marsh", "X-Real-IP": "192.0.2.1",
        "Forwarded": "for=192.0.2.1;host=elsewhere.example", "X-Forwarded-Proto": "http",
    }  # fmt: skip
    for path in ("/", f"/exams/{exam_id}", "/admin/accounts", "/verify"):
        plain, tried = clinic.get(path), clinic.client.get(path, headers=spoofed)

        assert plain.status_code == tried.status_code
        assert "elsewhere" not in tried.text
        assert "l.marsh" not in tried.text
        assert "Strict-Transport-Security" in tried.headers
    nobody = clinic.other_browser(None)
    answer = nobody.client.get("/me", headers=spoofed)
    assert 401 == answer.status_code
    assert 405 == clinic.client.get(f"/exams/{exam_id}/cells", headers=spoofed).status_code
    assert {"testclient"} == {row.source for row in audit_rows(clinic.app)} - {"", "console"}


def test_no_pattern_runs_away_over_what_somebody_typed() -> None:
    """In a process of its own: a pattern that goes back and forth would never come to an end."""
    done = subprocess.run(
        [sys.executable, "-c", PATTERNS], cwd=ROOT, capture_output=True, timeout=120, check=True
    )

    assert int(done.stdout) >= 20


# Every pattern of the program that is loaded with it or stands in its source, over much of what it
# might stumble on.
PATTERNS = """
import ast, pathlib, re, sys
import app.main
found = {
    id(value): value
    for name, module in list(sys.modules.items()) if name.partition(".")[0] == "app"
    for value in vars(module).values() if isinstance(value, re.Pattern)
}
for file in pathlib.Path("app").rglob("*.py"):
    for node in ast.walk(ast.parse(file.read_text())):
        if isinstance(node, ast.Call) and ast.unparse(node.func).startswith("re.") and node.args:
            if isinstance(node.args[0], ast.Constant):
                made = re.compile(node.args[0].value)
                found[id(made)] = made
for pattern in found.values():
    for piece in ("a", "0", " ", "\\n", "a ", "0.", "a'", "R<", ";", "; ", "\\t=", "_", "<b>\\n"):
        text = piece * (1000 // len(piece)) + "!"
        if isinstance(pattern.pattern, str):
            pattern.fullmatch(text)
            pattern.findall(text)
print(len(found))
"""
