"""How the databases read the worklist: by an index, however many exams were signed."""

import re
from collections.abc import Callable
from datetime import datetime
from typing import Any

from sqlalchemy import Engine, event, text
from sqlmodel import Session

from app.store.alerts import alerts
from app.store.engine import reading, writing
from app.store.exams import closed_before, worklist
from tests.store.clinic import MINUTE, NOW

MANY = 2000


def many_signed(engine: Engine) -> datetime:
    """Two exams that wait among many that do not, each with an alert; when today began."""
    moments = [NOW - number * MINUTE for number in range(MANY)]
    is_file = engine.dialect.name == "sqlite"
    rows = [
        {
            "id": f"{number:032x}",
            "state": "signed" if number > 1 else "ready",
            "at": str(moment.replace(tzinfo=None) if is_file else moment),
        }
        for number, moment in enumerate(moments)
    ]
    with writing(engine) as session:
        for statement in (
            "INSERT INTO patient VALUES (:id, :id, 'a', 'b', '1950-05-06', NULL, :at, :id, '', '')",
            "INSERT INTO exam VALUES (:id, :id, :state, '', :at, 'Ana', 'nurse', 0)",
            "INSERT INTO alert VALUES (:id, '[]', :at, 'Per', :at)",
        ):
            session.connection().execute(text(statement), rows)
        if not is_file:
            session.connection().execute(text("ANALYZE"))
    return moments[5]


def plan_of(engine: Engine, ask: Callable[[Session], Any]) -> str:
    """What the database says on how it answers the statements behind a function."""
    asked: list[tuple[str, Any]] = []

    def heard(*told: Any) -> None:
        asked.append((told[2], told[3]))

    with reading(engine) as session:
        event.listen(engine, "before_cursor_execute", heard)
        ask(session)
        event.remove(engine, "before_cursor_execute", heard)
        explain = "EXPLAIN" if engine.dialect.name == "postgresql" else "EXPLAIN QUERY PLAN"
        return "\n".join(
            str(tuple(row))
            for statement, values in asked
            for row in session.connection().exec_driver_sql(f"{explain} {statement}", values)
        )


def test_no_page_reads_every_exam(engine: Engine) -> None:
    """Each open worklist asks every few seconds, and the clinic signs for years."""
    today = many_signed(engine)
    listed = plan_of(engine, lambda session: worklist(session, today_since=today))
    waiting = plan_of(engine, alerts)
    counted = plan_of(engine, lambda session: closed_before(session, today))

    assert re.search("ix_exam_state_started_at.*ix_exam_started_at", listed, re.DOTALL), listed
    assert "ix_alert_waiting" in waiting
    assert [] == re.findall(r"(?:SCAN|Seq Scan on) (?:exam|patient)", listed + waiting)
    if engine.dialect.name == "sqlite":
        # PostgreSQL may read a small table whole to count most of it.
        assert "COVERING INDEX ix_exam_state_started_at (state=? AND started_at<?)" in counted
    with reading(engine) as session:
        assert {"signed": MANY - 6} == closed_before(session, today)
