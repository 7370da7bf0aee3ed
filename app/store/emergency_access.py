"""Emergency access: charts opened for a while beyond what a role opens, with the reason.

Its rows are only ever added, and the newest of an account counts. One that ends at the very moment
at which it begins closes the charts again; its reason says why.
"""

from datetime import datetime, timedelta

from sqlmodel import Session, col, select

from app.language.words import _
from app.store.accounts import lock_active
from app.store.actor import Actor
from app.store.audit import note
from app.store.audit_tables import EmergencyAccessRow
from app.store.free_text import BadText, check_name
from app.store.refusals import BadForm, NotFound

LONGEST_REASON = 500
BY_HAND = "not needed any more"
SIGNED_OUT = "signed out"


def open_emergency_access(
    session: Session, reason: str, *, actor: Actor, now: datetime, minutes: int = 60
) -> datetime:
    """Open charts to somebody for some minutes; returns until when.

    reason: why, in words; it is kept, and stands in no other place than its own row.
    Raises: BadForm, where there is no reason; NotFound, where the account was closed meanwhile or
    has another role.
    """
    try:
        reason = check_name(reason, longest=LONGEST_REASON)
    except BadText as fault:
        raise BadForm({"reason": _("the reason {fault}").format(fault=fault)}) from None
    # Whoever gives the account another role waits for us, or we for them.
    if lock_active(session, actor.account_id).role != actor.role:
        raise NotFound(_("this account has another role"))
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


def end_emergency_access(
    session: Session, account_id: str, reason: str, *, actor: Actor, now: datetime
) -> None:
    """Close the charts to an account before the time is over; nothing where they are closed."""
    if emergency_until(session, account_id, now) is None:
        return
    row = EmergencyAccessRow(account_id=account_id, reason=reason, at=now, until=now)
    session.add(row)
    session.flush()
    detail = {"account": account_id}
    note(session, actor, "emergency_access_end", at=now, detail=detail, rows=(row,))


def emergency_until(session: Session, account_id: str, now: datetime) -> datetime | None:
    """Until when charts are open to this account; None where they are not.

    A time before it was opened counts as over, so that a clock that went back opens nothing.
    """
    asked = (
        select(EmergencyAccessRow)
        .where(EmergencyAccessRow.account_id == account_id)
        .order_by(col(EmergencyAccessRow.id).desc())
        .limit(1)
    )
    newest = session.exec(asked).first()
    return newest.until if newest and newest.at <= now < newest.until else None
