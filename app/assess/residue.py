"""What is left of a condition once everything recorded is put in: what is open, and how it joins.

A residue is settled, or a leaf that stands for something unexamined, or "so many of these". `not`
and `surely` go down into the leaves: not at least two of three is at least two of three not.
"""

from collections.abc import Iterator
from functools import lru_cache
from typing import NamedTuple, TypeAlias, assert_never

from app.assess.answers import answers_to
from app.assess.atoms import is_of_one_cell, judge_recorded
from app.assess.world import ExamWorld
from app.exam.vocabulary import SIDES, Side
from app.knowledge.load import Knowledge
from app.logic.expression import (
    And,
    AnySide,
    AtLeast,
    Atom,
    BothSides,
    Expression,
    Not,
    Or,
    OtherSide,
    Reference,
    Surely,
)
from app.logic.truth import NO, UNKNOWN, YES

# Truths in an order in which `and` is the least and `or` the greatest.
Settled: TypeAlias = int
NEVER, UNSURE, SURE = 0, 1, 2
_RANK = {NO: NEVER, UNKNOWN: UNSURE, YES: SURE}
# What a leaf speaks of: a cell, or the words of a comparison that several cells go into.
Open: TypeAlias = tuple[str, Side | None]
# What is made of each truth on the way from a leaf to the root, by `not` and `surely`.
_Change: TypeAlias = tuple[Settled, Settled, Settled]
_AS_IT_IS: _Change = (NEVER, UNSURE, SURE)


class Leaf(NamedTuple):
    """Something unexamined. answers: what each answer makes of it; and, last, none."""

    open: Open
    answers: tuple[Settled, ...]


class Joint(NamedTuple):
    """`least` of the members or more hold; none of them is settled as yes or no."""

    least: int
    members: tuple["Residue", ...]


Residue: TypeAlias = Settled | Leaf | Joint


def joint(count: int, members: list[Residue]) -> Residue:
    """So many of these, reduced by those that are settled."""
    needed = count - members.count(SURE)
    rest = [each for each in members if each not in (NEVER, SURE)]
    if needed <= 0:
        return SURE
    if needed > len(rest):
        return NEVER
    if len(rest) == 1 or all(each == UNSURE for each in rest):
        return rest[0]
    return Joint(needed, tuple(rest))


class Residues:
    """The residues of conditions in one exam. inputs: the cells that go into a comparison."""

    def __init__(self, world: ExamWorld) -> None:
        self.world = world
        self._evaluation = world.evaluation
        self.inputs: dict[Open, tuple[Open, ...]] = {}
        self._named: dict[tuple[str, Side | None, _Change], Residue] = {}

    def of(
        self, expression: Expression, side: Side | None = None, change: _Change = _AS_IT_IS
    ) -> Residue:
        """The residue of a condition, after what is made of its truth above it."""
        if self._evaluation.is_settled(expression, side):
            return change[_RANK[self._evaluation.truth(expression, side)]]
        match expression:
            case Atom():
                return self._leaf(expression, side, change)
            case Reference(name):
                return self._of_named(name, side, change)
            case Not(inner):
                return self.of(inner, side, (change[2], change[1], change[0]))
            case Surely(inner):
                return self.of(inner, side, (change[0], change[0], change[2]))
            case OtherSide(inner):
                return self.of(inner, side.other if side else None, change)
            case AnySide(inner):
                return self._joint(1, ((inner, each) for each in SIDES), change)
            case BothSides(inner):
                return self._joint(2, ((inner, each) for each in SIDES), change)
            case And(members):
                return self._joint(len(members), ((each, side) for each in members), change)
            case Or(members):
                return self._joint(1, ((each, side) for each in members), change)
            case AtLeast(count, members):
                return self._joint(count, ((each, side) for each in members), change)
            case _:
                assert_never(expression)

    def _joint(
        self, count: int, parts: Iterator[tuple[Expression, Side | None]], change: _Change
    ) -> Residue:
        members = [self.of(each, at, change) for each, at in parts]
        turned = change[0] > change[2]
        return joint(len(members) - count + 1 if turned else count, members)

    def _of_named(self, name: str, side: Side | None, change: _Change) -> Residue:
        definition = self.world.knowledge.definitions[name]
        key = (name, side if definition.paired else None, change)
        if key not in self._named:
            self._named[key] = self.of(definition.expression, key[1], change)
        return self._named[key]

    def _leaf(self, atom: Atom, side: Side | None, change: _Change) -> Residue:
        world, at = self.world, side if self.world.is_paired(atom.name) else None
        if (atom.name, at) in world.exam.cells or not world.can_change(atom, at):
            # What was tried and could not be judged stays so.
            return change[_RANK[world.judge(atom, at)]]
        open_: Open = (atom.name, at)
        if not is_of_one_cell(world.knowledge, atom):
            open_ = (" ".join((atom.name, atom.relation, *atom.operands)), None)
            self.inputs[open_] = tuple(
                (reason.finding, reason.side) for reason in world.unsettled(atom) if reason.finding
            )
        return Leaf(open_, tuple(change[each] for each in _answers(world.knowledge, atom)))


@lru_cache(maxsize=1024)
def _answers(knowledge: Knowledge, atom: Atom) -> tuple[Settled, ...]:
    """What each answer makes of a comparison, and last what no answer does.

    A comparison that several cells go into, or a medicine, may come out either way.
    """
    if not is_of_one_cell(knowledge, atom):
        return (SURE, NEVER) if atom.relation == "known" else (NEVER, SURE, UNSURE)
    answers = (*answers_to(knowledge, atom.name), None)
    return tuple(_RANK[judge_recorded(knowledge, atom, answer)] for answer in answers)
