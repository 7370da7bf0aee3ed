"""Invented people with accounts, for the tests of the store."""

import json
import threading
from collections.abc import Callable
from typing import Any

from sqlalchemy import Engine
from sqlmodel import Session, col, select

from app.store.account_changes import add_account
from app.store.accounts import Account, account
from app.store.actor import PROGRAM, Actor
from app.store.audit_tables import AuditRow
from app.store.engine import reading, writing
from app.store.proofs import set_password
from app.store.refusals import AccountCollision, SettingsCollision
from app.store.sign_ins import SignIn, sign_in, start_sign_in
from tests.store.clinic import NOW, wait_until_blocked

ADMINISTRATOR = Actor("Ada Chwilowa", "administrator", source="192.0.2.1")


def an_account(
    engine: Engine, name: str = "nurse.ngozi", role: str = "nurse", password: str | None = "a hash"
) -> Account:
    """Add an account; with no password, nobody can sign in with it."""
    with writing(engine) as session:
        added = add_account(session, name, f"Somebody called {name}", role, actor=PROGRAM, now=NOW)
        if password is not None:
            set_password(session, added.id, password, actor=PROGRAM, now=NOW)
    return stored_account(engine, added.id)


def stored_account(engine: Engine, account_id: str) -> Account:
    """The account as another request reads it."""
    with reading(engine) as session:
        return account(session, account_id)


def signed_in(engine: Engine, whose: Account, token_hash: str) -> SignIn:
    """Sign somebody in, in a transaction of its own."""
    with writing(engine) as session:
        return start_sign_in(session, whose.id, token_hash, actor=as_actor(whose), now=NOW)


def stored_sign_in(engine: Engine, token_hash: str) -> SignIn:
    """The sign-in as another request reads it."""
    with reading(engine) as session:
        found = sign_in(session, token_hash)
    assert found is not None
    return found[0]


def as_actor(whose: Account) -> Actor:
    """The account as the audit names it."""
    return Actor(whose.printed_name, whose.role, whose.id, "192.0.2.7")


def audited(engine: Engine) -> list[tuple[str, str, dict[str, Any]]]:
    """What the audit tells: action, who, and the facts."""
    with reading(engine) as session:
        rows = session.exec(select(AuditRow).order_by(col(AuditRow.number)))
        return [(row.action, row.name, json.loads(row.detail)) for row in rows]


def one_after_the_other(
    engine: Engine, first: Callable[[Session], object], second: Callable[[Session], object]
) -> list[Exception]:
    """Let the second begin before the first has ended; returns what the second was refused with."""
    refused: list[Exception] = []

    def late() -> None:
        try:
            with writing(engine) as session:
                second(session)
        except (ValueError, LookupError, AccountCollision, SettingsCollision) as refusal:
            refused.append(refusal)

    other = threading.Thread(target=late)
    with writing(engine) as session:
        first(session)
        other.start()
        wait_until_blocked(engine, other)
    other.join()
    return refused
