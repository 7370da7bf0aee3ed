"""What a condition asks about, and in how many places: read off its tree."""

from collections.abc import Iterator

from app.exam.measures import QUANTITIES
from app.exam.vocabulary import SIDES, Side
from app.knowledge.load import Knowledge
from app.knowledge.names import AGE
from app.logic.expression import (
    AnySide,
    Atom,
    BothSides,
    Expression,
    OtherSide,
    Reference,
    children,
)

# A cell, or the name of something else that an atom asks about, which has no side.
Asked = tuple[str, Side | None]


def places(
    knowledge: Knowledge, expression: Expression, side: Side | None = None
) -> Iterator[Asked]:
    """What each atom of a condition asks about, once for every place in which it stands."""
    match expression:
        case Atom(name):
            yield name, side if knowledge.names.is_paired(name) else None
        case Reference(name):
            definition = knowledge.definitions[name]
            at = side if definition.paired else None
            yield from places(knowledge, definition.expression, at)
        case AnySide(inner) | BothSides(inner):
            for each in SIDES:
                yield from places(knowledge, inner, each)
        case OtherSide(inner):
            yield from places(knowledge, inner, side.other if side else None)
        case _:
            for child in children(expression):
                yield from places(knowledge, child, side)


def rests_on(knowledge: Knowledge, expression: Expression) -> set[str]:
    """Every finding, medicine class, age and sex on which a condition can rest, on any side."""
    found: set[str] = set()
    match expression:
        case Atom(name, _, operands):
            if name in knowledge.balances:
                balance = knowledge.balances[name]
                found |= {*balance.findings, *balance.counted_where}
                for sign in balance.counted_where.values():
                    found |= rests_on(knowledge, Reference(sign))
            else:
                found |= {*QUANTITIES[name].inputs} if name in QUANTITIES else {name}
            if any(operand in knowledge.norms for operand in operands):
                found |= {AGE, "sex"}
        case Reference(name):
            found |= rests_on(knowledge, knowledge.definitions[name].expression)
        case _:
            for child in children(expression):
                found |= rests_on(knowledge, child)
    return found
