"""Requirements of categories in the languages of four rule engines.

Each engine gets the same conditions with every sign written out, and one wide fact of plain values:
a number for a grade, 1 or 0 for yes or no, a word for a choice. They have two values; they are
compared with the program on exams in which everything is recorded.
"""

from collections.abc import Callable, Mapping
from decimal import Decimal
from typing import Any, Protocol

import clips
import rule_engine
import zen
from json_logic import jsonLogic

from app.exam.record import Exam
from app.exam.vocabulary import GRADE_WORDS, SIDES, Scale, vocabulary
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

Fact = dict[str, int | float | str]
Fits = dict[str, bool]


class Language(Protocol):
    """How an engine writes conditions. A condition is whatever it reads: text, or a tree."""

    def compare(self, variable: str, operator: str, value: float | str) -> Any:
        """A value against a number or a word."""

    def join(self, operator: str, parts: list[Any]) -> Any:
        """`and` or `or` of some conditions."""

    def negate(self, part: Any) -> Any:
        """The opposite."""

    def at_least(self, count: int, parts: list[Any]) -> Any:
        """So many of some conditions."""

    def constant(self, value: bool) -> Any:
        """What holds always, or never."""


def fact_of(exam: Exam) -> Fact:
    """A complete exam as one wide fact."""
    return {
        _variable(name, side): float(value)
        if isinstance(value, Decimal)
        else int(value)
        if isinstance(value, bool)
        else value
        for name, side, value in exam.known()
    }


def written(expression: Expression, knowledge: Knowledge, language: Language) -> Any:
    """A condition in a language, every sign written out."""
    return _Writing(knowledge, language).of(expression, None)


class _Writing:
    def __init__(self, knowledge: Knowledge, language: Language) -> None:
        self.knowledge = knowledge
        self.language = language

    def of(self, expression: Expression, side: str | None) -> Any:
        language = self.language
        match expression:
            case Atom():
                return self._atom(expression, side)
            case Reference(name):
                return self.of(self.knowledge.definitions[name].expression, side)
            case Not(inner):
                return language.negate(self.of(inner, side))
            case Surely(inner):
                return self.of(inner, side)
            case And(members):
                return language.join("and", [self.of(each, side) for each in members])
            case Or(members):
                return language.join("or", [self.of(each, side) for each in members])
            case AtLeast(count, members):
                return language.at_least(count, [self.of(each, side) for each in members])
            case AnySide(inner):
                return language.join("or", [self.of(inner, each) for each in SIDES])
            case BothSides(inner):
                return language.join("and", [self.of(inner, each) for each in SIDES])
            case OtherSide(inner):
                return self.of(inner, "left" if side == "right" else "right")

    def _atom(self, atom: Atom, side: str | None) -> Any:
        language = self.language
        at = side if self.knowledge.names.is_paired(atom.name) else None
        variable = _variable(atom.name, at)
        match atom.relation:
            case "known" | "untestable":
                return language.constant(atom.relation == "known")
            case "":
                return language.compare(variable, ">=", 1)
            case "is" | "in":
                return language.join(
                    "or", [language.compare(variable, "==", word) for word in atom.operands]
                )
            case comparison:
                operand = atom.operands[0]
                if operand in GRADE_WORDS:
                    return language.compare(variable, comparison, GRADE_WORDS.index(operand))
                mark = float(self.knowledge.thresholds[operand].value)
                return language.compare(variable, comparison, mark)


def _variable(name: str, side: str | None) -> str:
    return f"{name}_{side}" if side else name


# ---- the languages


class _Infix:
    """Text with operators between, as two engines read it."""

    def __init__(self, *, true: str, false: str) -> None:
        self.true, self.false = true, false

    def compare(self, variable: str, operator: str, value: float | str) -> str:
        word = f'"{value}"' if isinstance(value, str) else f"{value:g}"
        return f"{variable} {operator} {word}"

    def join(self, operator: str, parts: list[str]) -> str:
        return f"({f' {operator} '.join(parts)})"

    def negate(self, part: str) -> str:
        return f"not ({part})"

    def at_least(self, count: int, parts: list[str]) -> str:
        counted = " + ".join(f"(({part}) ? 1 : 0)" for part in parts)
        return f"(({counted}) >= {count})"

    def constant(self, value: bool) -> str:
        return self.true if value else self.false


class _Trees:
    """JSON trees."""

    def compare(self, variable: str, operator: str, value: float | str) -> Any:
        return {operator: [{"var": variable}, value]}

    def join(self, operator: str, parts: list[Any]) -> Any:
        return {operator: parts}

    def negate(self, part: Any) -> Any:
        return {"!": [part]}

    def at_least(self, count: int, parts: list[Any]) -> Any:
        return {">=": [{"+": [{"if": [part, 1, 0]} for part in parts]}, count]}

    def constant(self, value: bool) -> Any:
        return value


class _Prefix:
    """Text with operators in front, for conditions on one fact."""

    def compare(self, variable: str, operator: str, value: float | str) -> str:
        if operator == "==":
            return f"(eq ?{variable} {value})"
        return f"({operator} ?{variable} {value})"

    def join(self, operator: str, parts: list[str]) -> str:
        return parts[0] if len(parts) == 1 else f"({operator} {' '.join(parts)})"

    def negate(self, part: str) -> str:
        return f"(not {part})"

    def at_least(self, count: int, parts: list[str]) -> str:
        return f"(>= (+ {' '.join(f'(if {part} then 1 else 0)' for part in parts)}) {count})"

    def constant(self, value: bool) -> str:
        return "TRUE" if value else "FALSE"


# ---- the engines


def by_clips(rules: Mapping[str, Expression], knowledge: Knowledge) -> Callable[[Fact], Fits]:
    """CLIPS: one template with a slot for each cell, one rule for each category."""
    environment = clips.Environment()
    slots = {
        _variable(each.id, side): "a" if each.scale is Scale.CHOICE else 0
        for each in vocabulary().values()
        for side in each.sides
    }
    environment.build(f"(deftemplate exam {' '.join(f'(slot {name})' for name in slots)})")
    environment.build("(deftemplate fits (slot category))")
    for name, expression in rules.items():
        condition = written(expression, knowledge, _Prefix())
        needed = [slot for slot in slots if f"?{slot} " in condition or f"?{slot})" in condition]
        bound = " ".join(f"(slot_{slot} ?{slot})" for slot in needed).replace("slot_", "")
        environment.build(
            f"(defrule {name} (exam {bound}) (test {condition})"
            f" => (assert (fits (category {name}))))"
        )
    template, found = environment.find_template("exam"), environment.find_template("fits")
    words = {word: clips.Symbol(word) for each in vocabulary().values() for word in each.values}

    def run(fact: Fact) -> Fits:
        environment.reset()
        template.assert_fact(
            **{name: words[v] if isinstance(v, str) else v for name, v in fact.items()}
        )
        environment.run()
        fits = {str(each["category"]) for each in found.facts()}
        return {name: name in fits for name in rules}

    return run


def by_zen(rules: Mapping[str, Expression], knowledge: Knowledge) -> Callable[[Fact], Fits]:
    """zen-engine: a compiled expression for each category."""
    language = _Infix(true="true", false="false")
    compiled = {
        name: zen.compile_expression(written(each, knowledge, language))
        for name, each in rules.items()
    }
    return lambda fact: {name: bool(each.evaluate(fact)) for name, each in compiled.items()}


def by_json_logic(rules: Mapping[str, Expression], knowledge: Knowledge) -> Callable[[Fact], Fits]:
    """JSONLogic: a tree for each category."""
    trees = {name: written(each, knowledge, _Trees()) for name, each in rules.items()}
    return lambda fact: {name: bool(jsonLogic(tree, fact)) for name, tree in trees.items()}


def by_rule_engine(rules: Mapping[str, Expression], knowledge: Knowledge) -> Callable[[Fact], Fits]:
    """rule-engine: a compiled rule for each category."""
    language = _Infix(true="true", false="false")
    compiled = {
        name: rule_engine.Rule(written(each, knowledge, language)) for name, each in rules.items()
    }
    return lambda fact: {name: bool(each.matches(fact)) for name, each in compiled.items()}
