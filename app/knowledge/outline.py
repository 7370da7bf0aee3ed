"""A condition as a list of statements, for where one long sentence would not be read."""

from collections.abc import Mapping
from dataclasses import dataclass

from app.knowledge.linked import Words, capital_words, join
from app.knowledge.load import Knowledge
from app.knowledge.words import many, whole_kind, words_of
from app.language.words import N_, Spoken, _
from app.logic.expression import (
    And,
    AnySide,
    AtLeast,
    BothSides,
    Expression,
    Not,
    Or,
    OtherSide,
)

_SIDED: Mapping[type, str] = Spoken(
    {
        AnySide: N_("on the right or on the left, "),
        BothSides: N_("on each side, "),
        OtherSide: N_("on the other side, "),
    }
)


@dataclass(frozen=True)
class Outline:
    """One line of a list. words: a statement, or how the items under it are joined."""

    words: Words
    items: tuple["Outline", ...] = ()


def split(expression: Expression) -> tuple[str, tuple[Expression, ...]]:
    """How a condition is put together, and of what; nothing where it is one statement."""
    match expression:
        case And(members):
            return _("all of"), members
        case Or(members) if not whole_kind(expression):
            return _("one or more of"), members
        case AtLeast(count, members):
            return _("{count} of").format(count=many(count)), members
        case Not(And(members)):
            return _("not all of"), members
        case Not(Or(members) as inner) if not whole_kind(inner):
            return _("none of"), members
        case Not(AtLeast(count, members)):
            return _("fewer than {count} of").format(count=count), members
        case _:
            return "", ()


def outline(expression: Expression, knowledge: Knowledge) -> Outline:
    """A condition as a list; a single statement is a list of one line."""
    joined, members = _sided(expression)
    if not members:
        return Outline(capital_words(words_of(expression, knowledge)))
    items = tuple(outline(each, knowledge) for each in members)
    return Outline(capital_words(join(f"{joined}:")), items)


def _sided(expression: Expression) -> tuple[str, tuple[Expression, ...]]:
    match expression:
        case AnySide(inner) | BothSides(inner) | OtherSide(inner):
            joined, members = split(inner)
            return f"{_SIDED[type(expression)]}{joined}", members
        case _:
            return split(expression)
