"""What SQL needs beyond Kleene logic, to conclude just what the program concludes.

Kleene logic may say unknown of what is so in every completion (docs/decisions/0009). Of all that is
concluded here only four conditions can then be true, as the solver proves
(tests/proofs/test_query.py). Two are settled by trying every value of a few things in SQL. For the
other two SQL says which rows have to be decided by the program itself: those in which the condition
is unknown, and true in two completions that are as unlike as can be.
"""

from collections.abc import Iterator, Mapping

from app.exam.measures import QUANTITIES
from app.exam.record import Value
from app.exam.vocabulary import GRADES, SIDES, Finding, Scale, Side, vocabulary
from app.knowledge.load import Knowledge
from app.knowledge.names import AGE
from app.logic.expression import (
    AnySide,
    Atom,
    BothSides,
    Expression,
    Reference,
    Surely,
    children,
)

Open = tuple[str, Side | None]

# Each of these alone can leave the condition unknown though it is true whatever the answer.
TRIED: Mapping[str, tuple[Open, ...]] = {
    "parkinsonism_cautioned": (("parkinsonism_causing", None),),
    "short_course_soon": tuple(
        (f"{limb}_resistance_speed", side) for limb in ("arm", "leg") for side in SIDES
    ),
}
# Too much stands in several places of these to be tried in SQL.
LEFT_TO_THE_PROGRAM = frozenset({"functional_cautioned", "copper_disease_soon"})


def values_of(name: str) -> tuple[Value, ...]:
    """Every value of something that is tried: a finding with few values, or a medicine."""
    finding = vocabulary().get(name)
    if finding is None or finding.scale is Scale.YESNO:
        return (False, True)
    return GRADES if finding.scale is Scale.GRADE else finding.values


def unlike_completions(
    knowledge: Knowledge, name: str
) -> tuple[Mapping[Open, Value], Mapping[Open, Value]]:
    """Two ways to fill in all that a condition asks about: with the lowest values, and the highest.

    Left unknown is what stands under `known` or `surely`, where not knowing is the point, and the
    inputs of arithmetic: the program does not try these either.
    """
    places = list(_places(knowledge, Reference(name), None, under=False))
    held_back = {each for each, under in places if under}
    asked = dict.fromkeys(each for each, _ in places if each not in held_back)
    ends = {each: _ends(vocabulary().get(each[0])) for each in asked}
    return (
        {each: low for each, (low, _) in ends.items()},
        {each: high for each, (_, high) in ends.items()},
    )


def _places(
    knowledge: Knowledge, expression: Expression, side: Side | None, *, under: bool
) -> Iterator[tuple[Open, bool]]:
    """What is asked about in every place, and whether not knowing it is the point there."""
    match expression:
        case Atom(name, relation):
            held = under or relation == "known"
            if name in QUANTITIES:
                yield from (((each, None), True) for each in QUANTITIES[name].inputs)
            elif name not in knowledge.balances and name != AGE:
                yield (name, side if knowledge.names.is_paired(name) else None), held
        case Reference(name):
            yield from _places(knowledge, knowledge.definitions[name].expression, side, under=under)
        case AnySide(inner) | BothSides(inner):
            for each in SIDES:
                yield from _places(knowledge, inner, each, under=under)
        case Surely(inner):
            yield from _places(knowledge, inner, side, under=True)
        case _:
            for child in children(expression):
                yield from _places(knowledge, child, side, under=under)
            # `other` looks at the opposite side, which any() and both() go through as well.


def _ends(finding: Finding | None) -> tuple[Value, Value]:
    if finding is None or finding.scale is Scale.YESNO:
        return False, True
    if finding.scale is Scale.GRADE:
        return GRADES[0], GRADES[-1]
    if finding.scale is Scale.CHOICE:
        return finding.values[0], finding.values[-1]
    return finding.minimum or 0, finding.maximum or 0
