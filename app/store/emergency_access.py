"""Emergency access: charts opened for a while beyond what a role opens, with the reason."""

from datetime import datetime, timedelta

from sqlalchemy import func
from sqlmodel import Session, col, select

from app.store.actor import Actor
from app.store.audit import note
from app.store.audit_tables import EmergencyAccessRow
from app.store.free_text import BadText, check_name
from app.store.refusals import BadForm

LONGEST_REASON = 500


def open_emergency_access(
    session: Session, reason: str, *, actor: Actor, now: datetime, minutes: int = 60
) -> datetime:
    """Open charts to somebody for some minutes; returns until when.

    reason: why, in words; it is kept, and stands in no other place than its own row.
    Raises: BadForm, where there is no reason.
    """
    try:
        reason = check_name(reason, longest=LONGEST_REASON)
    except BadText as fault:
        raise BadForm({"reason": f"the reason {fault}"}) from None
    row = EmergencyAccessRow(
        account_id=actor.account_id,
        reason=reason,
        at=now,
        until=now + timedelta(minutes=minutes),
    )
    session.add(row)
    session.flush()
    note(session, actor, "emergency_access", at=now, detail={"minutes": minutes}, rows=(row,))
    return row.until


def emergency_until(session: Session, account_id: str, now: datetime) -> datetime | None:
    """Until when charts are open to this account; None where they are not.

    A time before it was opened counts as over, so that a clock that went back opens nothing.
    """
    asked = select(func.max(EmergencyAccessRow.until)).where(
        EmergencyAccessRow.account_id == account_id,
        col(EmergencyAccessRow.at) <= now,
        col(EmergencyAccessRow.until) > now,
    )
    return session.exec(asked).one()
