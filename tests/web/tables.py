"""Every address of the program, and what its database holds: did something change it?"""

import re
from collections.abc import Mapping
from typing import Any

import sqlalchemy
from fastapi import FastAPI
from sqlmodel import col, select

from app.store.audit_tables import AuditRow
from app.store.columns import Table
from app.store.engine import reading

# Written also where somebody only looks: who is there, and what was seen.
OF_LOOKING = ("audit", "sign_in", "presence", "alert")


def addresses(app: FastAPI, ids: Mapping[str, str]) -> list[tuple[str, str]]:
    """Every method and address that the program answers, /api aside.

    ids: what stands in the addresses, by the name of the parameter; "0" for any other.
    """
    return sorted(
        (method, re.sub(r"{(\w+)}", lambda found: ids.get(found[1], "0"), route.path))
        for route in app.state.routes
        for method in route.methods
        if not route.path.startswith("/api/")
    )


def kept(app: FastAPI) -> dict[str, list[Any]]:
    """Every row of every table, but for those that looking changes, too."""
    with reading(app.state.engine) as session:
        return {
            name: sorted(map(repr, session.connection().execute(sqlalchemy.select(table)).all()))
            for name, table in Table.metadata.tables.items()
            if name not in OF_LOOKING
        }


def audit_rows(app: FastAPI) -> list[AuditRow]:
    """The whole audit, oldest first."""
    with reading(app.state.engine) as session:
        return list(session.exec(select(AuditRow).order_by(col(AuditRow.number))))
