"""Say a condition in plain words, from the same tree that is evaluated."""

from collections.abc import Mapping
from typing import assert_never

from app.exam.measures import QUANTITIES
from app.exam.vocabulary import GRADE_WORDS, Scale
from app.knowledge.load import Knowledge
from app.knowledge.model import Category
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

_COMPARED = {">=": "{} or more", ">": "over {}", "<=": "{} or less", "<": "under {}"}
# Names of people keep their capital inside a sentence.
_PEOPLE = ("Hoffmann", "Romberg")
_SIDED: Mapping[type, str] = {
    AnySide: "on either side",
    BothSides: "on both sides",
    OtherSide: "on the other side",
}
_OF_A_RULE = {
    "_fits": "{} fits",
    "_listed": "{} fits, partly or openly",
    "_raised": "the warning “{}”",
    "_cautioned": "{} has a caution",
    "_cautioned_by_signs": "{} has a caution that is not a medicine",
}


def rule_words(category: Category, knowledge: Knowledge) -> str:
    """What a category requires, in one sentence."""
    if category.built_from_vocabulary:
        return category.says
    return _sentence(condition_words(knowledge.requirement(category), knowledge))


def condition_words(expression: Expression, knowledge: Knowledge) -> str:
    """A condition in words, without a capital or a full stop."""
    match expression:
        case Atom():
            return _atom(expression, knowledge)
        case Reference(name):
            return _named(name, knowledge)
        case And(members):
            return ", and ".join(_part(member, knowledge) for member in members)
        case Or(members):
            return ", or ".join(_part(member, knowledge) for member in members)
        case AtLeast(count, members):
            many = "one or more" if count == 1 else f"at least {count}"
            return f"{many} of: {'; '.join(condition_words(each, knowledge) for each in members)}"
        case Not(inner):
            return _negated(inner, knowledge)
        case Surely(inner):
            return f"known: {_part(inner, knowledge)}"
        case AnySide(inner) | BothSides(inner) | OtherSide(inner):
            return f"{_part(inner, knowledge)} {_SIDED[type(expression)]}"
        case _:
            assert_never(expression)


def _negated(inner: Expression, knowledge: Knowledge) -> str:
    match inner:
        case AnySide(either):
            return f"{_part(either, knowledge)} on neither side"
        case Surely(known):
            return f"not known: {_part(known, knowledge)}"
        case _:
            return f"no {_part(inner, knowledge)}"


def _part(expression: Expression, knowledge: Knowledge) -> str:
    """A condition inside another one: a list needs brackets, or it is read wrongly."""
    words = condition_words(expression, knowledge)
    return f"({words})" if isinstance(expression, And | Or | AtLeast) else words


def _atom(atom: Atom, knowledge: Knowledge) -> str:
    name, operands = atom.name, atom.operands
    match atom.relation:
        case "takes":
            classes = knowledge.medicine_classes
            return f"a medicine that {classes[name]}" if name in classes else name
        case "known":
            return f"{_label(name, knowledge)} recorded"
        case "untestable":
            return f"{_label(name, knowledge)} could not be tested"
        case "":
            return _label(name, knowledge)
        case "is" | "in":
            finding = knowledge.names.vocabulary[name]
            words = " or ".join(finding.words_of(operand) for operand in operands)
            return f"{_label(name, knowledge)}: {words}"
        case relation:
            number = _number(name, operands[0], knowledge)
            return f"{_label(name, knowledge)} {_COMPARED[relation].format(number)}"


def _number(name: str, operand: str, knowledge: Knowledge) -> str:
    finding = knowledge.names.vocabulary.get(name)
    if finding is not None and finding.scale is Scale.GRADE:
        return f"{GRADE_WORDS.index(operand)} ({operand})"
    if operand in knowledge.norms:
        return "the norm for age and sex"
    threshold = knowledge.thresholds[operand]
    return f"{threshold.value} {threshold.unit}"


def _named(name: str, knowledge: Knowledge) -> str:
    if name in knowledge.signs:
        return _lower(knowledge.signs[name].label)
    kind, _, value = name.partition(":")
    if kind in knowledge.kinds:
        words = {each.id: each.label for each in knowledge.kinds[kind].values}
        return f"{_lower(knowledge.kinds[kind].label)}: {words[value]}"
    suffix = next(each for each in _OF_A_RULE if name.endswith(each))
    rule = name.removesuffix(suffix)
    named = knowledge.warnings[rule] if rule in knowledge.warnings else knowledge.categories[rule]
    return _OF_A_RULE[suffix].format(_lower(named.label))


def _label(name: str, knowledge: Knowledge) -> str:
    if name in knowledge.names.vocabulary:
        return _lower(knowledge.names.vocabulary[name].label)
    if name in knowledge.balances:
        return _lower(knowledge.balances[name].label)
    return "age" if name == AGE else _lower(QUANTITIES[name].label)


def _lower(label: str) -> str:
    return label if label.startswith(_PEOPLE) else label[0].lower() + label[1:]


def _sentence(words: str) -> str:
    first = len(words) - len(words.lstrip("("))
    return words[:first] + words[first].upper() + words[first + 1 :] + "."
