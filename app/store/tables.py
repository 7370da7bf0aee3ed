"""The tables. A row never leaves this room, and none is built from what a request sent."""

from datetime import UTC, date, datetime
from typing import Any, ClassVar

from sqlalchemy import (
    BigInteger,
    CheckConstraint,
    Date,
    DateTime,
    Dialect,
    ForeignKey,
    Index,
    Integer,
    MetaData,
    Text,
    UniqueConstraint,
    text,
)
from sqlalchemy.types import TypeDecorator
from sqlmodel import Field, SQLModel

SEXES = ("female", "male")
STATES = ("open", "ready", "signed", "amended")
ROLES = ("nurse", "physician")
# The finding id under which the medicines stand among the entries.
MEDICINES = "medicines"


class UtcDateTime(TypeDecorator[datetime]):
    """A moment in UTC to the microsecond, aware on both databases."""

    impl = DateTime(timezone=True)
    cache_ok = True

    def process_bind_param(self, value: datetime | None, dialect: Dialect) -> datetime | None:
        """Hand the moment over in UTC; a time without an offset is a mistake of ours."""
        if value is None:
            return None
        if value.tzinfo is None:
            raise ValueError(f"{value} has no offset from UTC")
        moment = value.astimezone(UTC)
        # SQLite keeps no offset.
        return moment.replace(tzinfo=None) if dialect.name == "sqlite" else moment

    def process_result_value(self, value: Any, dialect: Dialect) -> datetime | None:
        """Read the moment back as aware UTC."""
        if value is None:
            return None
        moment: datetime = value
        return moment.replace(tzinfo=UTC) if moment.tzinfo is None else moment.astimezone(UTC)


# Compared by code point, so that a prefix and an order mean the same on both databases.
KeyText = Text().with_variant(Text(collation="C"), "postgresql")
# SQLite numbers rows by itself only where the type reads INTEGER.
EntryId = BigInteger().with_variant(Integer, "sqlite")


def one_of(column: str, values: tuple[str, ...]) -> CheckConstraint:
    """A CHECK that the column holds one of the values."""
    listed = ", ".join(f"'{value}'" for value in values)
    return CheckConstraint(f"{column} IN ({listed})", name=f"{column}_known")


class Table(SQLModel):
    """The base of every table of this room."""

    metadata: ClassVar[MetaData] = MetaData(
        naming_convention={
            "ix": "ix_%(table_name)s_%(column_0_N_name)s",
            "uq": "uq_%(table_name)s_%(column_0_N_name)s",
            "ck": "ck_%(table_name)s_%(constraint_name)s",
            "fk": "fk_%(table_name)s_%(column_0_N_name)s_%(referred_table_name)s",
            "pk": "pk_%(table_name)s",
        }
    )


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
    )

    id: str = Field(sa_type=Text, primary_key=True)
    patient_id: str = Field(sa_type=Text, sa_column_args=[ForeignKey("patient.id")])
    state: str = Field(sa_type=Text)
    reason: str = Field(sa_type=Text)
    started_at: datetime = Field(sa_type=UtcDateTime, index=True)
    started_by: str = Field(sa_type=Text)
    started_role: str = Field(sa_type=Text)
    revision: int = Field(sa_type=Integer)


class EntryRow(Table, table=True):
    """One entry of an exam. Triggers refuse to change or delete it.

    side: NULL for a single finding. value: canonical JSON, NULL where the cell was cleared.
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
