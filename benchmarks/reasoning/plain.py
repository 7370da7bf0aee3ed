"""The same rules as plain two-valued Python: a function for each sign, as a person would write it.

It is written out from the knowledge, so that it says the same; nothing is left out and nothing is
kept between calls. What is not recorded counts as absent, which is the fault of two values: it is
compared with the program on complete exams only.
"""

from collections.abc import Callable
from decimal import Decimal
from typing import Any

from app.assess.assess import world_of
from app.exam.measures import QUANTITIES
from app.exam.record import Exam
from app.exam.vocabulary import GRADE_WORDS
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

# What a person would write by hand who needs no sums in general.
SUMS = """
OTHER = {"right": "left", "left": "right"}

def systolic_fall(e):
    return e.get("lying_sys", 0) - e.get("standing_sys", 0)

def heart_rate_ratio(e):
    fall = systolic_fall(e)
    if fall <= 0:
        return None
    return (e.get("standing_hr", 0) - e.get("lying_hr", 0)) / fall
"""


def plain_exam(exam: Exam, knowledge: Knowledge) -> dict[Any, Any]:
    """An exam as somebody would hold it who has no use for "unknown"."""
    cells: dict[Any, Any] = {
        ((name, str(side)) if side else name): float(value) if isinstance(value, Decimal) else value
        for name, side, value in exam.known()
    }
    medicines = world_of(exam, knowledge).medicines
    cells["taken"] = {each for found in medicines.recognised for each in found.classes}
    return cells


class Writer:
    """Writes the functions that some conditions need, each after those that it calls."""

    def __init__(self, knowledge: Knowledge) -> None:
        self.knowledge = knowledge
        self.lines: list[str] = []
        self._written: set[str] = set()

    def function(self, name: str) -> str:
        """The name of the function of a named condition, which is written where it is not yet."""
        called = name.replace(":", "_is_")
        if called not in self._written:
            self._written.add(called)
            definition = self.knowledge.definitions[name]
            body = self.of(definition.expression, "side")
            parameters = "e, side" if definition.paired else "e"
            self.lines += [f"def {called}({parameters}):", f"    return {body}", ""]
        return called

    def of(self, expression: Expression, side: str) -> str:
        """A condition as Python; side: the words for the side on which it is judged."""
        match expression:
            case Atom():
                return self._atom(expression, side)
            case Reference(name):
                given = f"e, {side}" if self.knowledge.definitions[name].paired else "e"
                return f"{self.function(name)}({given})"
            case Not(inner):
                return f"(not {self.of(inner, side)})"
            case Surely(inner):
                return self.of(inner, side)
            case And(members):
                return f"({' and '.join(self.of(each, side) for each in members)})"
            case Or(members):
                return f"({' or '.join(self.of(each, side) for each in members)})"
            case AtLeast(count, members):
                counted = " + ".join(f"bool({self.of(each, side)})" for each in members)
                return f"({counted} >= {count})"
            case AnySide(inner):
                return f"({self.of(inner, repr('right'))} or {self.of(inner, repr('left'))})"
            case BothSides(inner):
                return f"({self.of(inner, repr('right'))} and {self.of(inner, repr('left'))})"
            case OtherSide(inner):
                return self.of(inner, f"OTHER[{side}]")

    def _atom(self, atom: Atom, side: str) -> str:
        name, known = atom.name, self.knowledge
        cell = f'e.get(("{name}", {side}))' if known.names.is_paired(name) else f'e.get("{name}")'
        match atom.relation:
            case "takes":
                return f'("{name}" in e["taken"])'
            case "untestable":
                return "False"
            case "known":
                return f"({cell} is not None)"
            case "" if name in known.balances:
                return f"{self._balance(name)}(e)"
            case "":
                return f"bool({cell})"
            case "is":
                return f"({cell} == {atom.operands[0]!r})"
            case "in":
                return f"({cell} in {atom.operands!r})"
            case comparison:
                number = f"{name}(e)" if name in QUANTITIES else cell
                return f"(({number} or 0) {comparison} {self._mark(atom.operands[0])})"

    def _mark(self, operand: str) -> str:
        if operand in GRADE_WORDS:
            return str(GRADE_WORDS.index(operand))
        return str(float(self.knowledge.thresholds[operand].value))

    def _balance(self, name: str) -> str:
        if name not in self._written:
            self._written.add(name)
            balance = self.knowledge.balances[name]
            grades = [f'e.get(("{each}", side), 0)' for each in balance.findings]
            for finding, sign in balance.counted_where.items():
                grades.append(f'({self.function(sign)}(e, side) and e.get(("{finding}", side), 0))')
            self.lines += [
                f"def {name}_sum(e, side):",
                f"    return {' + '.join(grades)}",
                "",
                f"def {name}(e):",
                f'    return {name}_sum(e, "right") == {name}_sum(e, "left")',
                "",
            ]
        return name


def levels_in_plain_python(knowledge: Knowledge) -> tuple[str, Callable[[Any], dict[str, str]]]:
    """The text of the program, and its function from a plain exam to the level of each category."""
    writer = Writer(knowledge)
    body = ["def levels(e):", "    found = {}"]
    for category in knowledge.categories.values():
        fits, cautioned = (writer.function(f"{category.id}_{w}") for w in ("fits", "cautioned"))
        core = " or ".join(
            writer.of(knowledge.conditions[sentence], "None") for sentence in category.core
        )
        body += [
            f"    if {fits}(e):",
            f"        cautioned = {cautioned}(e)",
            f'        found["{category.id}"] = "fits_with_cautions" if cautioned else "fits"',
            f"    elif {core or False}:",
            f'        found["{category.id}"] = "partial"',
            "    else:",
            f'        found["{category.id}"] = "not_supported"',
        ]
    text = "\n".join([SUMS, *writer.lines, *body, "    return found", ""])
    made: dict[str, Any] = {}
    exec(text, made)  # noqa: S102
    return text, made["levels"]
