"""What is sent again because its answer was lost: found, so that it is done once and shown."""

from collections.abc import Mapping
from datetime import datetime, timedelta

from sqlmodel import Session, col, select

from app.store.actor import Recorder
from app.store.free_text import BadText, check_lines
from app.store.on_paper import OnPaper, on_paper
from app.store.review import review_of
from app.store.signatures import signatures
from app.store.signed_content import Amendment
from app.store.tables import ExamRow, PatientRow

# Whoever starts an exam anew after this long means another one.
STARTED_AGAIN = timedelta(minutes=10)


def started_before(
    session: Session,
    patient_id: str,
    recorder: Recorder,
    reason: str,
    now: datetime,
    paper: OnPaper | None,
) -> str | None:
    """The exam that this person has just started in the same words and that nobody has touched.

    The patient stays locked to the end of the transaction, so that of two that are sent at once the
    second finds the first.
    """
    session.exec(select(PatientRow.id).where(PatientRow.id == patient_id).with_for_update()).all()
    asked = (
        select(ExamRow)
        .where(
            ExamRow.patient_id == patient_id,
            ExamRow.state == "open",
            ExamRow.revision == 0,
            ExamRow.started_by == recorder.name,
            ExamRow.started_role == recorder.role,
            col(ExamRow.started_at) >= now - STARTED_AGAIN,
        )
        .order_by(col(ExamRow.started_at).desc())
    )
    for row in session.exec(asked):
        if row.reason == _tidy(reason) and on_paper(session, row.id) == paper:
            return row.id
    return None


def is_signed_so(
    session: Session, exam_id: str, recorder: Recorder, form: Mapping[str, str]
) -> bool:
    """Whether this person has signed the exam with the impression and the plan of this form."""
    pieces = signatures(session, exam_id)
    if not pieces or pieces[0].account_id != recorder.account_id:
        return False
    review = review_of(session, exam_id)
    typed = _tidy(form.get("impression", "")), _tidy(form.get("plan", ""))
    return typed == (review.impression, review.plan)


def is_amended_so(
    session: Session, exam_id: str, recorder: Recorder, amendment: Amendment, *, after: int
) -> bool:
    """Whether the piece that follows number `after` is this person's, in the same words."""
    return any(
        (each.number, each.account_id) == (after + 1, recorder.account_id)
        and amendment == Amendment(each.kind, each.text or "", each.reason or "")
        for each in signatures(session, exam_id)
    )


def _tidy(text: str) -> str | None:
    """A text as it is kept; None where it would not be."""
    try:
        return check_lines(text, longest=3 * len(text))
    except BadText:
        return None
