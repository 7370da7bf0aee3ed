"""The levels of one exam and nothing else: no reasons, for many exams in a row.

They are those of the whole assessment. Of the cells only those are looked at that decide.
"""

from collections.abc import Callable, Mapping
from decimal import Decimal
from fractions import Fraction
from functools import lru_cache
from types import MappingProxyType
from typing import Any

from app.assess.assessment import Level
from app.assess.atoms import is_of_one_cell, mark
from app.assess.world import ExamWorld
from app.exam.record import Cell, Untestable
from app.exam.vocabulary import SIDES, Side
from app.knowledge.load import Knowledge
from app.knowledge.model import Category
from app.logic.expression import Atom, Or
from app.logic.rails import Rail, Rails
from app.logic.truth import NO, YES


def levels(world: ExamWorld) -> Mapping[str, Level]:
    """The level of every category by its id, just as the whole assessment has it."""
    return _program(world.knowledge).of(world)


@lru_cache(maxsize=4)
def _program(knowledge: Knowledge) -> "_Program":
    return _Program(knowledge)


class _Program:
    """The rules as Python, written once out of operators and of names for all that they read."""

    def __init__(self, knowledge: Knowledge) -> None:
        self.knowledge = knowledge
        self._rails = Rails(knowledge.definitions, SIDES, self._atom)
        self._cells: dict[Cell, str] = {}
        # What the exam itself has to answer.
        self._questions: list[Atom] = []
        self._constants: dict[str, object] = {"U": Untestable, "YES": YES, "NO": NO}
        levels = "".join(
            f"{category.id!r}: {self._level(category)}, "
            for category in knowledge.categories.values()
        )
        cells = "".join(f"{name}, " for name in self._cells.values())
        self._constants["cells"] = tuple(self._cells)
        text = f"def run(get, asked):\n    {cells}= map(get, cells)\n    return {{{levels}}}"
        made: dict[str, Any] = {**self._constants, "__builtins__": {"bool": bool, "map": map}}
        # Ids that were checked, operators, and names that are given here.
        exec(text, made)  # noqa: S102
        self._run: Callable[..., dict[str, Level]] = made["run"]

    def of(self, world: ExamWorld) -> Mapping[str, Level]:
        """The level of each category."""
        cells = world.exam.cells
        # Asked for many times: a copy is quicker than the way through the proxy.
        plain = cells.copy() if isinstance(cells, MappingProxyType) else cells
        return self._run(plain.get, lambda number: world.judge(self._questions[number], None))

    def _level(self, category: Category) -> str:
        """The text for the level of a category."""
        known, written = self.knowledge, self._rails.written
        requires, caution = (
            known.exactly(f"{category.id}_fits"),
            known.exactly(f"{category.id}_cautioned"),
        )
        core = Or(tuple(known.conditions[sentence] for sentence in category.core))
        return (
            f"(('fits_with_cautions' if {written(caution, 'sure')} else 'fits')"
            f" if {written(requires, 'sure')} else 'not_supported' if not {written(core, 'sure')}"
            f" else 'open' if {written(requires, 'possible')} else 'partial')"
        )

    def _atom(self, atom: Atom, side: str | None, rail: Rail) -> str:
        if not is_of_one_cell(self.knowledge, atom):
            if atom not in self._questions:
                self._questions.append(atom)
            answer = f"asked({self._questions.index(atom)})"
            return f"({answer} is YES)" if rail == "sure" else f"({answer} is not NO)"
        at = Side(side) if side and self.knowledge.names.is_paired(atom.name) else None
        cell = self._cells.setdefault((atom.name, at), f"c{len(self._cells)}")
        has_value = f"{cell} is not None and {cell}.__class__ is not U"
        match atom.relation:
            case "untestable":
                return f"({cell}.__class__ is U)"
            case "known":
                return f"({has_value})"
            case "" if rail == "sure":
                return f"({cell} and {cell}.__class__ is not U)"
            case "":
                # What could not be tested is an object, and so is true here as it has to be.
                return f"({cell} or {cell} is None)"
            case "is" | "in":
                holds = f"{cell} in {self._constant(atom.operands)}"
            case comparison:
                against = _plain(mark(self.knowledge, atom.operands[0]))
                holds = f"{cell} {comparison} {self._constant(against)}"
        return f"({has_value} and {holds})" if rail == "sure" else f"(not ({has_value}) or {holds})"

    def _constant(self, value: object) -> str:
        name = f"k{len(self._constants)}"
        self._constants[name] = value
        return name


def _plain(number: Fraction) -> int | Decimal:
    """The same number in a form that is quick to compare with; thresholds are decimal."""
    if number.denominator == 1:
        return int(number)
    return Decimal(number.numerator) / Decimal(number.denominator)
