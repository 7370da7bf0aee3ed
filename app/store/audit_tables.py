"""The tables of the clinic's settings, of emergency access and of the audit; only ever added to."""

from datetime import datetime

from sqlalchemy import CheckConstraint, ForeignKey, Index, Text, UniqueConstraint
from sqlmodel import Field

from app.store.columns import EntryId, Table, UtcDateTime


class SettingRow(Table, table=True):
    """One setting of the clinic. Only ever added; the newest of a name counts."""

    __tablename__ = "setting"
    __table_args__ = (Index(None, "name", "id"), {"sqlite_autoincrement": True})

    id: int | None = Field(default=None, sa_type=EntryId, primary_key=True)
    name: str = Field(sa_type=Text)
    value: str = Field(sa_type=Text)
    by: str = Field(sa_type=Text)
    account_id: str | None = Field(default=None, sa_type=Text)
    at: datetime = Field(sa_type=UtcDateTime)


class EmergencyAccessRow(Table, table=True):
    """Somebody opened charts that their role does not open, and said why. Only ever added."""

    __tablename__ = "emergency_access"
    __table_args__ = ({"sqlite_autoincrement": True},)

    id: int | None = Field(default=None, sa_type=EntryId, primary_key=True)
    account_id: str = Field(sa_type=Text, sa_column_args=[ForeignKey("account.id")])
    reason: str = Field(sa_type=Text)
    at: datetime = Field(sa_type=UtcDateTime)
    until: datetime = Field(sa_type=UtcDateTime)


class AuditRow(Table, table=True):
    """One thing that happened, chained to the one before. Triggers refuse to change or delete it.

    number: 1, 2, 3 … without gaps. detail: canonical JSON, facts about the act without clinical
    values. rows: canonical JSON, [table, key, SHA-256] of each row that the act added to a table
    that is only ever added to. previous: the hash of the row before, 64 zeros for the first.
    """

    __tablename__ = "audit"
    __table_args__ = (
        CheckConstraint("number > 0", name="number_counts"),
        UniqueConstraint("hash"),
        Index(None, "patient_id", "number"),
        Index(None, "account_id", "number"),
    )

    number: int = Field(
        sa_type=EntryId, primary_key=True, sa_column_kwargs={"autoincrement": False}
    )
    at: datetime = Field(sa_type=UtcDateTime)
    account_id: str = Field(sa_type=Text)
    name: str = Field(sa_type=Text)
    role: str = Field(sa_type=Text)
    source: str = Field(sa_type=Text)
    action: str = Field(sa_type=Text)
    patient_id: str = Field(sa_type=Text)
    exam_id: str = Field(sa_type=Text)
    detail: str = Field(sa_type=Text)
    rows: str = Field(sa_type=Text)
    previous: str = Field(sa_type=Text)
    hash: str = Field(sa_type=Text)
