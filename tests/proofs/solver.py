"""The fourth reader of a condition's tree, beside evaluating, explaining and querying it: prove.

A condition becomes a pair of formulas over every exam there can be, the incomplete ones too: in
which it is true, and in which it is false. test_translation.py compares it with the program.
"""

from functools import cached_property
from typing import assert_never

import z3  # type: ignore[import-untyped]

from app.exam.measures import QUANTITIES
from app.exam.reading import SEXES
from app.exam.vocabulary import GRADE_WORDS, SIDES, Side, vocabulary
from app.knowledge.load import Knowledge
from app.knowledge.model import Norm
from app.knowledge.names import AGE
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
from tests.proofs.cells import Cells
from tests.proofs.facts import (
    Fact,
    Number,
    Pair,
    all_of,
    any_of,
    at_least,
    conjunction,
    disjunction,
    settled,
    where_known,
)


class AnyExam(Cells):
    """One exam of which nothing is fixed, and what every condition says of it."""

    def __init__(self, knowledge: Knowledge, tag: str = "") -> None:
        super().__init__(knowledge, tag)
        self._read: dict[tuple[Expression, Side | None], Pair] = {}

    @cached_property
    def possible(self) -> list[Fact]:
        """What every exam keeps to."""
        balanced = (pair.is_same(self._balanced(name)) for name, pair in self.balances.items())
        return [*self.ranges, *balanced]

    @cached_property
    def conflicts(self) -> list[Fact]:
        """For each rule and side, whether recorded values contradict each other."""
        return [
            self.says(rule.when, side).yes
            for rule in self.knowledge.conflicts
            for side in (SIDES if rule.paired else (None,))
        ]

    def present(self, finding: str, side: Side | None = None) -> Fact:
        """A grade that is known and above 0, or an answer known to be yes."""
        return self.truth(Atom(finding), side).yes

    def absent(self, finding: str, side: Side | None = None) -> Fact:
        """A grade that is known to be 0, or an answer known to be no."""
        return self.truth(Atom(finding), side).no

    def chosen(self, finding: str, value: str, side: Side | None = None) -> Fact:
        """This one of a finding's values."""
        return self.truth(Atom(finding, "is", (value,)), side).yes

    def named(self, name: str, side: Side | None = None) -> Pair:
        """A condition that has a name."""
        return self.truth(Reference(name), side)

    def says(self, sentence: str | None, side: Side | None = None) -> Pair:
        """A condition by its sentence in the knowledge; true where there is none."""
        if sentence is None:
            return settled(z3.BoolVal(True))
        return self.truth(self.knowledge.conditions[sentence], side)

    # ---- the tree

    def truth(self, expression: Expression, side: Side | None = None) -> Pair:
        """A condition, judged on a side where it is a paired one; each is translated once."""
        key = (expression, side)
        if key not in self._read:
            self._read[key] = self._translated(expression, side)
        return self._read[key]

    def _translated(self, expression: Expression, side: Side | None) -> Pair:
        match expression:
            case Atom(name):
                return self._atom(
                    expression, side if self.knowledge.names.is_paired(name) else None
                )
            case Reference(name):
                definition = self.knowledge.definitions[name]
                return self.truth(definition.expression, side if definition.paired else None)
            case And(members):
                return conjunction(self.truth(member, side) for member in members)
            case Or(members):
                return disjunction(self.truth(member, side) for member in members)
            case Not(inner):
                return self.truth(inner, side).turned()
            case AtLeast(count, members):
                return at_least(count, (self.truth(member, side) for member in members))
            case AnySide(inner):
                return disjunction(self.truth(inner, each) for each in SIDES)
            case BothSides(inner):
                return conjunction(self.truth(inner, each) for each in SIDES)
            case OtherSide(inner):
                return self.truth(inner, side.other if side else None)
            case Surely(inner):
                return settled(self.truth(inner, side).yes)
            case _:
                assert_never(expression)

    def _atom(self, atom: Atom, side: Side | None) -> Pair:
        name = atom.name
        match atom.relation:
            case "takes":
                return self.takes[name]
            case "untestable":
                return settled(self.held(name, side).untestable)
            case "known":
                return settled(self._number(name, side)[0])
            case "" if name in self.balances:
                return self.balances[name]
            case "":
                held = self.held(name, side)
                present = held.value if z3.is_bool(held.value) else held.value > 0
                return where_known(held.known, present)
            case "is" | "in":
                held, values = self.held(name, side), vocabulary()[name].values
                among = (held.value == values.index(each) for each in atom.operands)
                return where_known(held.known, any_of(*among))
            case relation:
                known, above, below = self._number(name, side)
                operand_known, operand = self._operand(atom.operands[0])
                # The lower part is above 0, so it may be multiplied with, which a solver prefers.
                holds = _compared(relation, above, operand * below)
                return where_known(all_of(known, operand_known), holds)

    # ---- numbers

    def _number(self, name: str, side: Side | None) -> tuple[Fact, Number, Number]:
        """When a number is known, and the upper and lower part of a fraction that it is."""
        one = z3.RealVal(1)
        if name not in QUANTITIES:
            held = self.age if name == AGE else self.held(name, side)
            return held.known, held.value, one
        inputs = [self.held(each) for each in QUANTITIES[name].inputs]
        known = all_of(*(each.known for each in inputs))
        first, second, *rates = (each.value for each in inputs)
        match name:
            case "walking_speed_m_per_s":
                return known, first, second
            case "cadence_per_min":
                return known, 60 * first, second
            case "stride_m":
                return known, 2 * first, second
            case "systolic_fall" | "diastolic_fall":
                return known, first - second, one
            case "heart_rate_ratio":
                return all_of(known, first > second), rates[1] - rates[0], first - second
            case _:
                raise AssertionError(f"{name} is not translated")

    def _operand(self, name: str) -> tuple[Fact, Number]:
        """When a number that is compared with is known, and the number."""
        if name in GRADE_WORDS:
            return z3.BoolVal(True), z3.IntVal(GRADE_WORDS.index(name))
        if name in self.knowledge.thresholds:
            return z3.BoolVal(True), z3.RealVal(str(self.knowledge.thresholds[name].value))
        return self._norm(self.knowledge.norms[name])

    def _norm(self, norm: Norm) -> tuple[Fact, Number]:
        known, number = z3.BoolVal(False), z3.RealVal(0)
        for place, sex in enumerate(SEXES):
            for band, limit in zip(norm.ages, getattr(norm, sex), strict=True):
                first, last = (int(each) for each in band.split("-"))
                of_age = all_of(self.age.value >= first, self.age.value < last + 1)
                here = all_of(self.sex.value == place, of_age)
                known, number = any_of(known, here), z3.If(here, z3.RealVal(str(limit)), number)
        return all_of(self.age.known, self.sex.known, known), number

    def _balanced(self, name: str) -> Pair:
        """Whether the sums of grades are equal; what is counted only with a sign is else 0."""
        balance = self.knowledge.balances[name]
        known: list[Fact] = []
        sums: list[Number] = []
        for side in SIDES:
            plain = [self.held(finding, side) for finding in balance.findings]
            known += [held.known for held in plain]
            grades = [held.value for held in plain]
            for finding, sign in balance.counted_where.items():
                held, counted = self.held(finding, side), self.named(sign, side)
                known.append(any_of(counted.no, all_of(counted.yes, held.known)))
                grades.append(z3.If(counted.yes, held.value, 0))
            sums.append(z3.Sum(grades))
        return where_known(all_of(*known), sums[0] == sums[1])


def _compared(relation: str, left: Number, right: Number) -> Fact:
    match relation:
        case ">=":
            return left >= right
        case ">":
            return left > right
        case "<=":
            return left <= right
        case "<":
            return left < right
        case _:
            raise AssertionError(f"{relation} is not translated")


class Mirrored(AnyExam):
    """The same exam with right and left changed over."""

    def __init__(self, exam: AnyExam) -> None:
        super().__init__(exam.knowledge, ", mirrored")
        self.cells = {
            (finding, side.other if side else None): held
            for (finding, side), held in exam.cells.items()
        }
        self.age, self.sex = exam.age, exam.sex
        self.list_is_whole, self.signatures = exam.list_is_whole, exam.signatures
        self.takes = exam.takes
