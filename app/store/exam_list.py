"""Every exam in some of the states, one after the other: for a program, not for a screen."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime

from sqlmodel import Session, col, select

from app.store.on_paper import Examined, OnPaper
from app.store.patients import PatientCard, card
from app.store.tables import STATES, ExamRow, OnPaperRow, PatientRow

_AT_ONCE = 200


@dataclass(frozen=True)
class ListedExam(Examined):
    """One exam. started_at: when it was begun to be entered."""

    id: str
    state: str
    patient: PatientCard
    started_at: datetime
    revision: int
    on_paper: OnPaper | None = None


def listed_exams(session: Session, states: Sequence[str] = STATES) -> Iterator[ListedExam]:
    """The exams in these states, the one that was begun last first; few at a time."""
    asked = (
        select(ExamRow, PatientRow, OnPaperRow)
        .join(PatientRow, col(PatientRow.id) == col(ExamRow.patient_id))
        .join(OnPaperRow, col(OnPaperRow.exam_id) == col(ExamRow.id), isouter=True)
        .where(col(ExamRow.state).in_(states))
        .order_by(col(ExamRow.started_at).desc(), col(ExamRow.id))
        .execution_options(yield_per=_AT_ONCE)
    )
    for exam, who, paper in session.exec(asked):
        yield ListedExam(
            exam.id, exam.state, card(who), exam.started_at, exam.revision, _on_paper(paper)
        )


def _on_paper(row: OnPaperRow | None) -> OnPaper | None:
    return None if row is None else OnPaper(row.examined_at, row.examined_by)
