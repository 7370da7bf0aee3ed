"""The tree of a condition: how it is walked, rewritten, and read for what speaks for it."""

import pytest

from app.logic.expression import (
    And,
    Atom,
    Expression,
    Reference,
    children,
    positive_atoms,
    rewrite,
    walk,
)
from app.logic.parse import parse
from tests.logic.worlds import condition


def test_walk_gives_the_condition_and_all_inside_it_outermost_first() -> None:
    """Definitions are not entered."""
    told = [
        type(each).__name__
        for each in walk(parse("at_least(1, any(p), both(q)) and (surely(x) or not other(y))"))
    ]

    assert [
        *("And", "AtLeast", "AnySide", "Atom", "BothSides", "Atom"),
        *("Or", "Surely", "Atom", "Not", "OtherSide", "Atom"),
    ] == told


@pytest.mark.parametrize("expression", [Atom("x"), condition("whole", whole="x").expression])
def test_a_statement_or_a_name_has_nothing_inside(expression: Expression) -> None:
    """What a name stands for is looked up, not nested."""
    assert () == children(expression)


def test_rewrite_changes_statements_and_keeps_everything_else() -> None:
    """As the names of signs become references when the knowledge is loaded."""
    text = "at_least(1, any(p), both(p)) and (surely(p) or not other(p)) and q"
    changed = condition(text, p_named="y").expression

    assert parse(text) == changed


def test_rewrite_puts_a_name_in_the_place_of_a_statement_and_then_keeps_it() -> None:
    """What was resolved once is not resolved again."""
    named = condition("x and slow", slow="y").expression

    assert And((Atom("x"), Reference("slow"))) == named
    assert named == rewrite(named, lambda atom: atom)


def test_positive_atoms_are_those_that_speak_for_the_condition() -> None:
    """Those of named conditions too, and none under a not: they give a category its side."""
    held = condition(
        "any(a_side and not q) or (x and not not y)",
        a_side="p and not r and other(b_side)",
        b_side="s",
    )

    assert ["p", "s", "x"] == [
        atom.name for atom in positive_atoms(held.expression, held.definitions)
    ]
