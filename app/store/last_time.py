"""What was recorded of a patient the time before."""

from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import case, func
from sqlmodel import Session, col, select

from app.store.exams import OPEN_STATES, ExamRecord, exam_record
from app.store.tables import ExamRow, OnPaperRow


@dataclass(frozen=True)
class LastTime:
    """The exam to look back to.

    passed_over: when the newest exam was done that is later than this one and not signed, None
    where there is none.
    """

    record: ExamRecord
    passed_over: datetime | None = None

    @property
    def is_signed(self) -> bool:
        """Whether somebody has reviewed what stands in it."""
        return self.record.state not in OPEN_STATES


def last_time(session: Session, exam: ExamRecord) -> LastTime | None:
    """The newest signed exam of this patient before this one; else the newest that is not signed.

    What is signed was reviewed, so it comes first however old it is. One that is not signed is
    better than nothing where it says so. Exams in which nothing was recorded are none.
    Raises: Unreadable.
    """
    is_open = case((col(ExamRow.state).in_(OPEN_STATES), 1), else_=0)
    # One that was done on paper stands where it was done, not where it was entered.
    examined_at = func.coalesce(OnPaperRow.examined_at, ExamRow.started_at)
    earlier = (
        select(ExamRow.id, examined_at, ExamRow.state)
        .outerjoin(OnPaperRow, col(OnPaperRow.exam_id) == col(ExamRow.id))
        .where(ExamRow.patient_id == exam.patient.id)
        .where(examined_at < exam.examined_at, col(ExamRow.revision) > 0)
        .order_by(is_open, examined_at.desc(), col(ExamRow.id))
    )
    found = session.exec(earlier).all()
    if not found:
        return None
    chosen_id, began, state = found[0]
    later = [at for _, at, other in found if other in OPEN_STATES and at > began]
    passed_over = max(later, default=None) if state not in OPEN_STATES else None
    return LastTime(exam_record(session, chosen_id), passed_over)
