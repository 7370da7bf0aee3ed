"""The tree of a condition: what a parsed sentence consists of."""

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from typing import assert_never


@dataclass(frozen=True)
class Atom:
    """A statement about one name that the world answers.

    relation: "" where the bare name stands (it is present), an operator such as `>=` or `is`, or
    the name of a function such as `known`.
    """

    name: str
    relation: str = ""
    operands: tuple[str, ...] = ()


@dataclass(frozen=True)
class Reference:
    """A condition that has a name of its own, with a definition elsewhere."""

    name: str


@dataclass(frozen=True)
class Not:
    """The opposite of its inner condition."""

    inner: "Expression"


@dataclass(frozen=True)
class And:
    """All members hold."""

    members: tuple["Expression", ...]


@dataclass(frozen=True)
class Or:
    """One member or more holds."""

    members: tuple["Expression", ...]


@dataclass(frozen=True)
class AtLeast:
    """`count` members or more hold."""

    count: int
    members: tuple["Expression", ...]


@dataclass(frozen=True)
class AnySide:
    """Holds on the right or on the left."""

    inner: "Expression"


@dataclass(frozen=True)
class BothSides:
    """Holds on the right and on the left."""

    inner: "Expression"


@dataclass(frozen=True)
class OtherSide:
    """Holds on the side opposite to the one that is being looked at."""

    inner: "Expression"


@dataclass(frozen=True)
class Surely:
    """Yes where the inner condition is known to hold, else no: unknown counts as no.

    The one node that is not monotone in information: an answer can turn its no into yes. Each use
    is a deliberate exemption.
    """

    inner: "Expression"


Expression = Atom | Reference | Not | And | Or | AtLeast | AnySide | BothSides | OtherSide | Surely


@dataclass(frozen=True)
class Definition:
    """A named condition; a paired one is judged on a side."""

    expression: Expression
    paired: bool


Definitions = Mapping[str, Definition]


def children(expression: Expression) -> tuple[Expression, ...]:
    """The conditions directly inside one."""
    match expression:
        case And(members) | Or(members) | AtLeast(_, members):
            return members
        case Not(inner) | AnySide(inner) | BothSides(inner) | OtherSide(inner) | Surely(inner):
            return (inner,)
        case _:
            return ()


def walk(expression: Expression) -> Iterator[Expression]:
    """The condition and all inside it, outermost first; definitions are not entered."""
    yield expression
    for child in children(expression):
        yield from walk(child)


def rewrite(expression: Expression, atom: Callable[[Atom], Expression]) -> Expression:
    """The same tree with each atom replaced by what `atom` gives for it."""

    def again(inner: Expression) -> Expression:
        return rewrite(inner, atom)

    match expression:
        case Atom():
            return atom(expression)
        case Reference():
            return expression
        case Not(inner):
            return Not(again(inner))
        case And(members):
            return And(tuple(map(again, members)))
        case Or(members):
            return Or(tuple(map(again, members)))
        case AtLeast(count, members):
            return AtLeast(count, tuple(map(again, members)))
        case AnySide(inner):
            return AnySide(again(inner))
        case BothSides(inner):
            return BothSides(again(inner))
        case OtherSide(inner):
            return OtherSide(again(inner))
        case Surely(inner):
            return Surely(again(inner))
        case _:
            assert_never(expression)


def positive_atoms(expression: Expression, definitions: Definitions) -> Iterator[Atom]:
    """The atoms that speak for the condition, those of named conditions too; none under a `not`."""
    match expression:
        case Atom():
            yield expression
        case Reference(name):
            yield from positive_atoms(definitions[name].expression, definitions)
        case Not():
            return
        case _:
            for child in children(expression):
                yield from positive_atoms(child, definitions)
