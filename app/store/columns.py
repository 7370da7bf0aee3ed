"""What columns are made of, and the base of every table."""

from datetime import UTC, datetime
from typing import Any, ClassVar

from sqlalchemy import (
    BigInteger,
    CheckConstraint,
    DateTime,
    Dialect,
    Integer,
    MetaData,
    Text,
)
from sqlalchemy.types import TypeDecorator
from sqlmodel import SQLModel


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
