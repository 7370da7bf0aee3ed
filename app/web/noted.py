"""What was seen: reading, printing and searching leave a row in the audit, too."""

from datetime import UTC, datetime

from fastapi import Request

from app.store.audit import note
from app.store.engine import writing
from app.web.identity import SignedIn

# The fact by which the audit knows what was seen under emergency access.
IN_EMERGENCY = "emergency"


def noted(
    request: Request,
    me: SignedIn,
    action: str,
    *,
    patient_id: str = "",
    exam_id: str = "",
    **detail: str | int,
) -> None:
    """Note what was shown to somebody, before it is shown; a read that is not noted is none."""
    if me.emergency_until is not None:
        detail[IN_EMERGENCY] = "yes"
    with writing(request.app.state.engine) as session:
        note(
            session,
            me.actor,
            action,
            at=datetime.now(UTC),
            patient_id=patient_id,
            exam_id=exam_id,
            detail=detail,
        )
