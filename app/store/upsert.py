"""Rows of which there is one for each key, added or changed in one statement."""

from collections.abc import Mapping
from typing import Any

from sqlalchemy import inspect
from sqlalchemy.dialects import postgresql, sqlite
from sqlmodel import Session

from app.store.columns import Table


def add_or_change(
    session: Session, table: type[Table], row: Mapping[str, Any], changes: Mapping[str, Any]
) -> None:
    """Add a row, or make the changes to the one that has its primary key.

    Two who do so at once wait for each other, and neither meets a row that was added meanwhile.
    """
    keys = [column.name for column in inspect(table).primary_key]
    if session.get_bind().dialect.name == "postgresql":
        session.exec(
            postgresql.insert(table)
            .values(**row)
            .on_conflict_do_update(index_elements=keys, set_=dict(changes))
        )
    else:
        session.exec(
            sqlite.insert(table)
            .values(**row)
            .on_conflict_do_update(index_elements=keys, set_=dict(changes))
        )
