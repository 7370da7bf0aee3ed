"""Wrong passwords: how many for one name from one address, so that the next try can wait.

The names are kept as a hash: one that nobody has may be a password typed into the wrong field.
"""

import hashlib
from datetime import datetime, timedelta

from sqlalchemy import delete, func
from sqlmodel import Session, col, select

from app.store.people_tables import GuessRow
from app.store.upsert import add_or_change

# Longer than any wait; without an end, names that nobody has would fill the table.
KEPT_FOR = timedelta(days=1)


def failures(session: Session, account_key: str, source: str) -> tuple[int, datetime | None]:
    """How often it was wrong in a row, and when last; None where it never was.

    account_key: the sign-in name as it is compared, also one that nobody has. To be asked in a
    transaction that writes: until it has ended, whoever else asks the same waits.
    """
    asked = (
        select(GuessRow)
        .where(GuessRow.account_key == _hashed(account_key), GuessRow.source == source)
        .with_for_update()
        .execution_options(populate_existing=True)
    )
    row = session.exec(asked).one_or_none()
    return (0, None) if row is None else (row.failures, row.last_at)


def failures_everywhere(session: Session, account_key: str) -> int:
    """How often it was wrong in a row, from all addresses together."""
    asked = select(func.sum(GuessRow.failures)).where(GuessRow.account_key == _hashed(account_key))
    return session.exec(asked).one() or 0


def note_failure(session: Session, account_key: str, source: str, now: datetime) -> None:
    """Count one more; those of more than a day ago no longer count.

    Whoever counts knows what it was for, and notes it for the audit.
    """
    session.exec(delete(GuessRow).where(col(GuessRow.last_at) < now - KEPT_FOR))
    add_or_change(
        session,
        GuessRow,
        {"account_key": _hashed(account_key), "source": source, "failures": 1, "last_at": now},
        {"failures": col(GuessRow.failures) + 1, "last_at": now},
    )


def forget_failures(session: Session, account_key: str, source: str) -> None:
    """Begin to count anew, because it was right."""
    session.exec(
        delete(GuessRow).where(
            col(GuessRow.account_key) == _hashed(account_key), col(GuessRow.source) == source
        )
    )


def _hashed(account_key: str) -> str:
    return hashlib.sha256(account_key.encode()).hexdigest()
