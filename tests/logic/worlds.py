"""A small world for conditions, and a plain reading of conditions to compare the program with.

`p` to `s` are recorded on each side, `w` to `z` once. A cell is a name on a side.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from itertools import product

from app.logic.evaluate import Evaluation
from app.logic.expression import (
    And,
    AnySide,
    AtLeast,
    Atom,
    BothSides,
    Definition,
    Definitions,
    Expression,
    Not,
    Or,
    OtherSide,
    Reference,
    Surely,
    rewrite,
)
from app.logic.parse import parse
from app.logic.truth import NO, UNKNOWN, YES, Truth

PAIRED = ("p", "q", "r", "s")
SINGLE = ("w", "x", "y", "z")
RIGHT, LEFT = "right", "left"
OPPOSITE = {RIGHT: LEFT, LEFT: RIGHT, None: None}

Cell = tuple[str, str | None]
Answers = Mapping[Cell, Truth]


@dataclass(frozen=True)
class TableWorld:
    """Answers from a table; what does not stand there is unknown, and can still change.

    final: cells that stay as they are, like a finding that could not be tested.
    """

    answers: Answers
    final: frozenset[Cell] = frozenset()

    sides = (RIGHT, LEFT)

    def judge(self, atom: Atom, side: str | None) -> Truth:
        """The answer in the table."""
        return self.answers.get((atom.name, side), UNKNOWN)

    def can_change(self, atom: Atom, side: str | None) -> bool:
        """Whether the cell is unknown and not final."""
        return (atom.name, side) not in self.final and self.judge(atom, side) is UNKNOWN

    def other(self, side: str | None) -> str | None:
        """The opposite side."""
        return OPPOSITE[side]

    def is_paired(self, name: str) -> bool:
        """Whether a name is recorded on each side."""
        return name in PAIRED


def world(**answers: str) -> TableWorld:
    """A world in which `p_right="yes"` and `x="no"` are answered so, and all else is unknown."""
    table: dict[Cell, Truth] = {}
    for key, value in answers.items():
        name, _, side = key.partition("_")
        table[name, side or None] = Truth(value)
    return TableWorld(table)


@dataclass(frozen=True)
class Condition:
    """A condition with the definitions that it speaks of, judged on a side."""

    expression: Expression
    definitions: Definitions
    side: str | None = None

    def cells(self) -> list[Cell]:
        """Every cell that the condition reads, as often as it reads it."""
        return list(_cells(self.expression, self.definitions, self.side))

    def evaluation(self, answers: Answers, final: frozenset[Cell] = frozenset()) -> Evaluation:
        """An evaluation in the world of these answers."""
        return Evaluation(TableWorld(answers, final), self.definitions)

    def truth(self, answers: Answers) -> Truth:
        """What the program says."""
        return self.evaluation(answers).truth(self.expression, self.side)

    def because(self, answers: Answers) -> list[Cell]:
        """The cells that the program gives as reasons."""
        found = self.evaluation(answers).because(self.expression, self.side)
        return [(atom.name, side) for atom, side in found]

    def grounds(self, answers: Answers) -> list[Cell]:
        """The cells that the program says a yes or no rests on."""
        found = self.evaluation(answers).grounds(self.expression, self.side)
        return [(atom.name, side) for atom, side in found]

    def unsettled(self, answers: Answers, final: frozenset[Cell] = frozenset()) -> list[Cell]:
        """The cells that the program says could still change the result."""
        found = self.evaluation(answers, final).unsettled(self.expression, self.side)
        return [(atom.name, side) for atom, side in found]

    def holds(self, true: set[Cell]) -> bool:
        """The plain reading, in a world where everything is known and only these cells hold."""
        return _holds(self.expression, self.definitions, self.side, true)


def condition(text: str, side: str | None = None, **definitions: str) -> Condition:
    """A condition as it is written. A named one whose name ends in `_side` is judged on a side."""

    def tree(sentence: str) -> Expression:
        def named(atom: Atom) -> Expression:
            return Reference(atom.name) if atom.name in definitions else atom

        return rewrite(parse(sentence), named)

    return Condition(
        tree(text),
        {
            name: Definition(tree(sentence), name.endswith("_side"))
            for name, sentence in definitions.items()
        },
        side,
    )


def completions(answers: Answers, cells: list[Cell]) -> Iterator[dict[Cell, Truth]]:
    """Every way in which the unknown ones of these cells could turn out."""
    unknown = [cell for cell in dict.fromkeys(cells) if answers.get(cell, UNKNOWN) is UNKNOWN]
    for values in product((YES, NO), repeat=len(unknown)):
        yield {**answers, **dict(zip(unknown, values, strict=True))}


def true_cells(answers: Answers) -> set[Cell]:
    """The cells that hold."""
    return {cell for cell, truth in answers.items() if truth is YES}


def mirrored(answers: Answers) -> dict[Cell, Truth]:
    """The same answers with the sides changed over."""
    return {(name, OPPOSITE[side]): truth for (name, side), truth in answers.items()}


def _cells(expression: Expression, named: Definitions, side: str | None) -> Iterator[Cell]:
    match expression:
        case Atom(name):
            yield name, side if name in PAIRED else None
        case Reference(name):
            yield from _cells(named[name].expression, named, side if named[name].paired else None)
        case Not(inner) | Surely(inner):
            yield from _cells(inner, named, side)
        case And(members) | Or(members) | AtLeast(_, members):
            for member in members:
                yield from _cells(member, named, side)
        case AnySide(inner) | BothSides(inner):
            yield from _cells(inner, named, RIGHT)
            yield from _cells(inner, named, LEFT)
        case OtherSide(inner):
            yield from _cells(inner, named, OPPOSITE[side])


def _holds(expression: Expression, named: Definitions, side: str | None, true: set[Cell]) -> bool:
    def inside(inner: Expression, at: str | None = side) -> bool:
        return _holds(inner, named, at, true)

    match expression:
        case Atom(name):
            return (name, side if name in PAIRED else None) in true
        case Reference(name):
            return inside(named[name].expression, side if named[name].paired else None)
        case Not(inner):
            return not inside(inner)
        case And(members):
            return all(map(inside, members))
        case Or(members):
            return any(map(inside, members))
        case AtLeast(count, members):
            return sum(map(inside, members)) >= count
        case AnySide(inner):
            return inside(inner, RIGHT) or inside(inner, LEFT)
        case BothSides(inner):
            return inside(inner, RIGHT) and inside(inner, LEFT)
        case OtherSide(inner):
            return inside(inner, OPPOSITE[side])
        case Surely(inner):
            return inside(inner)
