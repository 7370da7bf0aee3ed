"""How a condition is written, rule by rule, and what an author is told who wrote it wrongly.

The expected messages stand here whole, because they are part of what the program gives.
"""

from textwrap import dedent

import pytest

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
    Surely,
)
from app.logic.parse import BadExpression, parse

A, B, C = Atom("a"), Atom("b"), Atom("c")

GRAMMAR: list[tuple[str, Expression]] = [
    # A statement about one name.
    ("drift", Atom("drift")),
    ("hx_falls_12m", Atom("hx_falls_12m")),
    ("drift >= definite", Atom("drift", ">=", ("definite",))),
    ("walk_s > slow", Atom("walk_s", ">", ("slow",))),
    ("walk_s <= slow", Atom("walk_s", "<=", ("slow",))),
    ("walk_s < slow", Atom("walk_s", "<", ("slow",))),
    ("base is wide", Atom("base", "is", ("wide",))),
    ("base is not wide", Not(Atom("base", "is", ("wide",)))),
    ("base in (wide)", Atom("base", "in", ("wide",))),
    ("base in (narrow, wide)", Atom("base", "in", ("narrow", "wide"))),
    ("known(drift)", Atom("drift", "known")),
    ("takes(lithium_like)", Atom("lithium_like", "takes")),
    # A value may be called like a function.
    ("directions is both", Atom("directions", "is", ("both",))),
    ("directions in (both, any)", Atom("directions", "in", ("both", "any"))),
    # Joined.
    ("a and b", And((A, B))),
    ("a or b", Or((A, B))),
    ("a and b and c", And((A, B, C))),
    ("a or b or c", Or((A, B, C))),
    ("not a", Not(A)),
    ("not not a", Not(Not(A))),
    ("not a and b", And((Not(A), B))),
    ("a or not b", Or((A, Not(B)))),
    # Brackets.
    ("(a)", A),
    ("((a))", A),
    ("(a and b) or c", Or((And((A, B)), C))),
    ("a and (b or c)", And((A, Or((B, C))))),
    ("a and (b and c)", And((A, And((B, C))))),
    ("not (a or b)", Not(Or((A, B)))),
    # Counted.
    ("at_least(1, a)", AtLeast(1, (A,))),
    ("at_least(2, a, b, c)", AtLeast(2, (A, B, C))),
    ("at_least(2, a and b, not c)", AtLeast(2, (And((A, B)), Not(C)))),
    # Sided.
    ("any(a)", AnySide(A)),
    ("both(a)", BothSides(A)),
    ("any(a and not other(b))", AnySide(And((A, Not(OtherSide(B)))))),
    ("surely(a or b)", Surely(Or((A, B)))),
    ("any(a) and both(b)", And((AnySide(A), BothSides(B)))),
]


@pytest.mark.parametrize(("text", "tree"), GRAMMAR, ids=[text for text, _ in GRAMMAR])
def test_a_sentence_gives_its_tree(text: str, tree: Expression) -> None:
    """Each rule of the grammar, once alone and once among others."""
    assert tree == parse(text)


@pytest.mark.parametrize(
    "text",
    [
        "  a and at_least( 2 ,b ,c )  ",
        "a\nand\nat_least(2,b,c)",
        "a\tand   at_least(2,\r\n    b,\r\n    c)",
        "a and at_least(2,b,c)",
    ],
)
def test_spaces_and_line_breaks_are_free(text: str) -> None:
    """A long condition may be written over several lines."""
    assert And((A, AtLeast(2, (B, C)))) == parse(text)


def test_a_sign_needs_no_space() -> None:
    """Comparisons and brackets end a name by themselves."""
    assert And((Atom("a", ">=", ("b",)), C)) == parse("(a>=b)and(c)")


def test_a_longer_name_is_not_a_keyword() -> None:
    """`order` begins with `or`, `notch` with `not`, and both are names."""
    assert And((Atom("order"), Atom("notch"))) == parse("order and notch")


WRONG = {
    "nothing at all": """
        expected a finding or sign, found the end

        ^
        """,
    "and mixed with or": """
        `and` and `or` side by side need brackets
        a and b or c
                ^
        """,
    "or mixed with and": """
        `and` and `or` side by side need brackets
        a or b and c
               ^
        """,
    "mixed inside brackets": """
        `and` and `or` side by side need brackets
        any(a and b or c) and d
                    ^
        """,
    "mixed after a not": """
        `and` and `or` side by side need brackets
        not a and b or c
                    ^
        """,
    "a bare number": """
        a number needs a name: put it among the thresholds, with its source
        walk_s > 5
                 ^
        """,
    "a number as a statement": """
        a number needs a name: put it among the thresholds, with its source
        a and 12
              ^
        """,
    "a number as a value": """
        expected a value, found 2
        base is 2
                ^
        """,
    "two names in a row": """
        expected `and`, `or` or the end, found b
        a b
          ^
        """,
    "a sign with no meaning": """
        '=' has no meaning here
        walk_s = slow
               ^
        """,
    "a capital letter": """
        'D' has no meaning here
        a and Drift
              ^
        """,
    "a sign glued to a name": """
        '-' has no meaning here
        a-b
         ^
        """,
    "an open bracket": """
        expected ), found the end
        (a and b
                ^
        """,
    "a bracket too many": """
        expected `and`, `or` or the end, found )
        a and b)
               ^
        """,
    "an end after and": """
        expected a finding or sign, found the end
        a and
             ^
        """,
    "an end after a comparison": """
        expected the name of a threshold, found the end
        walk_s >=
                 ^
        """,
    "an end after is": """
        expected a value, found the end
        base is not
                   ^
        """,
    "a keyword as a name": """
        expected a finding or sign, found and
        a and and b
              ^
        """,
    "a keyword as a value": """
        expected a value, found not
        base in (not)
                 ^
        """,
    "and as a value": """
        expected a value, found and
        base is and
                ^
        """,
    "or as a value": """
        expected a value, found or
        base is or
                ^
        """,
    "an empty list of values": """
        expected a value, found )
        base in ()
                 ^
        """,
    "a list of values with no bracket": """
        expected (, found wide
        base in wide
                ^
        """,
    "a list of values that is not closed": """
        expected ), found and
        base in (wide and a)
                      ^
        """,
    "a comparison after a comparison": """
        expected `and`, `or` or the end, found <
        a < b < c
              ^
        """,
    "a function of nothing": """
        expected a name, found )
        known()
              ^
        """,
    "a function of a condition": """
        expected ), found and
        known(a and b)
                ^
        """,
    "any without a bracket": """
        expected (, found a
        any a
            ^
        """,
    "at_least without a bracket": """
        expected (, found 2
        at_least 2
                 ^
        """,
    "at_least without a number": """
        at_least begins with how many, found a
        at_least(a, b)
                 ^
        """,
    "at_least of none": """
        at_least(0, …) of 2 can never be decided by its members
        at_least(0, a, b)
                 ^
        """,
    "at_least of more than there are": """
        at_least(3, …) of 2 can never be decided by its members
        c or at_least(3, a, b)
                      ^
        """,
    "at_least of nothing": """
        at_least(1, …) of 0 can never be decided by its members
        at_least(1)
                 ^
        """,
    "a comma at the end": """
        expected a finding or sign, found )
        at_least(1, a,)
                      ^
        """,
}


@pytest.mark.parametrize("expected", WRONG.values(), ids=WRONG.keys())
def test_a_wrong_sentence_is_shown_with_a_mark_at_the_place(expected: str) -> None:
    """The author sees what was expected, their sentence, and where it went wrong."""
    problem, text, mark = dedent(expected).strip("\n").splitlines()

    with pytest.raises(BadExpression) as refused:
        parse(text)

    assert f"{problem}\n  {text}\n  {mark}" == str(refused.value)
    assert (problem, text, mark.index("^")) == (
        refused.value.problem,
        refused.value.text,
        refused.value.position,
    )


def test_the_mark_counts_in_the_sentence_as_it_is_shown() -> None:
    """Line breaks are shown as spaces, so that the mark still stands under its place."""
    with pytest.raises(BadExpression) as refused:
        parse("a\n   and\n   b or c")

    assert ("`and` and `or` side by side need brackets\n  a and b or c\n          ^") == str(
        refused.value
    )
