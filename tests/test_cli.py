"""The command line, as another program would call it."""

import json
import re
import subprocess
import sys
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from sqlmodel import col, select

from app.cli import main
from app.knowledge.load import knowledge
from app.people.tokens import hash_code
from app.report.paper import blank_sheet
from app.store.account_changes import add_account, change_account
from app.store.accounts import account
from app.store.actor import PROGRAM
from app.store.audit_tables import AuditRow
from app.store.engine import make_engine, reading, writing
from app.store.invitations import invitation
from app.store.proofs import set_second_factor
from app.store.refusals import NotFound
from tests.console import Ended, as_program, run
from tests.store.clinic import NOW
from tests.store.people import an_account, audited

PARKINSONISM = {
    "findings": {
        "finger_tap_slow": {"right": 2},
        "finger_tap_decrement": {"right": 2},
        "rest_tremor_hand": {"right": 1},
    }
}


def test_one_exam_in_gives_one_indented_assessment_out(tmp_path: Path) -> None:
    file = tmp_path / "exam.json"
    file.write_text(json.dumps(PARKINSONISM), encoding="utf-8")

    done = as_program("assess", str(file))

    assert (0, b"") == (done.returncode, done.stderr)
    assert done.stdout.startswith(b'{\n  "knowledge"')
    assert ["parkinsonism"] == [
        found["id"] for found in json.loads(done.stdout)["categories"] if found["level"] == "fits"
    ]


def test_a_dash_reads_standard_input_and_gives_the_same_bytes(tmp_path: Path) -> None:
    file = tmp_path / "exam.json"
    file.write_text(json.dumps(PARKINSONISM), encoding="utf-8")

    assert (
        run("assess", str(file)).stdout == run("assess", "-", given=json.dumps(PARKINSONISM)).stdout
    )


def test_not_supported_categories_are_listed_only_on_request() -> None:
    def levels(*options: str) -> set[str]:
        done = run("assess", "-", *options, given="{}")
        return {found["level"] for found in json.loads(done.stdout)["categories"]}

    assert set() == levels()
    assert {"not_supported"} == levels("--all")


def test_a_bad_exam_gives_every_fault_and_nothing_on_standard_output() -> None:
    """Nothing may be concluded from what could be read."""
    done = run("assess", "-", given='{"findings": {"drift": 1, "nonsense": 2}}')

    assert (2, b"") == (done.returncode, done.stdout)
    assert [
        'findings.drift: needs its side: {"right": …, "left": …}',
        "findings.nonsense: not a finding",
    ] == done.stderr.decode().splitlines()


def test_a_missing_file_is_one_clear_line() -> None:
    done = run("assess", "no-such-file.json")

    assert (2, b"") == (done.returncode, done.stdout)
    assert "evenhand: no-such-file.json: No such file or directory\n" == done.stderr.decode()


def test_lines_are_answered_in_order_and_a_bad_one_does_not_stop_the_rest() -> None:
    lines = [json.dumps(PARKINSONISM), "{oops", "", "{}"]

    done = run("assess", "--lines", "-", given="\n".join(lines) + "\n")

    answers = [json.loads(line) for line in done.stdout.splitlines()]
    assert 1 == done.returncode
    assert [False, True, True, False] == ["error" in answer for answer in answers]
    assert "parkinsonism" == answers[0]["categories"][0]["id"]


def test_lines_that_are_all_good_end_with_success() -> None:
    done = run("assess", "--lines", "-", given="{}\n{}\n")

    assert (0, 2) == (done.returncode, len(done.stdout.splitlines()))


def test_lines_are_answered_while_the_input_is_still_open() -> None:
    """A program that feeds a registry through must not wait for its end."""
    with subprocess.Popen(
        [sys.executable, "-m", "app", "assess", "--lines", "-"],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
    ) as running:
        assert running.stdin is not None
        assert running.stdout is not None
        running.stdin.write(b"{}\n")
        running.stdin.flush()
        first = json.loads(running.stdout.readline())
        running.stdin.close()

    assert "2026.1" == first["knowledge"]


def test_bytes_that_are_no_text_are_a_fault() -> None:
    done = run("assess", "-", given=b"\xff\xfe\x00")

    assert (2, b"exam: not text in UTF-8\n") == (done.returncode, done.stderr)


PROVIDER = {
    "ADDRESS": "https://evenhand.example",
    "OIDC_ISSUER": "https://login.example",
    "OIDC_CLIENT_ID": "evenhand",
    "OIDC_CLIENT_SECRET": "a-secret",
}


@pytest.mark.parametrize("command", ["serve", "first-code", "verify"])
@pytest.mark.parametrize(
    ("given", "says"),
    [
        ({"PORT": "many"}, "EVENHAND_PORT: Input should be a valid integer"),
        ({"DATABASE_URL": "here"}, "EVENHAND_DATABASE_URL: not the address of a database"),
        ({"DATABASE_URL": "mysql://here"}, "EVENHAND_DATABASE_URL: mysql databases are not"),
        (PROVIDER | {"OIDC_CLIENT_ID": ""}, "an identity provider needs also EVENHAND_OIDC_CLIENT"),
        (PROVIDER | {"OIDC_ISSUER": "http://login.example"}, "EVENHAND_OIDC_ISSUER: the provider"),
        (PROVIDER | {"ADDRESS": "evenhand"}, "EVENHAND_ADDRESS is not the address of a server"),
    ],
)
def test_a_bad_setting_is_one_line_that_names_its_variable(
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
    command: str,
    given: dict[str, str],
    says: str,
) -> None:
    """Whoever set it looks for it by its name; secrets are not repeated."""
    for name, value in given.items():
        monkeypatch.setenv(f"EVENHAND_{name}", value)
    status, told = main([command]), capsys.readouterr()

    assert (2, "") == (status, told.out)
    assert told.err.startswith(f"evenhand: {says}")
    assert 1 == told.err.count("\n")
    assert "a-secret" not in told.err


def test_help_shows_an_example(capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as ended:
        main(["assess", "--help"])

    assert 0 == ended.value.code
    assert "evenhand assess exam.json" in " ".join(capsys.readouterr().out.split())


def invited(url: str, *arguments: str) -> Ended:
    """Run `evenhand invite` on a database."""
    return run("invite", *arguments, settings={"DATABASE_URL": url})


def test_the_only_administrator_gets_a_code_at_the_console_and_the_audit_tells_it(
    url: str,
) -> None:
    """It holds for a day; the second factor stays unless it is asked for, and so does the password.

    Whoever reaches the console could do it, so it must not stay unseen.
    """
    engine = make_engine(url)
    whose = an_account(engine, "m.okoye", "administrator")
    with writing(engine) as session:
        set_second_factor(session, whose.id, "S", at_revision=None, actor=PROGRAM, now=NOW)
    before = len(audited(engine))
    kept, taken = invited(url, "M.Okoye"), invited(url, "m.okoye", "--take-second-factor")
    codes = [
        found[0]
        for each in (kept, taken)
        if (found := re.search(r"\b(\w{4}-){6}\w{4}\b", each.out))
    ]
    with reading(engine) as session:
        rows = session.exec(select(AuditRow).order_by(col(AuditRow.number))).all()[before:]
        held = invitation(session, hash_code(codes[1]), datetime.now(UTC))
        with pytest.raises(NotFound):
            invitation(session, hash_code(codes[0]), datetime.now(UTC))
        account_now = account(session, whose.id)
    engine.dispose()

    assert [(0, ""), (0, "")] == [(each.returncode, each.err) for each in (kept, taken)]
    assert (whose.id, timedelta(hours=24)) == (held.account_id, held.expires_at - held.made_at)
    assert (None, whose.password_hash) == (account_now.totp_secret, account_now.password_hash)
    assert [("invite", "Evenhand"), ("second_factor", "Evenhand"), ("invite", "Evenhand")] == [
        (row.action, row.name) for row in rows
    ]
    assert {("console", "")} == {(row.source, row.role) for row in rows}
    assert {whose.id} == {json.loads(row.detail)["account"] for row in rows}


def test_nobody_else_gets_a_code_at_the_console(
    url: str, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    """An administrator lets others in; a closed account stays closed, and no database is made."""
    engine = make_engine(url)
    an_account(engine, "r.nurse", "nurse")
    an_account(engine, "first", "administrator")
    closed = an_account(engine, "second", "administrator")
    with writing(engine) as session:
        change_account(
            session, closed.id, printed_name="S", role="administrator", is_active=False,
            at_revision=None, actor=PROGRAM, now=NOW,
        )  # fmt: skip
    before = audited(engine)
    monkeypatch.setenv("EVENHAND_DATABASE_URL", url)
    says = "evenhand: no administrator has this sign-in name\n"
    for name, told in (
        ("r.nurse", says), ("nobody", says), ("\x00", says),
        ("second", "evenhand: this account is not active\n"),
    ):  # fmt: skip
        assert 2 == main(["invite", name])
        assert ("", told) == tuple(capsys.readouterr())
    assert before == audited(engine)
    engine.dispose()
    missing = tmp_path / "typo.sqlite3"
    monkeypatch.setenv("EVENHAND_DATABASE_URL", f"sqlite:///{missing}")

    assert 2 == main(["invite", "first"])
    assert f"evenhand: there is no database at {missing}\n" == capsys.readouterr().err
    assert not missing.exists()


def test_a_code_for_the_first_administrator_is_made_again_while_there_is_no_account(
    empty_url: str,
) -> None:
    """The first one may have scrolled away; afterwards only an administrator lets others in."""

    def first_code() -> Ended:
        return run("first-code", settings={"DATABASE_URL": empty_url})

    codes = [re.search(r"\b(\w{4}-){6}\w{4}\b", first_code().out) for _ in range(2)]
    assert all(codes)
    assert len({found[0] for found in codes if found}) == 2
    engine = make_engine(empty_url)
    with writing(engine) as session:
        now = datetime.now(UTC)
        add_account(session, "m.okoye", "M. Okoye", "administrator", actor=PROGRAM, now=now)
    engine.dispose()
    refused = first_code()

    assert (1, "") == (refused.returncode, refused.out)
    assert "there is an account already" in refused.err


def test_a_stack_of_blank_sheets_can_be_printed_before_the_network_fails(tmp_path: Path) -> None:
    """With neither a server nor a database; the same file as the page gives."""
    file = tmp_path / "sheet.pdf"

    done = run("paper", "-o", str(file), "--clinic", "Hillside Practice")

    assert (0, b"", b"") == (done.returncode, done.stdout, done.stderr)
    assert blank_sheet("Hillside Practice", knowledge().version) == file.read_bytes()


def test_a_blank_sheet_that_cannot_be_written_is_one_clear_line(tmp_path: Path) -> None:
    done = run("paper", "-o", str(tmp_path / "missing" / "sheet.pdf"))

    assert 2 == done.returncode
    assert 1 == done.stderr.count(b"\n")
    assert b"sheet.pdf" in done.stderr
