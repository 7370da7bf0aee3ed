"""A clinic of the past: what a database of each earlier version of the tables held.

past.json has, for each migration, the rows that came while it was the newest. A database of a
version is made by the migrations up to it and filled by plain inserts; nothing of the store is
asked. The rows are kept and never made anew, as a database of the past is not: a hash in them that
does not fit any more is a fault of the program. `python -m tests.store.write_past` adds the rows
of a new migration, and changes none.
"""

import base64
import json
from collections.abc import Mapping
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

from alembic import command
from alembic.config import Config
from sqlalchemy import (
    Boolean,
    Connection,
    Date,
    DateTime,
    Engine,
    Integer,
    LargeBinary,
    MetaData,
    Table,
    insert,
    select,
    text,
)

from app.store.engine import MIGRATIONS

FILE = Path(__file__).with_name("past.json")
# By version, by table, the rows; bytes are base64, moments and days ISO 8601.
Past = Mapping[str, Mapping[str, list[dict[str, Any]]]]
# What step 0009 makes of what was signed before; here it is what it has to make.
MADE_BY_A_STEP = {"conclusion"}


def past() -> Past:
    """The rows of each version, in order."""
    read: Past = json.loads(FILE.read_text("utf-8")) if FILE.exists() else {}
    return read


def filled(engine: Engine, version: str) -> dict[str, list[dict[str, Any]]]:
    """Make an empty database one of this version, and fill it; the rows that it had to take."""
    rows: dict[str, list[dict[str, Any]]] = {}
    for each in (number for number in past() if number <= version):
        for name, more in past()[each].items():
            rows.setdefault(name, []).extend(more)
    config = Config()
    config.set_main_option("script_location", str(MIGRATIONS))
    with engine.execution_options(evenhand_writes=True).begin() as connection:
        config.attributes["connection"] = connection
        command.upgrade(config, version)
        for table in tables_of(connection):
            if rows.get(table.name):
                given = [_fitting(table, row) for row in rows[table.name]]
                connection.execute(insert(table), given)
                _count_on(connection, table)
    return rows


def tables_of(connection: Connection) -> list[Table]:
    """The tables as the database itself describes them; one that points at another comes later."""
    seen = MetaData()
    seen.reflect(connection)
    return [each for each in seen.sorted_tables if each.name != "alembic_version"]


def held(connection: Connection, table: Table) -> list[dict[str, Any]]:
    """Every row, as the file has it."""
    keys = list(table.primary_key.columns)
    return [
        {name: _told(value) for name, value in row._mapping.items()}
        for row in connection.execute(select(table).order_by(*keys))
    ]


def in_order(table: Table, rows: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """Rows with the columns that a table has, in the order of its keys."""
    names, keys = [each.name for each in table.columns], [each.name for each in table.primary_key]
    shown = [{name: row[name] for name in names if name in row} for row in rows]
    return sorted(shown, key=lambda row: [row[key] for key in keys])


def _fitting(table: Table, row: Mapping[str, Any]) -> dict[str, Any]:
    return {
        column.name: _typed(column.type, row[column.name])
        for column in table.columns
        if column.name in row
    }


def _typed(kind: object, value: Any) -> Any:
    if value is None:
        return None
    if isinstance(kind, DateTime):
        moment = datetime.fromisoformat(value)
        # SQLite keeps no offset, and everything there is UTC.
        return moment if kind.timezone else moment.replace(tzinfo=None)
    if isinstance(kind, Date):
        return date.fromisoformat(value)
    if isinstance(kind, LargeBinary):
        return base64.b64decode(value)
    return bool(value) if isinstance(kind, Boolean) else value


def _told(value: Any) -> Any:
    if isinstance(value, datetime):
        moment = value if value.tzinfo else value.replace(tzinfo=UTC)
        return moment.astimezone(UTC).isoformat()
    if isinstance(value, date):
        return value.isoformat()
    return base64.b64encode(value).decode() if isinstance(value, bytes) else value


def _count_on(connection: Connection, table: Table) -> None:
    """Let PostgreSQL go on with the number after the last one, as it would have counted itself."""
    counted = isinstance(table.columns[0].type, Integer) and "id" in table.columns
    if connection.dialect.name == "postgresql" and counted:
        connection.execute(
            text(
                f"SELECT setval(pg_get_serial_sequence('{table.name}', 'id'), max(id)) "
                f"FROM {table.name}"
            )
        )
