"""What can be said of exams, as formulas of a solver.

A fact holds in some exams. A condition of three values is a pair of facts.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import TypeAlias

import z3  # type: ignore[import-untyped]

Fact: TypeAlias = z3.BoolRef
Number: TypeAlias = z3.ArithRef


@dataclass(frozen=True)
class Pair:
    """In which exams a condition is true, and in which it is false; it is unknown in all others."""

    yes: Fact
    no: Fact

    @property
    def unknown(self) -> Fact:
        """In which exams it is neither."""
        return none_of(self.yes, self.no)

    def turned(self) -> "Pair":
        """The opposite condition."""
        return Pair(self.no, self.yes)

    def is_not(self, other: "Pair") -> Fact:
        """In which exams two conditions differ."""
        return any_of(self.yes != other.yes, self.no != other.no)

    def is_same(self, other: "Pair") -> Fact:
        """In which exams two conditions agree."""
        return all_of(self.yes == other.yes, self.no == other.no)

    def is_lost_in(self, later: "Pair") -> Fact:
        """That it is settled here, and no longer so in the later one."""
        return any_of(all_of(self.yes, not_(later.yes)), all_of(self.no, not_(later.no)))


def all_of(*facts: Fact) -> Fact:
    """All of these."""
    return z3.And(list(facts))


def any_of(*facts: Fact) -> Fact:
    """One of these or more."""
    return z3.Or(list(facts))


def none_of(*facts: Fact) -> Fact:
    """None of these."""
    return z3.Not(z3.Or(list(facts)))


def not_(fact: Fact) -> Fact:
    """Not this."""
    return z3.Not(fact)


def if_then(fact: Fact, then: Fact) -> Fact:
    """The second wherever the first is."""
    return z3.Implies(fact, then)


def settled(fact: Fact) -> Pair:
    """A condition that is never unknown."""
    return Pair(fact, not_(fact))


def where_known(known: Fact, holds: Fact) -> Pair:
    """A condition that is unknown where what it speaks of is."""
    return Pair(all_of(known, holds), all_of(known, not_(holds)))


def free(name: str) -> Pair:
    """A condition of which nothing is said yet."""
    return Pair(z3.Bool(f"{name}: yes"), z3.Bool(f"{name}: no"))


# ---- the connectives of strong Kleene logic


def conjunction(members: Iterable[Pair]) -> Pair:
    """True where all are true, false where one is false."""
    pairs = list(members)
    return Pair(all_of(*(pair.yes for pair in pairs)), any_of(*(pair.no for pair in pairs)))


def disjunction(members: Iterable[Pair]) -> Pair:
    """True where one is true, false where all are false."""
    pairs = list(members)
    return Pair(any_of(*(pair.yes for pair in pairs)), all_of(*(pair.no for pair in pairs)))


def at_least(count: int, members: Iterable[Pair]) -> Pair:
    """True where `count` are true, false where fewer than `count` still could be."""
    pairs = list(members)
    sure = z3.AtLeast(*(pair.yes for pair in pairs), count)
    return Pair(sure, not_(z3.AtLeast(*(not_(pair.no) for pair in pairs), count)))
