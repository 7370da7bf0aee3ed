"""The smallest changes to what was recorded that would change what is concluded.

Found along the tree of the rule, then tried: a change is listed only after the altered exam has
been judged, and only where none of fewer findings reaches the same.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from itertools import combinations
from typing import assert_never

from app.assess.assess import world_of
from app.assess.world import ExamWorld
from app.exam.record import Value
from app.exam.vocabulary import GRADE_WORDS, GRADES, SIDES, Finding, Scale, Side, vocabulary
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
from app.logic.truth import NO, UNKNOWN, YES, Truth

# A change of more findings than this is no help at the bedside.
MOST_CHANGED = 2
# The grade that stands for "found": definite, so that rules that ask for definite see it too.
FOUND = 2


@dataclass(frozen=True)
class Altered:
    """One thing that would be otherwise: a finding, or whether a medicine of a class is taken.

    was: None where it is not known, also because it could not be tested. For a medicine the values
    are whether one is taken, and `medicines` names those taken.
    """

    name: str
    side: Side | None
    was: Value | None
    becomes: Value
    medicines: tuple[str, ...] = ()
    is_untestable: bool = False

    @property
    def is_medicine(self) -> bool:
        """Whether it speaks of medicines and not of a finding."""
        return self.name not in vocabulary()


@dataclass(frozen=True)
class Change:
    """A smallest set of things that would have to be otherwise, and the level that it gives."""

    level: str
    altered: tuple[Altered, ...]


# The truths of a condition that are looked for: `NOT_YES` also holds where it is unknown.
Wanted = frozenset[Truth]
IS_YES: Wanted = frozenset({YES})
NOT_YES: Wanted = frozenset({NO, UNKNOWN})
_OPPOSITE = {YES: NO, NO: YES, UNKNOWN: UNKNOWN}

# What would be otherwise: for each cell, or each medicine class with the side None, its new value.
_Set = frozenset[tuple[tuple[str, Side | None], Value]]
_NOTHING: frozenset[_Set] = frozenset({frozenset()})


def smallest_changes(
    world: ExamWorld,
    expression: Expression,
    wanted: Wanted,
    level_in: Callable[[ExamWorld], str],
    reached: Callable[[str], bool],
) -> tuple[Change, ...]:
    """Every smallest change that gives a level which is wanted, those of one size only.

    expression, wanted: where to look for them. level_in: judges an exam. reached: whether its
    level is a wanted one.
    """
    possible = _ways(world, expression, None, wanted)
    for size in range(1, MOST_CHANGED + 1):
        found = [
            Change(level, tuple(sorted((_altered(world, each) for each in way), key=_place)))
            for way in possible
            if len(way) == size and reached(level := level_in(altered_world(world, dict(way))))
        ]
        if found:
            return tuple(
                sorted(found, key=lambda change: [_place(each) for each in change.altered])
            )
    return ()


def altered_world(world: ExamWorld, values: dict[tuple[str, Side | None], Value]) -> ExamWorld:
    """The same exam with some cells of another value, and some medicines not taken, or taken."""
    stopped = [name for (name, _), value in values.items() if _stops(world, name, value)]
    if stopped:
        lines = [
            line.text
            for line in world.medicines.recognised
            if {line.ingredient, *line.classes} & set(stopped)
        ]
        left = tuple(line for line in world.exam.medicines or () if line not in lines)
        world = world_of(replace(world.exam, medicines=left), world.knowledge)
    return world.supposing({key: value for key, value in values.items() if key[0] not in stopped})


def _stops(world: ExamWorld, name: str, value: Value) -> bool:
    return name not in vocabulary() and value is False and bool(world.medicines.taken(name))


# ---- along the tree


def _ways(
    world: ExamWorld, expression: Expression, side: Side | None, wanted: Wanted
) -> frozenset[_Set]:
    """Sets of changes, none larger than MOST_CHANGED, that give a condition a wanted truth."""
    if world.truth(expression, side) in wanted:
        return _NOTHING
    to_yes = YES in wanted
    match expression:
        case Atom():
            return _ways_of_atom(world, expression, side, to_yes=to_yes)
        case Reference(name):
            return _ways(world, world.knowledge.definitions[name].expression, side, wanted)
        case Not(inner):
            return _ways(world, inner, side, frozenset(_OPPOSITE[truth] for truth in wanted))
        case Surely(inner):
            return _ways(world, inner, side, IS_YES if to_yes else NOT_YES)
        case And(members):
            return _enough(world, members, side, wanted, len(members) if to_yes else 1)
        case Or(members):
            return _enough(world, members, side, wanted, 1 if to_yes else len(members))
        case AtLeast(count, members):
            needed = count if to_yes else len(members) - count + 1
            return _enough(world, members, side, wanted, needed)
        case OtherSide(inner):
            return _ways(world, inner, side.other if side else None, wanted)
        case AnySide(inner) | BothSides(inner):
            right, left = (_ways(world, inner, at, wanted) for at in SIDES)
            one_is_enough = isinstance(expression, AnySide) is to_yes
            return right | left if one_is_enough else _all_of([right, left])
        case _:
            assert_never(expression)


def _enough(
    world: ExamWorld,
    members: tuple[Expression, ...],
    side: Side | None,
    wanted: Wanted,
    needed: int,
) -> frozenset[_Set]:
    """Ways in which as many members as are needed have a wanted truth."""
    each = [_ways(world, member, side, wanted) for member in members]
    rest = [ways for ways in each if ways != _NOTHING]
    still = needed - (len(each) - len(rest))
    return frozenset(way for chosen in combinations(rest, still) for way in _all_of(list(chosen)))


def _all_of(parts: list[frozenset[_Set]]) -> frozenset[_Set]:
    """One way of each part together, where they do not contradict each other."""
    joined = _NOTHING
    for ways in parts:
        joined = frozenset(
            both
            for one in joined
            for other in ways
            if len(both := one | other) <= MOST_CHANGED and len(dict(both)) == len(both)
        )
    return joined


def _ways_of_atom(
    world: ExamWorld, atom: Atom, side: Side | None, *, to_yes: bool
) -> frozenset[_Set]:
    at = side if world.is_paired(atom.name) else None
    if atom.name in world.knowledge.balances:
        return frozenset(_ways_of_balance(world, atom, to_yes=to_yes))
    values = _values(world, atom, to_yes=to_yes)
    return frozenset(frozenset({((atom.name, at), value)}) for value in values)


def _values(world: ExamWorld, atom: Atom, *, to_yes: bool) -> tuple[Value, ...]:
    """Values that make an atom true, or false. Numbers are taken as they are."""
    finding = vocabulary().get(atom.name)
    if atom.relation == "takes":
        # A list that was recorded is complete: nothing is thought into it.
        return () if to_yes and world.medicines.takes(atom.name) is NO else (to_yes,)
    if finding is None or atom.relation == "untestable":
        return ()
    if atom.relation == "known":
        # What was recorded cannot be made unknown; what is unknown is known by any answer.
        normal = finding.normal_value()
        known = finding.values if normal is None else (normal,)
        return known if to_yes else ()
    if atom.relation in ("is", "in"):
        return _choices(finding, atom.operands, to_yes=to_yes)
    if finding.scale is Scale.GRADE:
        return (max([FOUND, *map(GRADE_WORDS.index, atom.operands)]) if to_yes else 0,)
    return (to_yes,) if finding.scale is Scale.YESNO else ()


def _ways_of_balance(world: ExamWorld, atom: Atom, *, to_yes: bool) -> Iterator[_Set]:
    """Single grades that make the sums of both sides equal, or unequal; the nearest grade each."""
    balance = world.knowledge.balances[atom.name]
    for finding_id in (*balance.findings, *balance.counted_where):
        for side in SIDES:
            now = int(str(world.exam.value(finding_id, side) or 0))
            for _, grade in sorted((abs(other - now), other) for other in GRADES):
                tried = world.supposing({(finding_id, side): grade})
                if (tried.judge(atom, None) is YES) is to_yes:
                    yield frozenset({((finding_id, side), grade)})
                    break


def _choices(finding: Finding, operands: tuple[str, ...], *, to_yes: bool) -> tuple[str, ...]:
    if to_yes:
        return operands
    others = tuple(value for value in finding.values if value not in operands)
    # What has a normal value is thought away by that one, where it is one of the others.
    return others[:1] if finding.has_normal else others


# ---- what was, and in which order


def _altered(world: ExamWorld, each: tuple[tuple[str, Side | None], Value]) -> Altered:
    (name, side), value = each
    if name in vocabulary():
        was = world.exam.value(name, side)
        untestable = world.exam.is_untestable(name, side)
        return Altered(name, side, was, value, is_untestable=untestable)
    return Altered(
        name, None, world.medicines.takes(name).known, value, world.medicines.taken(name)
    )


def _place(altered: Altered) -> tuple[int, int, str]:
    """Sort key: the order of findings.toml, right before left; medicines last."""
    if altered.is_medicine:
        return len(vocabulary()), 0, altered.name
    return *vocabulary().place(altered.name, altered.side), str(altered.becomes)
