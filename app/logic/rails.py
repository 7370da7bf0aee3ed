"""Conditions as plain Python that stops at the first part that decides.

A truth of three values is two of two values: whether it is sure, and whether it is possible. Each
condition is written twice, once for each, with Python's own `and` and `or`. Nothing is worked out
that is not asked for: fast for a few conditions of one exam, where a circuit works out all of them.
"""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal, assert_never

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

Rail = Literal["sure", "possible"]
# What gives the text of an atom on a side, for a rail.
WriteAtom = Callable[[Atom, str | None, Rail], str]
_OTHER_RAIL: dict[Rail, Rail] = {"sure": "possible", "possible": "sure"}


@dataclass(frozen=True)
class Rails:
    """Writes conditions. sides: the two sides, first and second."""

    definitions: Definitions
    sides: tuple[str, str]
    write_atom: WriteAtom

    def written(self, expression: Expression, rail: Rail, side: str | None = None) -> str:
        """The text of a condition, which comes out true where it is sure, or where possible."""
        match expression:
            case Atom():
                return self.write_atom(expression, side, rail)
            case Reference(name):
                return self.written(self.definitions[name].expression, rail, side)
            case Not(inner):
                return f"(not {self.written(inner, _OTHER_RAIL[rail], side)})"
            case Surely(inner):
                return self.written(inner, "sure", side)
            case And(members):
                return self._joined(" and ", [(each, side) for each in members], rail, "True")
            case Or(members):
                return self._joined(" or ", [(each, side) for each in members], rail, "False")
            case AtLeast(count, members):
                counted = [f"bool({self.written(each, rail, side)})" for each in members]
                return f"({' + '.join(counted) or 0} >= {count})"
            case AnySide(inner):
                return self._joined(" or ", [(inner, each) for each in self.sides], rail, "False")
            case BothSides(inner):
                return self._joined(" and ", [(inner, each) for each in self.sides], rail, "True")
            case OtherSide(inner):
                other = self.sides[1] if side == self.sides[0] else self.sides[0]
                return self.written(inner, rail, other)
            case _:
                assert_never(expression)

    def _joined(
        self, word: str, parts: list[tuple[Expression, str | None]], rail: Rail, none: str
    ) -> str:
        return f"({word.join(self.written(each, rail, at) for each, at in parts) or none})"
