"""Evaluate a condition, and say what its result rests on and what could still change it."""

from collections.abc import Iterator
from typing import Protocol, assert_never

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
    children,
)
from app.logic.truth import (
    NO,
    UNKNOWN,
    YES,
    Truth,
    at_least,
    conjunction,
    disjunction,
    negation,
)

# An atom on the side on which it was judged; the side is any hashable value, None for no side.
Judged = tuple[Atom, str | None]


class World(Protocol):
    """What answers atoms: one exam, or one assignment of values in a test."""

    sides: tuple[str, str]

    def judge(self, atom: Atom, side: str | None) -> Truth:
        """Whether the atom holds on this side."""

    def can_change(self, atom: Atom, side: str | None) -> bool:
        """Whether more information could still change the answer."""

    def other(self, side: str | None) -> str | None:
        """The opposite side."""

    def is_paired(self, name: str) -> bool:
        """Whether an atom's name is recorded on each side."""


class Evaluation:
    """The results of conditions in one world. Named conditions are worked out once.

    Kleene logic is sound: a yes or no stays so whatever the unknown atoms turn out to be, except
    through `Surely`. It is not exact: where one atom stands twice, unknown may be said of what is
    true in every case.
    """

    def __init__(self, world: World, definitions: Definitions) -> None:
        self.world = world
        self.definitions = definitions
        self._results: dict[tuple[str, str | None], Truth] = {}
        self._judged: dict[tuple[int, str | None], tuple[Expression, Truth]] = {}
        self._open: dict[tuple[str, str | None], dict[Judged, None]] = {}

    def truth(self, expression: Expression, side: str | None = None) -> Truth:
        """The value of a condition, judged on a side where it is a paired one."""
        # Every reader asks again for the parts of what it reads. Comparing trees would cost more
        # than judging them, so they are known by identity, and held so that it stays theirs.
        key = (id(expression), side)
        known = self._judged.get(key)
        if known is None:
            known = self._judged[key] = (expression, self._truth(expression, side))
        return known[1]

    def _truth(self, expression: Expression, side: str | None) -> Truth:
        match expression:
            case Atom():
                return self.world.judge(expression, self._side_of(expression.name, side))
            case Reference(name):
                return self._named(name, side)
            case And(members):
                return conjunction(self.truth(member, side) for member in members)
            case Or(members):
                return disjunction(self.truth(member, side) for member in members)
            case Not(inner):
                return negation(self.truth(inner, side))
            case AtLeast(count, members):
                return at_least(count, [self.truth(member, side) for member in members])
            case AnySide(inner):
                return disjunction(self.truth(inner, each) for each in self.world.sides)
            case BothSides(inner):
                return conjunction(self.truth(inner, each) for each in self.world.sides)
            case OtherSide(inner):
                return self.truth(inner, self.world.other(side))
            case Surely(inner):
                return YES if self.truth(inner, side) is YES else NO
            case _:
                assert_never(expression)

    def is_settled(self, expression: Expression, side: str | None = None) -> bool:
        """Whether a condition is known for sure to stay as it is; a no says nothing."""
        return False

    def because(self, expression: Expression, side: str | None = None) -> Iterator[Judged]:
        """The atoms that hold and that make the condition true; nothing under a `not`."""
        if self.truth(expression, side) is not YES:
            return
        match expression:
            case Atom(name):
                yield expression, self._side_of(name, side)
            case _:
                # Where a `not` is true its inner condition is not, so that nothing comes from it.
                for inner, at in self._inside(expression, side):
                    yield from self.because(inner, at)

    def grounds(self, expression: Expression, side: str | None = None) -> Iterator[Judged]:
        """The known atoms that a yes or no rests on, those under a `not` too; none for unknown."""
        truth = self.truth(expression, side)
        if truth is UNKNOWN:
            return
        match expression:
            case Atom(name):
                yield expression, self._side_of(name, side)
            case Not(inner) | Surely(inner):
                yield from self.grounds(inner, side)
            case _:
                # What agrees with the result carries it: one yes of an `or`, every yes of an `and`.
                for inner, at in self._inside(expression, side):
                    if self.truth(inner, at) is truth:
                        yield from self.grounds(inner, at)

    def unsettled(self, expression: Expression, side: str | None = None) -> dict[Judged, None]:
        """The atoms whose answer could still change the condition, in order; empty once settled."""
        if self.is_settled(expression, side):
            return {}
        match expression:
            case Atom(name):
                at = self._side_of(name, side)
                return {(expression, at): None} if self.world.can_change(expression, at) else {}
            case And() | BothSides():
                return self._unless_firm(expression, side, NO)
            case Or() | AnySide():
                return self._unless_firm(expression, side, YES)
            case AtLeast(count, members):
                return self._unless_counted(count, members, side)
            case Reference(name):
                definition = self.definitions[name]
                key = (name, side if definition.paired else None)
                if key not in self._open:
                    self._open[key] = self.unsettled(definition.expression, key[1])
                return self._open[key]
            case _:
                # Not, Surely and OtherSide hold one condition.
                ((inner, at),) = self._inside(expression, side)
                return self.unsettled(inner, at)

    def _unless_firm(
        self, expression: Expression, side: str | None, decisive: Truth
    ) -> dict[Judged, None]:
        """Join what is open in the members, unless one of them decides and cannot change."""
        found: dict[Judged, None] = {}
        for inner, at in self._inside(expression, side):
            rest = self.unsettled(inner, at)
            if not rest and self.truth(inner, at) is decisive:
                return {}
            found |= rest
        return found

    def _unless_counted(
        self, count: int, members: tuple[Expression, ...], side: str | None
    ) -> dict[Judged, None]:
        """Join what is open in the members, unless no answer to it changes the result."""
        rests = [self.unsettled(member, side) for member in members]
        firm = [self.truth(m, side) for m, rest in zip(members, rests, strict=True) if not rest]
        # A member that is unknown for good, an untestable finding say, never becomes yes or no.
        yes, unknown = firm.count(YES), firm.count(UNKNOWN)
        open_ = len(members) - len(firm)
        if yes >= count or yes + unknown + open_ < count:
            return {}
        if yes + open_ < count <= yes + unknown:
            return {}
        return {atom: None for rest in rests for atom in rest}

    def _inside(
        self, expression: Expression, side: str | None
    ) -> Iterator[tuple[Expression, str | None]]:
        """The conditions directly inside one, each with the side on which it is judged."""
        match expression:
            case Reference(name):
                definition = self.definitions[name]
                yield definition.expression, side if definition.paired else None
            case AnySide(inner) | BothSides(inner):
                for each in self.world.sides:
                    yield inner, each
            case OtherSide(inner):
                yield inner, self.world.other(side)
            case _:
                for inner in children(expression):
                    yield inner, side

    def _named(self, name: str, side: str | None) -> Truth:
        definition = self.definitions[name]
        key = (name, side if definition.paired else None)
        if key not in self._results:
            self._results[key] = self.truth(definition.expression, key[1])
        return self._results[key]

    def _side_of(self, name: str, side: str | None) -> str | None:
        return side if self.world.is_paired(name) else None
