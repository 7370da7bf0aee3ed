"""The audit: what happened, in one chain that cannot be changed unseen.

A function that changes or shows something notes it; the note is sealed into the chain when its
transaction ends, together with what it is about or not at all.
"""

import hashlib
import json
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, date, datetime
from typing import Any

from sqlalchemy import inspect, text
from sqlmodel import Session, col, select

from app.store.actor import PROGRAM, Actor
from app.store.audit_tables import AuditRow
from app.store.columns import Table
from app.store.tables import EntryRow

# In front of what is hashed, so that no other hash of the program can stand in for one of these.
ROW_DOMAIN = b"evenhand row 1\0"
LINK_DOMAIN = b"evenhand audit 1\0"
FIRST = "0" * 64
# Any number will do, as long as every server takes the same one; it is not that of the migrations.
CHAIN_LOCK = 7_302_212
_NOTES = "evenhand_audit"


@dataclass(frozen=True)
class Head:
    """The newest row of the audit: its number and its hash. Number 0 before the first."""

    number: int
    hash: str

    def __str__(self) -> str:
        """As it is printed on a page: `412:9f86…`, whole."""
        return f"{self.number}:{self.hash}"


START = Head(0, FIRST)


@dataclass(frozen=True)
class _Note:
    actor: Actor
    action: str
    at: datetime
    patient_id: str
    exam_id: str
    detail: Mapping[str, Any]
    rows: tuple[Table, ...]


def note(
    session: Session,
    actor: Actor,
    action: str,
    *,
    at: datetime,
    patient_id: str = "",
    exam_id: str = "",
    detail: Mapping[str, Any] | None = None,
    rows: tuple[Table, ...] = (),
) -> None:
    """Note what is done in this transaction; it is sealed when the transaction is committed.

    action: a short word of the program's own, as in `record`, `read`, `sign`. detail: facts about
    the act that JSON can hold; never a clinical value. rows: rows that the act added.
    """
    made = _Note(actor, action, at, patient_id, exam_id, dict(detail or {}), rows)
    session.info.setdefault(_NOTES, []).append(made)


def seal(session: Session) -> None:
    """Append what was noted in this transaction to the chain, in the order of the notes."""
    notes: list[_Note] = session.info.pop(_NOTES, [])
    if not notes:
        return
    session.flush()
    if session.connection().dialect.name == "postgresql":
        # Held to the end of the transaction, which follows at once.
        session.connection().execute(
            text("SELECT pg_advisory_xact_lock(:key)"), {"key": CHAIN_LOCK}
        )
    last = head(session)
    for made in notes:
        row = AuditRow(
            number=last.number + 1,
            at=made.at.astimezone(UTC),
            account_id=made.actor.account_id,
            name=made.actor.name,
            role=made.actor.role,
            source=made.actor.source,
            action=made.action,
            patient_id=made.patient_id,
            exam_id=made.exam_id,
            detail=canonical(made.detail),
            rows=canonical(
                [[type(each).__tablename__, key_of(each), digest(each)] for each in made.rows]
            ),
            previous=last.hash,
            hash="",
        )
        row.hash = link(row)
        session.add(row)
        last = Head(row.number, row.hash)
    session.flush()


def begin_chain(session: Session, now: datetime) -> None:
    """Take the entries of a database that had no audit yet into the first row of its chain."""
    if head(session).number == 0:
        entries = tuple(session.exec(select(EntryRow).order_by(col(EntryRow.id))))
        if entries:
            note(session, PROGRAM, "begin", at=now, detail={"entries": len(entries)}, rows=entries)
            seal(session)


def head(session: Session) -> Head:
    """The newest row of the chain."""
    asked = select(AuditRow.number, AuditRow.hash).order_by(col(AuditRow.number).desc()).limit(1)
    found = session.exec(asked).first()
    return START if found is None else Head(*found)


def link(row: AuditRow) -> str:
    """The hash of a row of the audit: over all of it, the hash of the row before included."""
    told = {name: value for name, value in columns_of(row).items() if name != "hash"}
    return hashlib.sha256(LINK_DOMAIN + canonical(told).encode()).hexdigest()


def digest(row: Table) -> str:
    """The hash of a row of another table: over its table and every column."""
    told = [type(row).__tablename__, columns_of(row)]
    return hashlib.sha256(ROW_DOMAIN + canonical(told).encode()).hexdigest()


def key_of(row: Table) -> str:
    """The primary key of a row as text."""
    return str(inspect(row).mapper.primary_key_from_instance(row)[0])


def columns_of(row: Table) -> dict[str, Any]:
    """Every column as JSON can hold it, the same on both databases."""
    return {
        attribute.key: _plain(getattr(row, attribute.key))
        for attribute in inspect(type(row)).column_attrs
    }


def canonical(value: object) -> str:
    """JSON in one way only."""
    return json.dumps(value, ensure_ascii=True, sort_keys=True, separators=(",", ":"))


def _evidence(row: Table) -> list[str]:
    return [str(type(row).__tablename__), key_of(row), digest(row)]


def _plain(value: Any) -> Any:
    if isinstance(value, datetime):
        return value.astimezone(UTC).isoformat(timespec="microseconds")
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, bytes):
        return hashlib.sha256(value).hexdigest()
    return value
