"""Who has an exam open just now, and at which station they are. Nothing of it is history."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta

from sqlmodel import Session, col, select

from app.store.tables import PresenceRow
from app.store.upsert import add_or_change

# A page asks every 2 seconds; so few writes, and gone soon after its last question.
WRITTEN_EVERY = timedelta(seconds=8)
GONE_AFTER = timedelta(seconds=20)


@dataclass(frozen=True)
class Present:
    """Somebody at an exam. station: an id of the vocabulary, or "" at none."""

    name: str
    role: str
    station: str


def is_due(session: Session, exam_id: str, token_hash: str, station: str, now: datetime) -> bool:
    """Whether `seen` would write; it can be asked without a transaction that writes."""
    row = session.get(PresenceRow, (exam_id, token_hash), populate_existing=True)
    return row is None or row.station != station or abs(now - row.at) >= WRITTEN_EVERY


def seen(
    session: Session,
    exam_id: str,
    token_hash: str,
    name: str,
    role: str,
    station: str,
    now: datetime,
) -> None:
    """Keep that somebody is at a station; written only when it is another one or some time ago."""
    if is_due(session, exam_id, token_hash, station, now):
        who = {"name": name, "role": role, "station": station, "at": now}
        add_or_change(
            session, PresenceRow, {"exam_id": exam_id, "token_hash": token_hash, **who}, who
        )


def here(session: Session, exam_id: str, now: datetime, but: str) -> list[Present]:
    """Everybody who was seen at an exam just now, by name.

    but: the hash of the token of the browser that asks.
    """
    return here_in(session, [exam_id], now, but).get(exam_id, [])


def here_in(
    session: Session, exam_ids: Iterable[str], now: datetime, but: str
) -> dict[str, list[Present]]:
    """The same of many exams, without those at which nobody was seen."""
    asked = (
        select(PresenceRow)
        .where(
            col(PresenceRow.exam_id).in_(exam_ids),
            PresenceRow.token_hash != but,
            col(PresenceRow.at) > now - GONE_AFTER,
            # A clock that went back leaves nobody standing there for hours.
            col(PresenceRow.at) < now + GONE_AFTER,
        )
        .order_by(col(PresenceRow.name), col(PresenceRow.token_hash))
    )
    present: dict[str, list[Present]] = {}
    for row in session.exec(asked):
        present.setdefault(row.exam_id, []).append(Present(row.name, row.role, row.station))
    return present
