"""The first administrator, and whoever is given a one-time code."""

from datetime import UTC, datetime, timedelta

import pytest

from app.main import create_app
from app.people.tokens import hash_code, new_code
from app.settings import Settings
from app.store.accounts import account_named, accounts, has_accounts
from app.store.actor import PROGRAM
from app.store.engine import reading, writing
from app.store.invitations import invite
from app.web.first import first_code
from tests.web.clinic import NURSE, PASSWORD, PHYSICIAN, Clinic
from tests.web.tables import kept

LONG = "seven lanterns by the old mill"
FORM = {
    "sign_in_name": "m.okoye",
    "printed_name": "M. Okoye",
    "password": LONG,
    "again": LONG,
}
SAYS = "This code is not valid"


@pytest.fixture
def code(app_without_accounts: Clinic) -> str:
    """A code for the first administrator, made as the command makes it."""
    made = first_code(app_without_accounts.app.state.engine, again=True)
    assert made
    return made


@pytest.mark.usefixtures("without_accounts")
def test_a_new_installation_has_no_account_and_prints_one_code(
    settings: Settings, capsys: pytest.CaptureFixture[str]
) -> None:
    """No password that everybody knows; the code is seen by whoever runs the server."""
    for expected in (1, 0):
        with (
            Clinic.of(create_app(settings), None, has_members=False) as clinic,
            reading(clinic.app.state.engine) as session,
        ):
            assert not has_accounts(session)
        assert expected == capsys.readouterr().err.count("There is no account yet")


def test_a_new_installation_leads_on_from_page_to_page(
    app_without_accounts: Clinic, code: str
) -> None:
    """Whoever opens the address sees where to begin, and afterwards what to do next."""
    clinic = app_without_accounts
    asked = clinic.get("/").text
    # The console's code would be refused there.
    assert (True, False) == ('href="/first"' in asked, 'href="/invited"' in asked)
    assert 303 == clinic.post_form("/first", FORM | {"code": code}).status_code
    assert "Yours is the only account" in clinic.get("/admin/accounts").text

    invited = FORM | {"sign_in_name": "second", "role": "administrator"}
    answer = clinic.post_form("/admin/accounts", invited, page="/admin/accounts")
    assert "A code for" in answer.text
    assert "Yours is the only account" not in answer.text
    assert 'href="/first"' not in clinic.other_browser(None).get("/").text


def test_the_code_makes_one_administrator_once(app_without_accounts: Clinic, code: str) -> None:
    """Typed as a person types it; afterwards neither it nor another one works."""
    clinic = app_without_accounts
    other = first_code(clinic.app.state.engine, again=True)
    typed = f" {code.lower().replace('-', ' ')} "
    answer = clinic.post_form("/first", FORM | {"code": typed})

    assert 303 == answer.status_code, answer.text
    assert "M. Okoye" in clinic.get("/me").text
    with reading(clinic.app.state.engine) as session:
        (made,) = accounts(session)
    assert ("administrator", True) == (made.role, made.is_active)
    stranger = clinic.other_browser(None)
    for used in (code, other):
        form = FORM | {"code": str(used), "sign_in_name": "second"}
        answer = stranger.post_form("/first", form)
        assert (422, True) == (answer.status_code, SAYS in answer.text)
    assert first_code(clinic.app.state.engine, again=True) is None


@pytest.mark.parametrize(
    ("field", "typed", "says"),
    [
        ("code", "AAAA-BBBB-CCCC-DDDD", SAYS),
        ("code", "", SAYS),
        ("password", "short", "needs at least 15 characters"),
        ("again", "something else entirely", "The two passwords are not the same"),
        ("sign_in_name", "", "The sign-in name is missing"),
        ("sign_in_name", "two words", "has a space in it"),
        ("sign_in_name", "demo-me", "are for the demonstration"),
        ("printed_name", "\x07", "holds a character that cannot be kept"),
    ],
)
def test_what_is_wrong_is_said_beside_its_field_and_changes_nothing(
    app_without_accounts: Clinic, code: str, field: str, typed: str, says: str
) -> None:
    """Above all the code is not used up by a mistake."""
    clinic = app_without_accounts
    before = kept(clinic.app)
    form = FORM | {"code": code, field: typed}
    if field == "password":
        form["again"] = typed
    answer = clinic.post_form("/first", form)

    assert 422 == answer.status_code
    assert 2 == answer.text.count(says), answer.text
    assert f'id="{field}-fault"' in answer.text
    assert LONG not in answer.text
    assert before == kept(clinic.app)
    assert 303 == clinic.post_form("/first", FORM | {"code": code}).status_code


def test_a_code_is_over_after_a_day(app_without_accounts: Clinic) -> None:
    """It may stand in a scrolled-back console for long."""
    clinic, old = app_without_accounts, new_code()
    yesterday = datetime.now(UTC) - timedelta(hours=24)
    with writing(clinic.app.state.engine) as session:
        invite(
            session,
            None,
            hash_code(old),
            yesterday + timedelta(hours=24),
            actor=PROGRAM,
            now=yesterday,
        )

    assert 422 == clinic.post_form("/first", FORM | {"code": old}).status_code


# ---- invited


def invited(clinic: Clinic) -> str:
    """A code for the nurse, as an administrator gives it out."""
    code, now = new_code(), datetime.now(UTC)
    with writing(clinic.app.state.engine) as session:
        nurse = account_named(session, NURSE.sign_in_name)
        assert nurse
        week = now + timedelta(days=7)
        invite(session, nurse.id, hash_code(code), week, actor=PROGRAM, now=now)
    return code


def test_a_one_time_code_lets_its_owner_choose_a_password_that_nobody_else_knows(
    clinic: Clinic,
) -> None:
    """And signs out whoever was signed in with the old one."""
    nurse, browser, code = clinic.nurse, clinic.other_browser(None), invited(clinic)
    form = {"code": code, "password": LONG, "again": LONG}
    assert 303 == browser.post_form("/invited", form).status_code

    assert NURSE.name in browser.get("/me").text
    assert 401 == nurse.get("/me").status_code
    assert 401 == clinic.other_browser(None).sign_in(NURSE).status_code
    assert 303 == clinic.other_browser(None).sign_in(NURSE, password=LONG).status_code
    again = clinic.other_browser(None).post_form("/invited", form)
    assert (422, True) == (again.status_code, SAYS in again.text)


def test_a_code_is_for_its_own_page_alone(clinic: Clinic) -> None:
    """An invitation makes no administrator."""
    code, browser = invited(clinic), clinic.other_browser(None)

    assert 422 == browser.post_form("/first", FORM | {"code": code}).status_code
    assert (
        303
        == browser.post_form(
            "/invited", {"code": code, "password": LONG, "again": LONG}
        ).status_code
    )


def test_the_persons_own_name_is_no_password(clinic: Clinic) -> None:
    """It is what is tried first."""
    code, bad = invited(clinic), "r.okafor r.okafor"
    answer = clinic.other_browser(None).post_form(
        "/invited", {"code": code, "password": bad, "again": bad}
    )

    assert 422 == answer.status_code
    assert "too easy to guess" in answer.text


def test_somebody_else_at_this_browser_is_signed_out_by_it(clinic: Clinic) -> None:
    """One browser holds one sign-in."""
    token, code = str(clinic.token), invited(clinic)
    form = {"code": code, "password": LONG, "again": LONG}
    assert 303 == clinic.post_form("/invited", form).status_code
    assert NURSE.name in clinic.get("/me").text
    clinic.hold(token)

    assert 401 == clinic.get("/me").status_code
    assert 303 == clinic.other_browser(None).sign_in(PHYSICIAN, PASSWORD).status_code
