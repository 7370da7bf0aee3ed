"""The tables of patients, exams and entries. A row never leaves this room, and none is built from
what a request sent.
"""

from datetime import date, datetime

from sqlalchemy import (
    CheckConstraint,
    Date,
    ForeignKey,
    Index,
    Integer,
    Text,
    UniqueConstraint,
    text,
)
from sqlmodel import Field

from app.store.columns import EntryId, KeyText, Table, UtcDateTime, one_of

SEXES = ("female", "male")
STATES = ("open", "ready", "signed", "amended")
# Who may record findings, and who may have an account.
ROLES = ("nurse", "physician")
ACCOUNT_ROLES = (*ROLES, "administrator")
REVIEW_KINDS = ("impression", "plan", "step", "emergency", "confirmed", "code", "for_patient")
SIGNATURE_KINDS = ("exam", "addendum", "late_entry", "correction")
# The finding id under which the medicines stand among the entries.
MEDICINES = "medicines"


class PatientRow(Table, table=True):
    """A patient, with the keys by which they are found."""

    __tablename__ = "patient"
    __table_args__ = (UniqueConstraint("chart_key"), one_of("sex", SEXES))

    id: str = Field(sa_type=Text, primary_key=True)
    chart_number: str = Field(sa_type=Text)
    family_name: str = Field(sa_type=Text)
    given_name: str = Field(sa_type=Text)
    birth_date: date = Field(sa_type=Date)
    sex: str | None = Field(default=None, sa_type=Text)
    created_at: datetime = Field(sa_type=UtcDateTime)
    chart_key: str = Field(sa_type=KeyText)
    family_first_key: str = Field(sa_type=KeyText, index=True)
    given_first_key: str = Field(sa_type=KeyText, index=True)


class ExamRow(Table, table=True):
    """An exam. Its revision counts the saved changes."""

    __tablename__ = "exam"
    __table_args__ = (
        one_of("state", STATES),
        one_of("started_role", ROLES),
        CheckConstraint("revision >= 0", name="revision_counts"),
        Index(None, "patient_id", "started_at"),
        # What waits for somebody, and how many wait for nobody, among very many that were signed.
        Index(None, "state", "started_at"),
    )

    id: str = Field(sa_type=Text, primary_key=True)
    patient_id: str = Field(sa_type=Text, sa_column_args=[ForeignKey("patient.id")])
    state: str = Field(sa_type=Text)
    reason: str = Field(sa_type=Text)
    started_at: datetime = Field(sa_type=UtcDateTime, index=True)
    started_by: str = Field(sa_type=Text)
    started_role: str = Field(sa_type=Text)
    revision: int = Field(sa_type=Integer)


class OnPaperRow(Table, table=True):
    """An exam that was done on paper and entered later. Triggers refuse to change or delete it."""

    __tablename__ = "on_paper"

    exam_id: str = Field(sa_type=Text, primary_key=True, sa_column_args=[ForeignKey("exam.id")])
    examined_at: datetime = Field(sa_type=UtcDateTime)
    examined_by: str = Field(sa_type=Text)


class EntryRow(Table, table=True):
    """One entry of an exam. Triggers refuse to change or delete it.

    side: NULL for a single finding. value: canonical JSON, NULL where the cell was cleared.
    bulk: no person decided on this cell by itself: it was marked with the rest of its station, or
    emptied again by taking back the only entry that it had.
    """

    __tablename__ = "entry"
    __table_args__ = (
        one_of("side", ("right", "left")),
        one_of("role", ROLES),
        CheckConstraint("revision > 0", name="revision_counts"),
        # One write gives one value to one cell; a NULL side needs an index of its own.
        UniqueConstraint("exam_id", "revision", "finding", "side"),
        Index(
            "uq_entry_single_finding",
            "exam_id",
            "revision",
            "finding",
            unique=True,
            sqlite_where=text("side IS NULL"),
            postgresql_where=text("side IS NULL"),
        ),
        # Nothing can be replaced twice, so the entries of a cell are one chain.
        UniqueConstraint("replaces"),
        Index(None, "exam_id", "id"),
        {"sqlite_autoincrement": True},
    )

    id: int | None = Field(default=None, sa_type=EntryId, primary_key=True)
    exam_id: str = Field(sa_type=Text, sa_column_args=[ForeignKey("exam.id")])
    revision: int = Field(sa_type=Integer)
    finding: str = Field(sa_type=Text)
    side: str | None = Field(default=None, sa_type=Text)
    value: str | None = Field(default=None, sa_type=Text)
    by: str = Field(sa_type=Text)
    role: str = Field(sa_type=Text)
    at: datetime = Field(sa_type=UtcDateTime)
    replaces: int | None = Field(
        default=None, sa_type=EntryId, sa_column_args=[ForeignKey("entry.id")]
    )
    bulk: bool
    # NULL where the entry was made before there were accounts, or by the demonstration.
    account_id: str | None = Field(default=None, sa_type=Text)


class AlertRow(Table, table=True):
    """An emergency that stands in an exam until a physician has opened it.

    warnings: canonical JSON, the ids. seen_by: the physician, NULL until then.
    """

    __tablename__ = "alert"
    __table_args__ = (
        # Every exam that ever had an emergency keeps its row.
        Index(
            "ix_alert_waiting",
            "since",
            "exam_id",
            sqlite_where=text("seen_by IS NULL"),
            postgresql_where=text("seen_by IS NULL"),
        ),
    )

    exam_id: str = Field(sa_type=Text, primary_key=True, sa_column_args=[ForeignKey("exam.id")])
    warnings: str = Field(sa_type=Text)
    since: datetime = Field(sa_type=UtcDateTime)
    seen_by: str | None = Field(default=None, sa_type=Text)
    seen_at: datetime | None = Field(default=None, sa_type=UtcDateTime)


class PresenceRow(Table, table=True):
    """Who has an exam open, and at which station they are."""

    __tablename__ = "presence"

    exam_id: str = Field(sa_type=Text, primary_key=True, sa_column_args=[ForeignKey("exam.id")])
    token_hash: str = Field(sa_type=Text, primary_key=True)
    name: str = Field(sa_type=Text)
    role: str = Field(sa_type=Text)
    station: str = Field(sa_type=Text)
    at: datetime = Field(sa_type=UtcDateTime)
