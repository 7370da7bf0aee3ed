"""Say a condition in plain words, from the same tree that is evaluated.

The words keep what they name: a page can make a link of every sign, pattern, warning, medicine
class and number in them.
"""

from collections.abc import Mapping
from dataclasses import replace
from typing import assert_never

from app.exam.measures import QUANTITIES
from app.exam.units import counted, grade_word
from app.exam.vocabulary import GRADE_WORDS, Finding, Scale
from app.knowledge.linked import (
    Term,
    Words,
    capital,
    join,
    lower,
    plain,
)
from app.knowledge.load import Knowledge
from app.knowledge.model import Category
from app.knowledge.names import AGE
from app.language.numbers import figures
from app.language.words import ENGLISH, N_, Spoken, _, language
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

COMPARED = Spoken(
    {">=": N_("{} or more"), ">": N_("over {}"), "<=": N_("{} or less"), "<": N_("under {}")}
)
# Labels that say something instead of naming it: “no” in front of them would be no English.
_STATEMENTS = (
    "A fall needed", "A position exists", "A touch eases", "Acts out", "Alcohol eases",
    "Arms equally", "Began", "Both sides equally", "Clearly worse", "Could not", "Feels",
    "Feet seem", "Knees give", "Legs equally", "Lost consciousness", "Misses", "Not known",
    "One side more", "Pattern changes", "Signs confined", "Slow to", "Staggers", "That decline",
    "Tremor stops", "Tremor takes", "Turns", "Worries",
)  # fmt: skip
_SIDED: Mapping[type, str] = Spoken(
    {
        AnySide: N_("on either side"),
        BothSides: N_("on both sides"),
        OtherSide: N_("on the other side"),
    }
)
_OF_A_RULE = Spoken(
    {
        "_fits": N_("the pattern “{}” fits"),
        "_listed": N_("the pattern “{}” fits, is partly there, or is open"),
        "_raised": N_("the warning “{}” is raised"),
        "_cautioned": N_("the pattern “{}” has a caution"),
        "_cautioned_by_signs": N_("the pattern “{}” has a caution that is not a medicine"),
    }
)
# How such a sentence ends, and how it ends where it is denied.
_DENIED = (
    (N_("” fits"), N_("” does not fit")),
    (N_("” is raised"), N_("” is not raised")),
)
# Units as they are written on paper; the codes are for machines.
_UNITS = Spoken(
    {
        "mm[Hg]": N_("mmHg"),
        "/min per mm[Hg]": N_("beats a minute for each mmHg"),
        "/min": N_("a minute"),
    }
)


def rule_words(category: Category, knowledge: Knowledge) -> str:
    """What a category requires, in one sentence."""
    if category.built_from_vocabulary:
        return category.says
    return f"{capital(condition_words(knowledge.requirement(category), knowledge))}."


def condition_words(expression: Expression, knowledge: Knowledge) -> str:
    """A condition as text, without a capital or a full stop."""
    return plain(words_of(expression, knowledge))


def words_of(expression: Expression, knowledge: Knowledge) -> Words:
    """A condition in words, without a capital or a full stop."""
    match expression:
        case Atom():
            return _atom(expression, knowledge)
        case Reference(name):
            return _named(name, knowledge)
        case And(members):
            return _joined(_(", and "), [_part(each, knowledge) for each in members])
        case Or(members):
            if kind := whole_kind(expression):
                return join(_label(kind, knowledge), _(" known"))
            return _joined(_(", or "), [_part(each, knowledge) for each in members])
        case AtLeast(count, members):
            return join(_("{many} of: ").format(many=many(count)), _listed(members, knowledge))
        case Not(inner):
            return _negated(inner, knowledge)
        case Surely(inner):
            return join(_("known: "), _quoted(_part(inner, knowledge)))
        case AnySide(inner) | BothSides(inner) | OtherSide(inner):
            return on_side(_part(inner, knowledge), type(expression))
        case _:
            assert_never(expression)


def on_side(words: Words, node: type) -> Words:
    """Words that are judged on a side, with the side."""
    comma = "," if "," in plain(words) and not plain(words).endswith(")") else ""
    return join(words, f"{comma} {_SIDED[node]}")


def many(count: int) -> str:
    """How many of a list."""
    return _("one or more") if count == 1 else _("at least {count}").format(count=count)


def whole_kind(expression: Or) -> str | None:
    """The kind whose being known an `or` over all its values asks for; None where it does not."""
    kinds = {
        member.inner.name.partition(":")[0]
        if isinstance(member, Surely) and isinstance(member.inner, Reference)
        else ""
        for member in expression.members
    }
    return next(iter(kinds)) or None if len(kinds) == 1 else None


def unit_words(unit: str) -> str:
    """A unit as it is written on paper."""
    return _UNITS.get(unit) or counted(unit, None)


# ---- joined and negated


def _part(expression: Expression, knowledge: Knowledge) -> Words:
    """A condition inside another one: a list needs brackets, or it is read wrongly."""
    words = words_of(expression, knowledge)
    if isinstance(expression, And | AtLeast) or (
        isinstance(expression, Or) and not whole_kind(expression)
    ):
        return join("(", words, ")")
    return words


def _joined(between: str, parts: list[Words]) -> Words:
    words = parts[0]
    for part in parts[1:]:
        words = join(words, between, part)
    return words


def _listed(members: tuple[Expression, ...], knowledge: Knowledge) -> Words:
    return _joined("; ", [words_of(each, knowledge) for each in members])


def _negated(inner: Expression, knowledge: Knowledge) -> Words:
    match inner:
        case Or(members):
            if kind := whole_kind(inner):
                return join(_label(kind, knowledge), _(" not known"))
            return join(_("none of: "), _listed(members, knowledge))
        case And(members):
            return join(_("not all of: "), _listed(members, knowledge))
        case AtLeast(count, members):
            return join(
                _("fewer than {count} of: ").format(count=count), _listed(members, knowledge)
            )
        case AnySide(each) | OtherSide(each):
            return on_side(_negated(each, knowledge), type(inner))
        case BothSides(each):
            return join(_("not on both sides: "), _part(each, knowledge))
        case Surely(Reference(name)) if name.endswith("_raised"):
            return _no(_named(name, knowledge))
        case Surely(known):
            return join(_("not known: "), _quoted(_part(known, knowledge)))
        case Atom(name, "known"):
            return join(_quoted(_label(name, knowledge)), _(" not recorded"))
        case Atom(name, "untestable"):
            return join(_quoted(_label(name, knowledge)), _(" not recorded as untestable"))
        case Atom(name, "is" | "in"):
            return join(_label(name, knowledge, valued=True), _("not "), _values(inner, knowledge))
        case _:
            return _no(words_of(inner, knowledge))


def _no(words: Words) -> Words:
    text = capital(plain(words))
    for says, denies in ((_(says), _(denies)) for says, denies in _DENIED):
        if text.endswith(says):
            return (replace(words[0], text=words[0].text.removesuffix(says) + denies),)
    if language() != ENGLISH or ":" in text or text.startswith((*_STATEMENTS, "The pattern")):
        # Only English puts its “no” in front of a word as it is.
        return join(_("not “"), words, _("”"))
    without_article = words[0].text.removeprefix("a ")
    return join("no ", (replace(words[0], text=without_article), *words[1:]))


def _quoted(words: Words) -> Words:
    """A label that would run into the words around it, in quotation marks."""
    text = capital(plain(words))
    if language() != ENGLISH or ":" in text or text.startswith(_STATEMENTS):
        return join(_("“"), words, _("”"))
    return words


# ---- single statements


def _atom(atom: Atom, knowledge: Knowledge) -> Words:
    name = atom.name
    match atom.relation:
        case "takes":
            classes = knowledge.medicine_classes
            if name not in classes:
                return (Term(name),)
            return (
                Term(_("a medicine that {blocks}").format(blocks=classes[name]), "medicines", name),
            )
        case "known":
            return join(_quoted(_label(name, knowledge)), _(" recorded"))
        case "untestable":
            return join(_quoted(_label(name, knowledge)), _(" could not be tested"))
        case "":
            return _label(name, knowledge)
        case "is" | "in":
            return join(_label(name, knowledge, valued=True), _values(atom, knowledge))
        case _:
            return join(_label(name, knowledge, valued=True), _compared(atom, knowledge))


def _values(atom: Atom, knowledge: Knowledge) -> str:
    finding = knowledge.names.vocabulary[atom.name]
    words = [finding.words_of(operand) for operand in atom.operands]
    return (
        _(", or ") if any(_(" or ") in each or "," in each for each in words) else _(" or ")
    ).join(words)


def _compared(atom: Atom, knowledge: Knowledge) -> Words:
    operand, compared = atom.operands[0], COMPARED[atom.relation]
    finding = knowledge.names.vocabulary.get(atom.name)
    if finding is not None and finding.scale is Scale.GRADE:
        return (
            Term(
                compared.format(
                    _("grade {number} ({word})").format(
                        number=GRADE_WORDS.index(operand), word=grade_word(operand)
                    )
                )
            ),
        )
    if operand in knowledge.norms:
        return (Term(compared.format(_("the norm for age and sex")), "norms", operand),)
    threshold = knowledge.thresholds[operand]
    if _counts(finding) and threshold.value == 1 and atom.relation == "<":
        return (Term(_("none"), "thresholds", operand),)
    unit = "" if _counts(finding) else unit_words(threshold.unit)
    number = f"{figures(threshold.value)} {unit}".strip()
    return (Term(compared.format(number), "thresholds", operand),)


def _counts(finding: Finding | None) -> bool:
    """Whether a finding's label says already what its number counts."""
    return finding is not None and finding.scale is Scale.COUNT


def _named(name: str, knowledge: Knowledge) -> Words:
    if name in knowledge.signs:
        return (Term(lower(knowledge.signs[name].label), "signs", name),)
    kind, _, value = name.partition(":")
    if kind in knowledge.kinds:
        words = {each.id: each.label for each in knowledge.kinds[kind].values}
        return (Term(f"{lower(knowledge.kinds[kind].label)}: {words[value]}", "signs", kind),)
    suffix = next(each for each in _OF_A_RULE if name.endswith(each))
    rule = name.removesuffix(suffix)
    if rule in knowledge.warnings:
        named, group = knowledge.warnings[rule].label, "warnings"
    else:
        named, group = knowledge.categories[rule].label, "categories"
    return (Term(_OF_A_RULE[suffix].format(lower(named)), group, rule),)


def _label(name: str, knowledge: Knowledge, *, valued: bool = False) -> Words:
    """What a condition speaks of. valued: a value follows, so that the label ends in a colon."""
    if name in knowledge.balances:
        return (Term(lower(knowledge.balances[name].label), "signs", name),)
    if name in knowledge.kinds:
        return (Term(lower(knowledge.kinds[name].label), "signs", name),)
    if name in knowledge.names.vocabulary:
        label = lower(knowledge.names.vocabulary[name].label)
    else:
        label = _("age") if name == AGE else lower(_(QUANTITIES[name].label))
    if not valued:
        return (Term(label),)
    label = label.replace(": ", ", ")
    return (Term(f"{label} " if label.endswith(" in") else f"{label}: "),)
