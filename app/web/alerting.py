"""Emergencies that no physician has seen yet: kept with the write that raised them."""

from datetime import UTC, datetime

from fastapi import Request
from sqlmodel import Session

from app.assess.assessment import Assessment
from app.store.alerts import has_alert, seen_alert, set_alert
from app.store.engine import reading, writing
from app.web.identity import SignedIn


def keep_alert(
    session: Session, exam_id: str, assessment: Assessment, me: SignedIn, now: datetime
) -> None:
    """Keep which emergencies an exam has after a write on the sheet, in its transaction.

    A physician who writes has the exam open, and the answer shows them what it adds up to.
    """
    raised = [each.id for each in assessment.warnings if each.urgency == "emergency"]
    set_alert(session, exam_id, raised, now)
    if raised:
        seen_alert(session, exam_id, actor=me.actor, now=now)


def see_alert(request: Request, exam_id: str, me: SignedIn) -> None:
    """Keep that a physician has opened an exam with an emergency."""
    if me.role != "physician":
        return
    engine = request.app.state.engine
    with reading(engine) as session:
        if not has_alert(session, exam_id):
            return
    with writing(engine) as session:
        seen_alert(session, exam_id, actor=me.actor, now=datetime.now(UTC))
