"""How many exams there are of each kind, counted by the database."""

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import ColumnElement, Select, func, literal_column
from sqlalchemy import select as columns
from sqlmodel import Session, col, select

from app.store.signing_tables import ConclusionRow
from app.store.tables import ExamRow, OnPaperRow

SIGNED_STATES = ("signed", "amended")


@dataclass(frozen=True)
class Period:
    """When patients were examined: since a moment, and before one; None without a limit."""

    since: datetime | None = None
    before: datetime | None = None


@dataclass(frozen=True)
class Counts:
    """Exams by what they are. An exam counts once, whatever stands beside it since it was signed.

    states: of every exam. The others are of signed exams: months, as in 2026-03, in UTC; levels,
    sides: by category; urgencies: by warning; falls: by falls group.
    """

    states: Mapping[str, int]
    months: Mapping[str, int]
    levels: Mapping[tuple[str, str], int]
    sides: Mapping[tuple[str, str | None], int]
    urgencies: Mapping[tuple[str, str], int]
    falls: Mapping[str, int]

    @property
    def signed(self) -> int:
        """How many exams are signed."""
        return sum(self.states.get(each, 0) for each in SIGNED_STATES)


def count_exams(session: Session, period: Period) -> Counts:
    """Count the exams of patients who were examined in a period."""
    state, month = col(ExamRow.state), _month(session)
    states = _examined(select(state, func.count()), period).group_by(state)
    months = _examined(select(month, func.count()), period).group_by(month)
    what = [getattr(ConclusionRow, each) for each in ("kind", "item", "level", "side")]
    # All at once: going through the exams takes the time, and not counting them.
    concluded = (
        _examined(columns(*what, func.count()), period)
        .join(ConclusionRow, col(ConclusionRow.exam_id) == col(ExamRow.id))
        .group_by(*what)
    )
    levels: Counter[tuple[str, str]] = Counter()
    sides: Counter[tuple[str, str | None]] = Counter()
    urgencies: Counter[tuple[str, str]] = Counter()
    falls: Counter[str] = Counter()
    for kind, item, level, side, count in session.execute(concluded):
        if kind == "category":
            levels[item, level] += count
            sides[item, side] += count
        elif kind == "warning":
            urgencies[item, level] += count
        else:
            falls[level] += count
    return Counts(
        states={each[0]: each[1] for each in session.execute(states)},
        months={
            each[0]: each[1] for each in session.execute(months.where(state.in_(SIGNED_STATES)))
        },
        levels=levels,
        sides=sides,
        urgencies=urgencies,
        falls=falls,
    )


def _examined_at() -> ColumnElement[datetime]:
    return func.coalesce(col(OnPaperRow.examined_at), col(ExamRow.started_at))


def _examined(asked: Any, period: Period) -> Select[Any]:
    """The exams of a period."""
    asked = asked.select_from(ExamRow).join(
        OnPaperRow, col(OnPaperRow.exam_id) == col(ExamRow.id), isouter=True
    )
    if period.since is not None:
        asked = asked.where(_examined_at() >= period.since)
    if period.before is not None:
        asked = asked.where(_examined_at() < period.before)
    narrowed: Select[Any] = asked
    return narrowed


def _month(session: Session) -> ColumnElement[str]:
    # Written out, as PostgreSQL groups by nothing that holds a parameter.
    if session.connection().dialect.name == "sqlite":
        return func.strftime(literal_column("'%Y-%m'"), _examined_at())
    # A server's own time zone would put the same exam into different months.
    in_utc = func.timezone(literal_column("'UTC'"), _examined_at())
    return func.to_char(in_utc, literal_column("'YYYY-MM'"))
