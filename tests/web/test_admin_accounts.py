"""Accounts as an administrator keeps them: who gets in, in which role, and who no longer does."""

import json
import re
from collections.abc import Mapping
from datetime import UTC, datetime
from html import unescape
from typing import Any

import pytest

from app.people.second_factor import new_secret
from app.store.accounts import Account, account_named
from app.store.actor import PROGRAM
from app.store.engine import reading, writing
from app.store.proofs import set_second_factor
from tests.web.clinic import ADMINISTRATOR, NURSE, PHYSICIAN, Clinic, Member
from tests.web.tables import audit_rows, kept

NEW = {"sign_in_name": "j.hollis", "printed_name": "Dr J. Hollis", "role": "physician"}
HOLLIS = Member(NEW["sign_in_name"], NEW["printed_name"], NEW["role"])
LONG = "nine grey geese beside a mill"
CODE = re.compile(r'<p class="code">([^<]+)</p>')


def held(clinic: Clinic, member: Member) -> Account:
    """The account as it is kept."""
    with reading(clinic.app.state.engine) as session:
        found = account_named(session, member.sign_in_name)
    assert found
    return found


def page_of(clinic: Clinic, member: Member) -> str:
    """The address of somebody's account."""
    return f"/admin/accounts/{held(clinic, member).id}"


def seen(clinic: Clinic, member: Member) -> dict[str, str]:
    """The revision of somebody's account, as the page shows it now."""
    return {"revision": str(held(clinic, member).revision)}


def save(clinic: Clinic, member: Member, **changed: str) -> Any:
    """Save somebody's account with some fields changed; `is_active=""` takes the tick away."""
    form = seen(clinic, member) | {
        "printed_name": member.name, "role": member.role, "is_active": "yes"
    } | changed  # fmt: skip
    sent = {name: value for name, value in form.items() if (name, value) != ("is_active", "")}
    return clinic.administrator.client.post(page_of(clinic, member), data=sent)


def last_act(clinic: Clinic) -> tuple[str, str, Mapping[str, Any]]:
    """The newest row of the audit: what, by whom, and the facts."""
    row = audit_rows(clinic.app)[-1]
    return row.action, row.name, json.loads(row.detail)


# ---- the rooms are the administrator's


@pytest.mark.parametrize(
    "path",
    ["/admin/accounts", "/admin/clinic", "/admin/audit", "/admin/audit/verify",
     "/admin/export",
     "/emergency-access"],
)  # fmt: skip
def test_the_rooms_open_for_an_administrator_and_for_nobody_else(clinic: Clinic, path: str) -> None:
    """Who is refused is told what to do, and that they tried stands in the audit."""
    assert 200 == clinic.administrator.get(path).status_code
    for browser, who in ((clinic.nurse, NURSE), (clinic.physician, PHYSICIAN)):
        before = len(audit_rows(clinic.app))
        answer = browser.get(path)
        rows = audit_rows(clinic.app)[before:]

        assert 403 == answer.status_code
        assert "Somebody in the role that it belongs to can do it" in answer.text
        assert [("refused", who.name)] == [(row.action, row.name) for row in rows]
        assert {"method": "GET", "route": path, "status": 403} == json.loads(rows[0].detail)


def test_one_account_opens_for_an_administrator_and_for_nobody_else(clinic: Clinic) -> None:
    """Nor for the person whose account it is."""
    path = page_of(clinic, NURSE)

    assert f"Account of {NURSE.name}" in clinic.administrator.get(path).text
    assert 403 == clinic.nurse.get(path).status_code
    assert 404 == clinic.administrator.get("/admin/accounts/nobody").status_code


# ---- somebody new


def test_a_new_person_gets_in_with_a_code_that_is_shown_once(clinic: Clinic) -> None:
    """From the form to the first page of their role; nobody but they knows the password."""
    made = clinic.administrator.client.post("/admin/accounts", data=NEW)
    code = CODE.search(made.text)
    assert (200, True) == (made.status_code, code is not None), made.text
    assert code
    listed, one = clinic.administrator.get("/admin/accounts"), page_of(clinic, HOLLIS)
    assert HOLLIS.name in listed.text
    for later in (listed, clinic.administrator.get(one)):
        assert code[1] not in later.text
        assert "no password yet" in later.text
    assert code[1] not in repr(audit_rows(clinic.app))

    browser = clinic.other_browser(None)
    chosen = browser.post_form("/invited", {"code": code[1], "password": LONG, "again": LONG})
    assert (303, "/") == (chosen.status_code, chosen.headers["location"])
    assert f"{HOLLIS.name} " in browser.get("/").text
    assert 403 == browser.get("/admin/accounts").status_code
    again = clinic.other_browser(None).sign_in(HOLLIS, password=LONG)
    assert 303 == again.status_code
    assert "password alone" in clinic.administrator.get(one).text


def test_a_new_code_takes_the_place_of_the_old_one(clinic: Clinic) -> None:
    """A code that went to the wrong person is worth nothing once there is another."""
    path = page_of(clinic, NURSE)
    codes = []
    for _ in range(2):
        answer = clinic.administrator.client.post(f"{path}/code", data=seen(clinic, NURSE))
        found = CODE.search(answer.text)
        assert found, answer.text
        codes.append(found[1])
    forms = [{"code": code, "password": LONG, "again": LONG} for code in codes]
    answers = [clinic.other_browser(None).post_form("/invited", form) for form in forms]

    assert [422, 303] == [answer.status_code for answer in answers]


@pytest.mark.parametrize(
    ("field", "typed", "says"),
    [
        ("sign_in_name", "", "The sign-in name is missing"),
        ("sign_in_name", "j hollis", "The sign-in name has a space in it"),
        ("sign_in_name", "R.OKAFOR", "This sign-in name is taken"),
        ("sign_in_name", "demo-j", "Names that begin with demo- are for the demonstration"),
        ("sign_in_name", "x" * 101, "The sign-in name is longer than 100 characters"),
        ("printed_name", " ", "The name is missing"),
        ("printed_name", "J.\x00Hollis", "The name holds a character that cannot be kept"),
        ("role", "", "Choose one of nurse, physician, administrator"),
        ("role", "surgeon", "Choose one of nurse, physician, administrator"),
    ],
)
def test_a_fault_in_a_new_account_is_told_beside_its_field(
    clinic: Clinic, field: str, typed: str, says: str
) -> None:
    """And above, with everything that was typed; nothing is made."""
    before, form = kept(clinic.app), NEW | {field: typed}
    answer = clinic.administrator.client.post("/admin/accounts", data=form)
    text = unescape(answer.text)

    assert 422 == answer.status_code
    assert "<title>Error: Accounts" in text
    assert 2 == text.count(says), says
    assert f'href="#{field}"' in text
    assert f'id="{field}-fault"' in text
    for name in {"sign_in_name", "printed_name"} - {field}:
        assert f'value="{NEW[name]}"' in text
    if field != "role":
        assert re.search(r'value="physician"\s+checked', text)
    assert CODE.search(text) is None
    assert before == kept(clinic.app)


def test_every_fault_of_an_account_is_said_at_once(clinic: Clinic) -> None:
    """In the order in which the fields stand."""
    answer = clinic.administrator.client.post("/admin/accounts", data={"role": ""})

    assert 422 == answer.status_code
    assert ["printed_name", "sign_in_name", "role"] == re.findall(
        r'<li><a href="#(\w+)">', answer.text
    )


# ---- changes


def test_who_is_closed_is_out_at_once_and_opened_again_signs_in_anew(clinic: Clinic) -> None:
    """Somebody who has left must not go on reading in a browser that was left open."""
    nurse = clinic.nurse
    assert 200 == nurse.get("/").status_code
    assert 303 == save(clinic, NURSE, is_active="").status_code
    told = last_act(clinic)

    assert 401 == nurse.get("/").status_code
    assert 401 == clinic.other_browser(None).sign_in(NURSE).status_code
    account = {"account": held(clinic, NURSE).id}
    assert ("change_account", ADMINISTRATOR.name, account | {"is_active": False}) == told
    assert "closed" in clinic.administrator.get(page_of(clinic, NURSE)).text
    assert 303 == save(clinic, NURSE).status_code
    assert 401 == nurse.get("/").status_code
    assert 303 == clinic.other_browser(None).sign_in(NURSE).status_code


def test_a_new_name_and_role_hold_from_the_next_sign_in(clinic: Clinic) -> None:
    """What was recorded under the old ones stays under them."""
    exam_id = clinic.nurse.new_exam()
    assert 303 == clinic.nurse.sheet(exam_id, {"value.hx_years": "2"}).status_code
    changed = save(clinic, NURSE, printed_name="Dr R. Okafor", role="physician")
    told = last_act(clinic)
    assert 303 == changed.status_code
    assert "The account is changed" in clinic.administrator.get(changed.headers["location"]).text

    assert 401 == clinic.nurse.get("/").status_code
    again = clinic.other_browser(None)
    assert 303 == again.sign_in(NURSE).status_code
    assert "Dr R. Okafor <span" in again.get("/").text
    assert 200 == again.get(f"/exams/{exam_id}/review").status_code
    assert {NURSE.name} == {entry.by for entry in clinic.entries(exam_id)}
    action, by, facts = told
    assert ("change_account", ADMINISTRATOR.name) == (action, by)
    account = held(clinic, NURSE).id
    assert {"account": account, "printed_name": "Dr R. Okafor", "role": "physician"} == facts


def test_saving_an_account_as_it_stands_changes_nothing(clinic: Clinic) -> None:
    """A press on Save signs nobody out, and is no act."""
    nurse, before = clinic.nurse, kept(clinic.app)
    acts = len(audit_rows(clinic.app))
    assert 303 == save(clinic, NURSE).status_code

    assert before == kept(clinic.app)
    assert acts + 1 == len(audit_rows(clinic.app))  # the sign-in of the administrator
    assert 200 == nurse.get("/").status_code


@pytest.mark.parametrize(
    ("changed", "field"),
    [
        ({"role": "physician"}, "role"),
        ({"is_active": ""}, "is_active"),
        ({"role": "nurse", "is_active": ""}, "is_active"),
    ],
)
def test_the_last_administrator_stays_one(
    clinic: Clinic, changed: dict[str, str], field: str
) -> None:
    """Otherwise nobody could let anybody in any more; with a second one it goes."""
    before = kept(clinic.app)
    answer = save(clinic, ADMINISTRATOR, **changed)
    text = unescape(answer.text)

    assert 422 == answer.status_code
    assert 2 == text.count("This is the last administrator who can sign in: appoint another one")
    assert f'href="#{field}"' in text
    assert before == kept(clinic.app)
    assert 200 == clinic.administrator.get("/admin/accounts").status_code
    assert 303 == save(clinic, PHYSICIAN, role="administrator").status_code
    assert 303 == save(clinic, ADMINISTRATOR, **changed).status_code


def test_an_administrator_who_has_no_password_yet_does_not_count(clinic: Clinic) -> None:
    """They may never come."""
    another = NEW | {"role": "administrator"}
    assert 200 == clinic.administrator.client.post("/admin/accounts", data=another).status_code

    assert 422 == save(clinic, ADMINISTRATOR, role="nurse").status_code


@pytest.mark.parametrize(
    ("field", "typed", "says"),
    [
        ("printed_name", "", "The name is missing"),
        ("role", "surgeon", "Choose one of nurse, physician, administrator"),
    ],
)
def test_a_fault_in_a_change_is_told_beside_its_field(
    clinic: Clinic, field: str, typed: str, says: str
) -> None:
    """With what was typed; nothing is changed, and nobody signed out."""
    nurse, before = clinic.nurse, kept(clinic.app)
    changed = {"printed_name": "R. Okafor-Lund", "is_active": ""} | {field: typed}
    answer = save(clinic, NURSE, **changed)
    text = unescape(answer.text)

    assert 422 == answer.status_code
    assert 2 == text.count(says), says
    assert f'href="#{field}"' in text
    assert f"Account of {NURSE.name}" in text
    assert ("R. Okafor-Lund" in text) is (field != "printed_name")
    assert re.search(r'name="is_active"\s+type="checkbox"\s+value="yes"\s+aria', text)
    assert before == kept(clinic.app)
    assert 200 == nurse.get("/").status_code


def test_a_lost_authenticator_is_taken_off_and_the_password_lets_in_alone(clinic: Clinic) -> None:
    """The administrator never learns the secret, nor the password."""
    path, secret = page_of(clinic, NURSE), new_secret()
    assert "Take the second factor away" not in clinic.administrator.get(path).text
    with writing(clinic.app.state.engine) as session:
        account_id = held(clinic, NURSE).id
        set_second_factor(
            session, account_id, secret, at_revision=None, actor=PROGRAM, now=datetime.now(UTC)
        )
    shown = clinic.administrator.get(path).text
    assert "Take the second factor away" in shown
    assert secret not in shown
    assert 401 == clinic.other_browser(None).sign_in(NURSE).status_code
    off = clinic.administrator.client.post(f"{path}/second-factor/off", data=seen(clinic, NURSE))
    told = last_act(clinic)

    assert 303 == off.status_code
    assert "second factor is taken away" in clinic.administrator.get(off.headers["location"]).text
    assert ("second_factor", ADMINISTRATOR.name) == told[:2]
    assert {"account": account_id, "is_set": False} == told[2]
    assert 303 == clinic.other_browser(None).sign_in(NURSE).status_code


def test_what_is_written_in_a_name_is_only_text(clinic: Clinic) -> None:
    """Whoever is named so runs nothing in the administrator's browser."""
    name = "<script>alert(1)</script>"
    assert 303 == save(clinic, NURSE, printed_name=name).status_code
    for path in ("/admin/accounts", page_of(clinic, NURSE), "/admin/audit"):
        text = clinic.administrator.get(path).text

        assert name not in text
        assert "&lt;script&gt;alert(1)" in text


# ---- two administrators


def test_a_stale_form_of_an_account_overwrites_nobody(clinic: Clinic) -> None:
    """Both values stand beside the field, what was typed is kept, and the refusal is told."""
    old, path = seen(clinic, NURSE), page_of(clinic, NURSE)
    assert f'name="revision" value="{old["revision"]}"' in clinic.administrator.get(path).text
    assert 303 == save(clinic, NURSE, role="physician").status_code
    before, acts = kept(clinic.app), len(audit_rows(clinic.app))
    answer = save(clinic, NURSE, printed_name="R. Okafor-Lund", **old)
    text = unescape(answer.text)

    assert 409 == answer.status_code
    assert f"Here it says “{NURSE.name}” now. Yours, “R. Okafor-Lund”, is not saved" in text
    assert "Here it says “physician” now. Yours, “nurse”, is not saved" in text
    assert 'href="#role"' in text
    assert 'id="is_active-fault"' not in text
    assert 'value="R. Okafor-Lund"' in text
    assert before == kept(clinic.app)
    route = {"method": "POST", "route": "/admin/accounts/{account_id}", "status": 409}
    assert acts + 1 == len(audit_rows(clinic.app))
    assert ("refused", ADMINISTRATOR.name, route) == last_act(clinic)
    new = re.search(r'name="revision" value="(\d+)"', text)
    assert new
    again = save(clinic, NURSE, printed_name="R. Okafor-Lund", revision=new[1])
    assert 303 == again.status_code
    assert "nurse" == held(clinic, NURSE).role


@pytest.mark.parametrize(
    ("act", "says"),
    [("code", "No code was made"), ("second-factor/off", "Nothing was taken away")],
)
def test_a_press_on_a_stale_page_of_an_account_does_nothing(
    clinic: Clinic, act: str, says: str
) -> None:
    """It would void the code that another administrator has just given to the person."""
    path, old = page_of(clinic, NURSE), seen(clinic, NURSE)
    made = clinic.administrator.client.post(f"{path}/code", data=old)
    code = CODE.search(made.text)
    assert code
    before = kept(clinic.app)
    answer = clinic.administrator.client.post(f"{path}/{act}", data=old)

    assert 409 == answer.status_code
    assert f"This account was changed meanwhile, and is shown as it stands now. {says}" in (
        answer.text
    )
    assert before == kept(clinic.app)
    assert ("refused", 409) == (last_act(clinic)[0], last_act(clinic)[2]["status"])
    form = {"code": code[1], "password": LONG, "again": LONG}
    assert 303 == clinic.other_browser(None).post_form("/invited", form).status_code


def test_a_form_of_an_account_without_its_revision_is_refused(clinic: Clinic) -> None:
    """What somebody saw when they pressed would be anybody's guess."""
    path, before = page_of(clinic, NURSE), kept(clinic.app)
    for act in ("", "/code", "/second-factor/off"):
        answer = clinic.administrator.client.post(path + act, data={"role": "physician"})

        assert 422 == answer.status_code
        assert "load the page again" in answer.text
    assert before == kept(clinic.app)
