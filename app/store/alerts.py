"""Alerts: emergencies that stand in an exam until a physician has opened it."""

import json
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import update
from sqlmodel import Session, col, select

from app.store.actor import Actor
from app.store.audit import canonical, note
from app.store.patients import PatientCard, card
from app.store.tables import AlertRow, ExamRow, PatientRow


@dataclass(frozen=True)
class Alert:
    """Emergencies that no physician has seen. warnings: their ids, in order."""

    exam_id: str
    patient: PatientCard
    warnings: tuple[str, ...]
    since: datetime


def set_alert(session: Session, exam_id: str, warnings: Iterable[str], now: datetime) -> None:
    """Keep which emergencies an exam has now, in the transaction of the write that made them so.

    One that was not there before asks for a physician anew. The write itself is what the audit
    notes.
    """
    raised = sorted(set(warnings))
    row = session.get(AlertRow, exam_id, populate_existing=True)
    if not raised:
        if row is not None:
            session.delete(row)
    elif row is None:
        session.add(AlertRow(exam_id=exam_id, warnings=canonical(raised), since=now))
    else:
        if row.seen_by is not None and set(raised) - set(json.loads(row.warnings)):
            row.since, row.seen_by, row.seen_at = now, None, None
        row.warnings = canonical(raised)
    session.flush()


def seen_alert(session: Session, exam_id: str, *, actor: Actor, now: datetime) -> None:
    """Keep that a physician has opened an exam; who is none leaves the alert as it is."""
    if actor.role != "physician":
        return
    seen = session.exec(
        update(AlertRow)
        .where(col(AlertRow.exam_id) == exam_id, col(AlertRow.seen_by).is_(None))
        .values(seen_by=actor.name, seen_at=now)
    )
    if seen.rowcount:
        patient_id = session.exec(select(ExamRow.patient_id).where(ExamRow.id == exam_id)).one()
        note(session, actor, "seen_alert", at=now, patient_id=patient_id, exam_id=exam_id)


def has_alert(session: Session, exam_id: str) -> bool:
    """Whether an exam waits for a physician; it can be asked without a transaction that writes."""
    asked = select(AlertRow.exam_id).where(
        AlertRow.exam_id == exam_id, col(AlertRow.seen_by).is_(None)
    )
    return session.exec(asked).first() is not None


def alerts(session: Session) -> list[Alert]:
    """What no physician has seen yet, the longest waiting first."""
    asked = (
        select(AlertRow, PatientRow)
        .where(
            AlertRow.exam_id == ExamRow.id,
            ExamRow.patient_id == PatientRow.id,
            col(AlertRow.seen_by).is_(None),
        )
        .order_by(col(AlertRow.since), col(AlertRow.exam_id))
    )
    return [
        Alert(row.exam_id, card(who), tuple(json.loads(row.warnings)), row.since)
        for row, who in session.exec(asked)
    ]
