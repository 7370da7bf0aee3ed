"""Read a condition as SQL: the reader for a whole registry, where the data lies.

The logic of SQL is Kleene's: AND, OR and NOT over booleans that may be NULL. So a condition becomes
one expression of the same shape, unknown is NULL, and each row of a table is one world.

A part that is asked for in several places is worked out once: it becomes a column of a stage, a
SELECT over the stage before, so that no expression grows by copies of others.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any, Protocol, TypeGuard, assert_never

from sqlalchemy import (
    Boolean,
    ColumnClause,
    ColumnElement,
    FromClause,
    Integer,
    Select,
    and_,
    case,
    cast,
    column,
    false,
    func,
    literal_column,
    not_,
    or_,
    select,
    table,
    true,
)
from sqlalchemy.dialects import postgresql
from sqlalchemy.sql import visitors

from app.logic.expression import (
    And,
    AnySide,
    AtLeast,
    Atom,
    BothSides,
    Definitions,
    Expression,
    Not,
    Or,
    OtherSide,
    Reference,
    Surely,
)

_TEXT = postgresql.dialect()  # type: ignore[no-untyped-call]
# More rows than there can be.
_ALL: ColumnElement[int] = literal_column(str(2**63 - 1))


@dataclass(frozen=True)
class Term:
    """An expression, and the stage from which on every column that it names is there.

    Stage 0 is the table itself.
    """

    sql: ColumnElement[bool]
    stage: int = 0


class Table(Protocol):
    """What answers atoms: the columns of a table, as a World answers them from one exam."""

    sides: tuple[str, str]

    def judge(self, atom: Atom, side: str | None) -> Term:
        """Whether the atom holds on this side, NULL where that is unknown."""

    def other(self, side: str | None) -> str | None:
        """The opposite side."""

    def is_paired(self, name: str) -> bool:
        """Whether an atom's name is recorded on each side."""


class Stages:
    """Columns worked out one after the other, each from those of the stages before."""

    def __init__(self) -> None:
        self._made: list[dict[str, ColumnElement[bool]]] = []
        self._known: dict[str, Term] = {}
        self._names: set[str] = set()

    def keep(self, name: str, term: Term) -> Term:
        """The term as a column of the next stage; the same expression is never kept twice.

        name: what the column is called, with a number where that name is taken.
        """
        if _is_column(term.sql):
            return term
        text = as_text(term.sql)
        if text not in self._known:
            unique = self._unique(name)
            while len(self._made) <= term.stage:
                self._made.append({})
            self._made[term.stage][unique] = term.sql
            self._known[text] = Term(column(unique, Boolean), term.stage + 1)
        return self._known[text]

    def query(
        self, source: str, keys: tuple[str, ...], wanted: Mapping[str, Term], *, fenced: bool
    ) -> Select[*tuple[Any, ...]]:
        """The wanted terms and the key columns of each row of a table, as one query.

        fenced: a LIMIT keeps SQLite and PostgreSQL from putting the stages back into each other,
        which would bring all the copies back.
        """
        last: dict[str, ColumnElement[bool]] = {name: term.sql for name, term in wanted.items()}
        needed = [set(keys) | _columns(last.values())]
        for made in reversed(self._made):
            needed.append((needed[-1] - made.keys()) | _columns(made.values()) | set(keys))
        needed.reverse()
        stage: FromClause = table(source)
        for number, made in enumerate(self._made, start=1):
            kept = sorted(needed[number] - made.keys())
            new = [sql.label(name) for name, sql in made.items() if name in needed[number]]
            step: Select[*tuple[Any, ...]] = select(*map(column, kept), *new).select_from(stage)
            stage = (step.limit(_ALL) if fenced else step).cte(f"stage_{number}")
        results = (sql.label(name) for name, sql in last.items())
        return select(*map(column, keys), *results).select_from(stage)

    def _unique(self, name: str) -> str:
        plain, number = f"{name}_holds", 1
        unique = plain
        while unique in self._names:
            number += 1
            unique = f"{plain}_{number}"
        self._names.add(unique)
        return unique


class Query:
    """Conditions as terms over one table. Named conditions are worked out once."""

    def __init__(self, table: Table, definitions: Definitions, stages: Stages) -> None:
        self.table = table
        self.definitions = definitions
        self.stages = stages
        self._read: dict[tuple[Expression, str | None], Term] = {}

    def truth(self, expression: Expression, side: str | None = None) -> Term:
        """A condition, judged on a side where it is a paired one."""
        key = (expression, side)
        if key not in self._read:
            self._read[key] = self._truth(expression, side)
        return self._read[key]

    def _truth(self, expression: Expression, side: str | None) -> Term:
        match expression:
            case Atom(name):
                return self.table.judge(expression, side if self.table.is_paired(name) else None)
            case Reference(name):
                return self._named(name, side)
            case And(members):
                return conjunction(*(self.truth(member, side) for member in members))
            case Or(members):
                return disjunction(*(self.truth(member, side) for member in members))
            case Not(inner):
                return negation(self.truth(inner, side))
            case AtLeast(count, members):
                return self._at_least(count, [self.truth(member, side) for member in members])
            case AnySide(inner):
                return disjunction(*(self.truth(inner, each) for each in self.table.sides))
            case BothSides(inner):
                return conjunction(*(self.truth(inner, each) for each in self.table.sides))
            case OtherSide(inner):
                return self.truth(inner, self.table.other(side))
            case Surely(inner):
                return surely(self.truth(inner, side))
            case _:
                assert_never(expression)

    def _named(self, name: str, side: str | None) -> Term:
        definition = self.definitions[name]
        at = side if definition.paired else None
        plain = name.replace(":", "_is_")
        return self.stages.keep(
            f"{plain}_{at}" if at else plain, self.truth(definition.expression, at)
        )

    def _at_least(self, count: int, members: list[Term]) -> Term:
        # Each stands twice in the counting, so it becomes a column first.
        kept = [self.stages.keep("member", each) for each in members]
        sure = sum((_counted(each.sql, unknown=0) for each in kept[1:]), _counted(kept[0].sql, 0))
        possible = sum(
            (_counted(each.sql, unknown=1) for each in kept[1:]), _counted(kept[0].sql, 1)
        )
        counted = case((sure >= count, true()), (possible < count, false()), else_=None)
        return Term(counted, _latest(kept))


def conjunction(*terms: Term) -> Term:
    """All of these."""
    return Term(and_(true(), *(each.sql for each in terms)), _latest(terms))


def disjunction(*terms: Term) -> Term:
    """One of these or more."""
    return Term(or_(false(), *(each.sql for each in terms)), _latest(terms))


def negation(term: Term) -> Term:
    """The opposite."""
    return Term(not_(term.sql), term.stage)


def surely(term: Term) -> Term:
    """True where it is known to hold, else false."""
    return Term(func.coalesce(term.sql, false(), type_=Boolean), term.stage)


def as_text(sql: ColumnElement[bool]) -> str:
    """An expression written out, with its numbers in it."""
    return str(sql.compile(dialect=_TEXT, compile_kwargs={"literal_binds": True}))


def _counted(sql: ColumnElement[bool], unknown: int) -> ColumnElement[int]:
    return func.coalesce(cast(sql, Integer), unknown, type_=Integer)


def _latest(terms: tuple[Term, ...] | list[Term]) -> int:
    return max((each.stage for each in terms), default=0)


def _columns(expressions: Iterable[ColumnElement[bool]]) -> set[str]:
    """The names of the columns that expressions are made of."""
    return {
        part.name for each in expressions for part in visitors.iterate(each) if _is_column(part)
    }


def _is_column(part: object) -> TypeGuard[ColumnClause[object]]:
    # A number or a text that is written out is one of these as well.
    return isinstance(part, ColumnClause) and not part.is_literal
