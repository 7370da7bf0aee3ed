"""A condition as SQL says of each row what the evaluator says of the world in that row."""

import sqlite3
from collections.abc import Iterator, Sequence
from contextlib import closing
from itertools import product

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from sqlalchemy import Boolean, column, null, type_coerce
from sqlalchemy.dialects import sqlite

from app.logic.expression import Atom
from app.logic.query import Query, Stages, Term
from app.logic.truth import NO, UNKNOWN, YES, Truth
from tests.logic.worlds import (
    LEFT,
    OPPOSITE,
    PAIRED,
    RIGHT,
    SINGLE,
    Answers,
    Cell,
    Condition,
    condition,
)
from tests.strategies import EVERY_WRAP, answers_to, conditions

CELLS: list[Cell] = [(name, side) for name in PAIRED for side in (RIGHT, LEFT)]
CELLS += [(name, None) for name in SINGLE]
TRUTHS = (YES, NO, UNKNOWN)


class Cells:
    """A table with a column for each cell."""

    sides = (RIGHT, LEFT)

    def judge(self, atom: Atom, side: str | None) -> Term:
        """The column of the cell; a paired name on no side is unknown, as to the evaluator."""
        if atom.name in PAIRED and side is None:
            return Term(type_coerce(null(), Boolean))
        return Term(column(_column(atom.name, side), Boolean))

    def other(self, side: str | None) -> str | None:
        """The opposite side."""
        return OPPOSITE[side]

    def is_paired(self, name: str) -> bool:
        """Whether a name is recorded on each side."""
        return name in PAIRED


@pytest.fixture(scope="module")
def database() -> Iterator[sqlite3.Connection]:
    """A table with a row for each world."""
    with closing(sqlite3.connect(":memory:")) as opened:
        names = ", ".join(_column(*cell) for cell in CELLS)
        opened.execute(f"CREATE TABLE world (id, {names})")
        yield opened


def said(
    database: sqlite3.Connection,
    asked: Condition,
    worlds: Sequence[Answers],
    *,
    fenced: bool = True,
) -> list[Truth]:
    """What the query says of each world."""
    database.execute("DELETE FROM world")
    rows = ((n, *(each.get(c, UNKNOWN).known for c in CELLS)) for n, each in enumerate(worlds))
    database.executemany(f"INSERT INTO world VALUES ({', '.join('?' * (len(CELLS) + 1))})", rows)
    stages = Stages()
    found = Query(Cells(), asked.definitions, stages).truth(asked.expression, asked.side)
    query = stages.query("world", ("id",), {"holds": found}, fenced=fenced)
    text = str(query.compile(dialect=sqlite.dialect(), compile_kwargs={"literal_binds": True}))
    answers = dict(database.execute(text).fetchall())
    return [Truth.of(None if answers[n] is None else bool(answers[n])) for n in range(len(worlds))]


def _column(name: str, side: str | None) -> str:
    return f"{name}_{side}" if side else name


@pytest.mark.parametrize(
    "text",
    [
        "not x",
        "x and y",
        "x or y",
        "x and y and z",
        "at_least(1, x, y)",
        "at_least(2, x, y, z)",
        "at_least(2, x, not x, y)",
        "surely(x)",
        "not surely(x or y)",
    ],
)
def test_every_row_of_the_truth_table(database: sqlite3.Connection, text: str) -> None:
    """Yes, no and unknown of up to three things: SQL's NULL is Kleene's unknown."""
    asked = condition(text)
    worlds: list[Answers] = [
        {(name, None): truth for name, truth in zip("xyz", row, strict=True)}
        for row in product(TRUTHS, repeat=3)
    ]

    assert [asked.truth(each) for each in worlds] == said(database, asked, worlds)


@settings(max_examples=60)
@given(asked=conditions(EVERY_WRAP), drawn=st.lists(answers_to(CELLS), min_size=1, max_size=12))
def test_every_condition_says_what_the_evaluator_says(
    database: sqlite3.Connection, asked: Condition, drawn: list[Answers]
) -> None:
    """Any tree, with named conditions and sides; fenced off or not, the answer is the same."""
    expected = [asked.truth(each) for each in drawn]

    assert expected == said(database, asked, drawn)
    assert expected == said(database, asked, drawn, fenced=False)


def test_what_is_asked_for_often_is_worked_out_once() -> None:
    """Each name doubles the one before it: by copies the last would be a million times as long."""
    names = {f"n{n}": f"n{n - 1} and (not n{n - 1} or x)" for n in range(1, 21)}
    asked = condition("n20 or y", **names, n0="x or y")
    stages = Stages()
    found = Query(Cells(), asked.definitions, stages).truth(asked.expression)

    assert len(str(stages.query("world", ("id",), {"holds": found}, fenced=True))) < 6_000
