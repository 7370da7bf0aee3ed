"""Rows of exams read by SQL inside the process: a SQLite in memory, a batch at a time."""

import sqlite3
from collections.abc import Iterator, Mapping
from contextlib import closing, contextmanager

from app.assess.reassessed import ABSENT, PRESENT, Concluded
from app.exam.record import Exam
from app.knowledge.load import Knowledge
from app.store.registry.results import hazard_column, results_sql
from app.store.registry.rows import columns, row_of, table_sql

# What one exam gives: by the id of each rule, and of each hazard under `hazard_…`.
Results = Mapping[str, str | bool]
_TABLE = "registry"
_PLACE = "place"


class InMemory:
    """A table in memory that is emptied for each batch, so that its size never grows."""

    def __init__(self, database: sqlite3.Connection, knowledge: Knowledge) -> None:
        self._database = database
        self._knowledge = knowledge
        names = columns(knowledge)
        database.execute(table_sql(knowledge, _TABLE, {_PLACE: "integer"}))
        marks = ", ".join("?" * (len(names) + 1))
        self._insert = f"INSERT INTO {_TABLE} VALUES ({marks})"  # noqa: S608 - names are our own
        self._query = results_sql(knowledge, "sqlite", _TABLE, (_PLACE,))

    def results(self, exams: list[Exam]) -> list[Results]:
        """What each exam gives, in the same order."""
        self._database.execute(f"DELETE FROM {_TABLE}")  # noqa: S608
        rows = (row_of(each, self._knowledge) for each in exams)
        self._database.executemany(
            self._insert, ((place, *row.values()) for place, row in enumerate(rows))
        )
        answered = self._database.execute(self._query)
        names = [each[0] for each in answered.description]
        found: list[Results] = [{} for _ in exams]
        for values in answered:
            row = dict(zip(names, values, strict=True))
            place = row.pop(_PLACE)
            found[place] = _plain(row)
        return found


@contextmanager
def in_memory(knowledge: Knowledge) -> Iterator[InMemory]:
    """A table for one knowledge, gone at the end."""
    with closing(sqlite3.connect(":memory:")) as database:
        yield InMemory(database, knowledge)


def _plain(row: Mapping[str, str | int]) -> Results:
    # SQLite has no booleans of its own.
    return {name: each if isinstance(each, str) else bool(each) for name, each in row.items()}


def as_concluded(results: Results, knowledge: Knowledge) -> Concluded:
    """The results by kind and id, as those of a signed assessment stand."""
    fall_risk = knowledge.fall_risk.id
    return {
        **{("category", each): str(results[each]) for each in knowledge.categories},
        **{("warning", each): str(results[each]) for each in knowledge.warnings},
        ("fall_risk", fall_risk): str(results[fall_risk]),
        **{
            ("hazard", each): PRESENT if results[hazard_column(each)] else ABSENT
            for each in knowledge.hazards
        },
    }
