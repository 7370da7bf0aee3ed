"""Tries at practice cases: one's own, and those of the team without any name."""

import json
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import func
from sqlmodel import Session, col, select

from app.exam.faults import BadExam
from app.exam.reading import parse_exam
from app.exam.record import Cell, Exam, Value
from app.exam.writing import exam_as_json
from app.language.words import _
from app.store.practice_tables import PracticeAttemptRow
from app.store.refusals import NotFound, Unreadable


@dataclass(frozen=True)
class Attempt:
    """One try. It does not say whose it is: who asks for their own knows, nobody else may."""

    id: int
    case_id: str
    at: datetime
    graded: Mapping[Cell, Value]
    agreed: int
    total: int


def add_attempt(
    session: Session,
    account_id: str,
    case_id: str,
    graded: Mapping[Cell, Value],
    *,
    agreed: int,
    total: int,
    now: datetime,
) -> int:
    """Keep a try; its number."""
    findings = exam_as_json(Exam(cells=graded)).get("findings", {})
    row = PracticeAttemptRow(
        account_id=account_id,
        case_id=case_id,
        at=now,
        graded=json.dumps(findings, sort_keys=True, separators=(",", ":")),
        agreed=agreed,
        total=total,
    )
    session.add(row)
    session.flush()
    return row.id or 0


def own_attempt(session: Session, account_id: str, case_id: str, attempt_id: int) -> Attempt:
    """One of the own tries at a case.

    Raises: NotFound, also where it is somebody else's.
    """
    asked = select(PracticeAttemptRow).where(
        PracticeAttemptRow.id == attempt_id,
        PracticeAttemptRow.account_id == account_id,
        PracticeAttemptRow.case_id == case_id,
    )
    row = session.exec(asked).one_or_none()
    if row is None:
        raise NotFound(_("there is no such try of yours"))
    return _attempt(row)


def own_attempts(session: Session, account_id: str, most: int) -> list[Attempt]:
    """The newest of one's own tries, newest first."""
    asked = select(PracticeAttemptRow).where(PracticeAttemptRow.account_id == account_id)
    return _newest(session.exec(asked.order_by(col(PracticeAttemptRow.id).desc()).limit(most)))


def team_attempts(session: Session, most: int) -> list[Attempt]:
    """The newest tries of everybody, newest first."""
    asked = select(PracticeAttemptRow).order_by(col(PracticeAttemptRow.id).desc()).limit(most)
    return _newest(session.exec(asked))


def people_who_tried(session: Session) -> int:
    """How many accounts have tried any case."""
    asked = select(func.count(func.distinct(PracticeAttemptRow.account_id)))
    return session.exec(asked).one()


def _newest(rows: Iterable[PracticeAttemptRow]) -> list[Attempt]:
    return [_attempt(row) for row in rows]


def _attempt(row: PracticeAttemptRow) -> Attempt:
    try:
        exam = parse_exam(f'{{"findings": {row.graded}}}')
    except BadExam as fault:
        raise Unreadable(f"practice attempt {row.id}: {fault}") from fault
    graded: dict[Cell, Value] = {(name, side): value for name, side, value in exam.known()}
    return Attempt(row.id or 0, row.case_id, row.at, graded, row.agreed, row.total)
