"""The audit as an administrator reads it: newest first, by person, by chart, by kind of act."""

import json
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlmodel import Session, col, select

from app.store.audit_tables import AuditRow, EmergencyAccessRow
from app.store.tables import PatientRow

MOST_LISTED = 100


@dataclass(frozen=True)
class Happened:
    """One row of the audit.

    chart_number: "" where the act was about no patient. reason: why charts were opened in an
    emergency or closed again, "" in every other act.
    """

    number: int
    at: datetime
    account_id: str
    name: str
    role: str
    source: str
    action: str
    chart_number: str
    exam_id: str
    detail: Mapping[str, Any]
    reason: str


@dataclass(frozen=True)
class Asked:
    """What of the audit is wanted; an empty part asks for everything.

    before: the number of a row; only older ones are wanted.
    """

    account_id: str = ""
    patient_id: str = ""
    action: str = ""
    before: int | None = None


def happened(session: Session, asked: Asked, *, limit: int = MOST_LISTED) -> list[Happened]:
    """The newest rows that fit, newest first."""
    query = (
        select(AuditRow, PatientRow.chart_number)
        .outerjoin(PatientRow, col(PatientRow.id) == col(AuditRow.patient_id))
        .order_by(col(AuditRow.number).desc())
        .limit(limit)
    )
    if asked.account_id:
        query = query.where(AuditRow.account_id == asked.account_id)
    if asked.patient_id:
        query = query.where(AuditRow.patient_id == asked.patient_id)
    if asked.action:
        query = query.where(AuditRow.action == asked.action)
    if asked.before is not None:
        query = query.where(col(AuditRow.number) < asked.before)
    found = list(session.exec(query))
    reasons = _reasons(session, [row for row, _ in found])
    return [
        Happened(
            number=row.number,
            at=row.at,
            account_id=row.account_id,
            name=row.name,
            role=row.role,
            source=row.source,
            action=row.action,
            chart_number=chart_number or "",
            exam_id=row.exam_id,
            detail=json.loads(row.detail),
            reason=reasons.get(row.number, ""),
        )
        for row, chart_number in found
    ]


def _reasons(session: Session, rows: list[AuditRow]) -> dict[int, str]:
    """Why charts were opened in an emergency or closed, by the number of the row that tells it."""
    keys = {
        int(key): row.number
        for row in rows
        if row.action in ("emergency_access", "emergency_access_end")
        for _, key, _ in json.loads(row.rows)
    }
    asked = select(EmergencyAccessRow.id, EmergencyAccessRow.reason).where(
        col(EmergencyAccessRow.id).in_(keys)
    )
    return {keys[key]: reason for key, reason in session.exec(asked) if key is not None}
