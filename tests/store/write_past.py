"""Add to past.json what a clinic records while a migration is the newest.

    python -m tests.store.write_past

What stands there already is put into a new database and stays as it is; each version without rows
gets those of its function below. A new migration that makes a table or a column needs one.
"""

import json
import sys
import tempfile
from collections.abc import Callable
from datetime import timedelta
from decimal import Decimal
from io import BytesIO
from pathlib import Path
from typing import Any

import pikepdf
from sqlalchemy import Engine
from sqlmodel import Session

from app.assess.assess import assess
from app.assess.assessment import as_text
from app.exam.record import Cell, Recorded
from app.exam.vocabulary import Side
from app.knowledge.load import knowledge
from app.report.seal import Seal
from app.report.seal_key import own_key
from app.store.audit import begin_chain, note
from app.store.audit_tables import EmergencyAccessRow, SettingRow
from app.store.engine import heads, make_engine, writing
from app.store.entries import mark_rest_normal, record
from app.store.exams import start_exam
from app.store.on_paper import OnPaper
from app.store.patients import add_patient, check_patient
from app.store.people_tables import (
    AccountRow,
    GuessRow,
    InvitationRow,
    ProviderRequestRow,
    SignInRow,
)
from app.store.practice import add_attempt
from app.store.signing import AttachedFile
from app.store.tables import AlertRow, PresenceRow
from tests.store.clinic import MINUTE, NOW, NURSE, PHYSICIAN, TODAY, an_exam, form, stored, write
from tests.store.desk import (
    LATER,
    SIGNER,
    amended,
    an_account,
    changed,
    decide,
    signed,
    to_amend,
    to_sign,
)
from tests.store.past import FILE, filled, held, past, tables_of

RIGHT, LEFT = ("drift", Side.RIGHT), ("drift", Side.LEFT)
SLOW: dict[Cell, Recorded | None] = {
    ("finger_tap_slow", Side.RIGHT): 2,
    ("finger_tap_slow", Side.LEFT): 0,
    ("finger_tap_decrement", Side.RIGHT): 2,
    ("rest_tremor_hand", Side.RIGHT): 1,
}


def first(engine: Engine) -> None:
    """Before there was an audit: one that is noted by nobody, since the session is not sealed."""
    with Session(engine.execution_options(evenhand_writes=True)) as session:
        who = add_patient(session, check_patient(form(given_name="Bríd"), TODAY), NOW)
        exam = start_exam(session, who.id, NURSE, "two\nlines", NOW)
        session.commit()
    with Session(engine.execution_options(evenhand_writes=True)) as session:
        record(
            session, exam.id, {RIGHT: 1, ("tug_s", None): Decimal("9.50")}, at_revision=0,
            recorder=PHYSICIAN, now=NOW,
        )  # fmt: skip
        record(session, exam.id, {RIGHT: None}, at_revision=1, recorder=PHYSICIAN, now=NOW)
        mark_rest_normal(session, exam.id, "reach", at_revision=2, recorder=PHYSICIAN, now=NOW)
        session.commit()


def people_and_signing(engine: Engine) -> None:
    """Accounts and all that belongs to them, an exam that is signed and amended, what is seen."""
    with writing(engine) as session:
        begin_chain(session, NOW)
    an_account(engine)
    signed_exam(engine, "T-2")
    who, soon = str(SIGNER.account_id), NOW + timedelta(hours=1)
    open_exam = an_exam(engine, chart_number="T-3")
    with writing(engine) as session:
        session.add(InvitationRow(code_hash="i", account_id=who, made_at=NOW, expires_at=soon))
        session.add(
            SignInRow(
                token_hash="t", account_id=who, started_at=NOW, proved_at=NOW, active_at=soon,
                source="192.0.2.7",
            )
        )  # fmt: skip
        session.add(GuessRow(account_key="per", source="192.0.2.7", failures=3, last_at=NOW))
        session.add(
            ProviderRequestRow(
                state_hash="s", nonce="n", verifier="v", purpose="sign_in", return_to="/",
                made_at=NOW,
            )
        )  # fmt: skip
        session.add(AlertRow(exam_id=open_exam.id, warnings='["x"]', since=NOW))
        session.add(
            PresenceRow(
                exam_id=open_exam.id, token_hash="t", name=SIGNER.name, role="physician",
                station="gait", at=NOW,
            )
        )  # fmt: skip
        setting = SettingRow(name="clinic", value="Hill Clinic", by="Ada", at=NOW)
        access = EmergencyAccessRow(account_id=who, reason="why", at=NOW, until=soon)
        session.add_all((setting, access))
        session.flush()
        note(session, SIGNER, "setting", at=NOW, rows=(setting,))
        note(session, SIGNER, "emergency_access", at=NOW, rows=(access,))


def account_revision(engine: Engine) -> None:
    """An account that was changed twice."""
    with writing(engine) as session:
        session.add(
            AccountRow(
                id="c" * 32, sign_in_name="Ana", sign_in_key="ana", printed_name="Dr Ana Example",
                role="administrator", is_active=False, created_at=NOW, revision=2,
                totp_counter=2**40,
            )
        )  # fmt: skip


def nothing(_engine: Engine) -> None:
    """It made indexes."""


def practice(engine: Engine) -> None:
    """A try."""
    with writing(engine) as session:
        add_attempt(session, str(SIGNER.account_id), "any", {RIGHT: 1}, agreed=1, total=2, now=NOW)


def on_paper(engine: Engine) -> None:
    """An exam that was done on paper the day before."""
    with writing(engine) as session:
        who = add_patient(session, check_patient(form(chart_number="T-4"), TODAY), NOW)
        paper = OnPaper(NOW - timedelta(days=1), "Dr Ana Example")
        start_exam(session, who.id, NURSE, "", NOW, paper)


def codes_and_words(engine: Engine) -> None:
    """Both new kinds of decision."""
    exam = an_exam(engine, chart_number="T-5")
    write(engine, exam.id, {RIGHT: 1, LEFT: 0}, 0)
    decide(engine, exam.id, {("code", "R26.81"): True, ("for_patient", ""): "Rest."}, 1)


def sealed(engine: Engine) -> None:
    """A page that carries the clinic's seal, and a file inside it."""
    signed_exam(engine, "T-6", is_sealed=True)


def signed_exam(engine: Engine, chart_number: str, *, is_sealed: bool = False) -> None:
    """An exam that was reviewed and signed, with an addendum, each on a real page of its own."""
    exam = an_exam(engine, chart_number=chart_number)
    write(engine, exam.id, SLOW, 0)
    revision = decide(engine, exam.id, {("impression", ""): "A slow hand."}, 1)
    assert revision == 2
    found = as_text(assess(stored(engine, exam.id).exam, knowledge()))
    version = knowledge().version
    prepared = to_sign(engine, exam.id, assessment=found, knowledge=version)
    values: dict[str, object] = {"document": page(f"Signed {chart_number}")}
    if is_sealed:
        with tempfile.TemporaryDirectory() as folder:
            seal = Seal(own_key(Path(folder) / "seal.p12", "Hill Clinic", NOW))
            values = {
                "document": seal.sealed(page(f"Sealed {chart_number}"), LATER),
                "certificate": seal.key.certificate,
                "attached": (AttachedFile("exam.json", "application/json", b"{}"),),
            }
    signed(engine, exam.id, changed(prepared, **values), version)
    amendment, signing, number = to_amend(engine, exam.id, signed_at=LATER + MINUTE)
    signing = changed((signing, 0), document=page(f"Addendum {chart_number}"))[0]
    amended(engine, exam.id, (amendment, signing, number))


def page(title: str) -> bytes:
    """A small PDF that differs from others."""
    made = BytesIO()
    with pikepdf.new() as pdf:
        pdf.add_blank_page()
        pdf.docinfo["/Title"] = title
        pdf.save(made, deterministic_id=True)
    return made.getvalue()


STEPS: dict[str, Callable[[Engine], None]] = {
    "0001": first,
    "0002": people_and_signing,
    "0003": account_revision,
    "0004": nothing,
    "0005": practice,
    "0006": on_paper,
    "0007": codes_and_words,
    "0008": sealed,
    "0009": nothing,
}


def main() -> int:
    """Write what is missing."""
    kept: dict[str, Any] = dict(past())
    with tempfile.TemporaryDirectory() as folder:
        engine = make_engine(f"sqlite:///{folder}/past.db")
        filled(engine, heads()[0])
        seen = _keys(engine)
        for version, step in STEPS.items():
            if version in kept:
                continue
            step(engine)
            kept[version] = _new(engine, seen)
            seen = _keys(engine)
        # What a later step changed was never there as it is kept.
        assert {
            str(row) for tables in kept.values() for rows in tables.values() for row in rows
        } == {str(row) for rows in _all(engine).values() for row in rows}
        engine.dispose()
    FILE.write_text(json.dumps(kept, ensure_ascii=False, indent=1) + "\n", "utf-8")
    return 0


def _all(engine: Engine) -> dict[str, list[dict[str, Any]]]:
    with engine.connect() as connection:
        return {each.name: held(connection, each) for each in tables_of(connection)}


def _keys(engine: Engine) -> set[str]:
    return {f"{name}{row}" for name, rows in _all(engine).items() for row in rows}


def _new(engine: Engine, seen: set[str]) -> dict[str, list[dict[str, Any]]]:
    new = {
        name: [row for row in rows if f"{name}{row}" not in seen]
        for name, rows in _all(engine).items()
    }
    return {name: rows for name, rows in new.items() if rows}


if __name__ == "__main__":
    sys.exit(main())
