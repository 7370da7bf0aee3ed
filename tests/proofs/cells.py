"""One exam of which nothing is fixed: every cell is a variable of the solver.

A cell is three of them: whether it is known, its value, and whether it was tried and not judged.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import assert_never

import z3  # type: ignore[import-untyped]

from app.exam.reading import MAX_AGE, SEXES
from app.exam.record import Cell
from app.exam.vocabulary import GRADES, Finding, Scale, Side, vocabulary
from app.knowledge.load import Knowledge
from app.logic.expression import Atom, walk
from tests.proofs.facts import Fact, Pair, all_of, any_of, free, not_


@dataclass(frozen=True)
class Held:
    """One thing that can be recorded."""

    known: Fact
    value: z3.ExprRef
    untestable: Fact

    def is_(self, value: object) -> Fact:
        """Known, and of this value."""
        return all_of(self.known, self.value == value)

    def is_same(self, other: "Held") -> Fact:
        """Recorded alike."""
        alike = all_of(self.known == other.known, self.untestable == other.untestable)
        return all_of(alike, any_of(not_(self.known), self.value == other.value))


class Cells:
    """Everything that is recorded in one exam.

    signatures: an ingredient counts by the names that rules ask for; here is, for each set of names
    that some ingredient goes by, whether one of those ingredients is taken.
    takes: the same by name. balances: whether the grades of both sides are equally large. Both
    follow from the rest, but have variables of their own, so that a proof can hold one still.
    """

    def __init__(self, knowledge: Knowledge, tag: str = "") -> None:
        self.knowledge = knowledge
        words = vocabulary().values()
        self.cells = {(f.id, side): _cell(f, side, tag) for f in words for side in f.sides}
        self.age = Held(z3.Bool(f"known age{tag}"), z3.Real(f"age{tag}"), z3.BoolVal(False))
        self.sex = Held(z3.Bool(f"known sex{tag}"), z3.Int(f"sex{tag}"), z3.BoolVal(False))
        self.list_is_whole = z3.Bool(f"every medicine recognised{tag}")
        self.signatures: dict[frozenset[str], Fact] = {
            names: z3.Bool(f"takes {' '.join(sorted(names))}{tag}")
            for names in sorted(set(names_of_ingredients(knowledge).values()), key=sorted)
        }
        self.takes = {name: free(f"takes {name}{tag}") for name in names_taken(knowledge)}
        self.balances = {name: free(f"{name}{tag}") for name in knowledge.balances}

    def held(self, finding: str, side: Side | None = None) -> Held:
        """The cell of a finding."""
        return self.cells[finding, side]

    @property
    def everything(self) -> tuple[Held, ...]:
        """Every cell, the age and the sex."""
        return (*self.cells.values(), self.age, self.sex)

    @cached_property
    def ranges(self) -> list[Fact]:
        """What every recorded value keeps to; what is known is not untestable."""
        facts = [not_(all_of(held.known, held.untestable)) for held in self.cells.values()]
        facts += [_in_range(cell, held.value) for cell, held in self.cells.items()]
        facts += [self.age.value >= 0, self.age.value <= MAX_AGE]
        facts += [self.sex.value >= 0, self.sex.value < len(SEXES)]
        return facts + [pair.is_same(self._taken(name)) for name, pair in self.takes.items()]

    def _taken(self, name: str) -> Pair:
        taken = any_of(*(held for names, held in self.signatures.items() if name in names))
        return Pair(taken, all_of(not_(taken), self.list_is_whole))

    # ---- how an example is made small

    @cached_property
    def less_recorded(self) -> list[Fact]:
        """One thing less, for each thing that can be recorded; the last of an exam first."""
        told = [each for held in self.cells.values() for each in (held.known, held.untestable)]
        told += [self.age.known, self.sex.known, self.list_is_whole, *self.signatures.values()]
        return [not_(each) for each in reversed(told)]

    @cached_property
    def slighter(self) -> list[Fact]:
        """No more than slight, for each grade."""
        return [
            held.value <= 1
            for (finding, _), held in self.cells.items()
            if vocabulary()[finding].scale is Scale.GRADE
        ]


def names_taken(knowledge: Knowledge) -> list[str]:
    """The classes and ingredients of which a rule asks whether they are taken."""
    definitions = [each.expression for each in knowledge.definitions.values()]
    named = {
        part.name: None
        for rule in (*definitions, *knowledge.conditions.values())
        for part in walk(rule)
        if isinstance(part, Atom) and part.relation == "takes"
    }
    return list(named)


def names_of_ingredients(knowledge: Knowledge) -> Mapping[str, frozenset[str]]:
    """By which of those names each ingredient goes: its own, and those of its classes."""
    asked = frozenset(names_taken(knowledge))
    names: dict[str, set[str]] = {}
    for each in knowledge.medicines.classes.values():
        for ingredient in each.ingredients:
            names.setdefault(ingredient, {ingredient}).add(each.id)
    return {ingredient: asked & held for ingredient, held in names.items()}


def _cell(finding: Finding, side: Side | None, tag: str) -> Held:
    name = f"{finding.id}{f' {side}' if side else ''}{tag}"
    sorts = {Scale.YESNO: z3.Bool, Scale.NUMBER: z3.Real}
    value = sorts.get(finding.scale, z3.Int)(name)
    return Held(z3.Bool(f"known {name}"), value, z3.Bool(f"untestable {name}"))


def _in_range(cell: Cell, value: z3.ExprRef) -> Fact:
    finding = vocabulary()[cell[0]]
    match finding.scale:
        case Scale.GRADE:
            return all_of(value >= GRADES[0], value <= GRADES[-1])
        case Scale.YESNO:
            return z3.BoolVal(True)
        case Scale.CHOICE:
            return all_of(value >= 0, value < len(finding.values))
        case Scale.COUNT | Scale.NUMBER:
            low, high = z3.RealVal(str(finding.minimum)), z3.RealVal(str(finding.maximum))
            return all_of(value >= low, value <= high)
        case _:
            assert_never(finding.scale)
