"""What a condition gives, what that rests on, and what could still change it: by example.

The properties that hold for every condition stand in test_evaluate_properties.py.
"""

import pytest

from app.logic.evaluate import Evaluation
from app.logic.expression import Atom
from app.logic.truth import NO, UNKNOWN, YES, Truth
from tests.logic.worlds import LEFT, RIGHT, TableWorld, condition, world


def truth(text: str, at: TableWorld, side: str | None = None, **definitions: str) -> Truth:
    """The value of a condition as it is written."""
    return condition(text, side, **definitions).truth(at.answers)


def because(text: str, at: TableWorld, side: str | None = None, **definitions: str) -> list[str]:
    """Its reasons, each as `p right` or `x`."""
    return _told(condition(text, side, **definitions).because(at.answers))


def unsettled(text: str, at: TableWorld, side: str | None = None, **definitions: str) -> list[str]:
    """What could still change it, each as `p right` or `x`."""
    return _told(condition(text, side, **definitions).unsettled(at.answers, at.final))


def _told(cells: list[tuple[str, str | None]]) -> list[str]:
    return [f"{name} {side}" if side else name for name, side in cells]


# ---- sides


def test_a_paired_name_is_judged_on_the_side_that_is_looked_at() -> None:
    """The right hand says nothing about the left."""
    at = world(p_right="yes", p_left="no")

    assert YES is truth("p", at, RIGHT)
    assert NO is truth("p", at, LEFT)


def test_a_single_name_is_the_same_from_either_side() -> None:
    """A history belongs to the whole person."""
    at = world(x="yes")

    assert (YES, YES, YES) == (truth("x", at), truth("x", at, RIGHT), truth("x", at, LEFT))


@pytest.mark.parametrize(
    ("right", "left", "any_side", "both_sides"),
    [
        ("yes", "yes", "yes", "yes"),
        ("yes", "no", "yes", "no"),
        ("yes", "unknown", "yes", "unknown"),
        ("no", "no", "no", "no"),
        ("no", "unknown", "unknown", "no"),
        ("unknown", "unknown", "unknown", "unknown"),
    ],
)
def test_any_side_is_an_or_and_both_sides_an_and(
    right: str, left: str, any_side: str, both_sides: str
) -> None:
    """From either end: the sides may be changed over."""
    for at in (world(p_right=right, p_left=left), world(p_right=left, p_left=right)):
        assert Truth(any_side) is truth("any(p)", at)
        assert Truth(both_sides) is truth("both(p)", at)


def test_what_stands_under_any_is_judged_on_one_and_the_same_side() -> None:
    """Slow on the right and shrinking on the left are not one slow and shrinking hand."""
    at = world(p_right="yes", q_right="no", p_left="no", q_left="yes")

    assert NO is truth("any(p and q)", at)
    assert YES is truth("any(p) and any(q)", at)


def test_the_other_side_is_the_opposite_one() -> None:
    """One side affected, the other examined and free."""
    assert YES is truth("any(p and not other(p))", world(p_right="yes", p_left="no"))
    assert YES is truth("any(p and not other(p))", world(p_right="no", p_left="yes"))
    assert NO is truth("any(p and not other(p))", world(p_right="yes", p_left="yes"))
    assert UNKNOWN is truth("any(p and not other(p))", world(p_right="yes"))


def test_the_other_side_of_the_other_side_is_this_side() -> None:
    """There are only two."""
    assert YES is truth("other(other(p))", world(p_right="yes", p_left="no"), RIGHT)


# ---- named conditions


def test_a_paired_named_condition_keeps_the_side() -> None:
    """It is judged where it is used."""
    at = world(p_right="yes", q_right="yes", p_left="yes", q_left="no")

    assert YES is truth("slow_side", at, RIGHT, slow_side="p and q")
    assert NO is truth("slow_side", at, LEFT, slow_side="p and q")
    assert YES is truth("any(slow_side)", at, slow_side="p and q")
    assert NO is truth("both(slow_side)", at, slow_side="p and q")


def test_a_single_named_condition_forgets_the_side() -> None:
    """It is the same wherever it is used."""
    at = world(p_right="yes")

    assert YES is truth("any(q or anywhere)", at, anywhere="any(p)")
    assert YES is truth("anywhere", at, LEFT, anywhere="any(p)")


def test_a_named_condition_may_use_another() -> None:
    """As rest tremor anywhere uses rest tremor, and that re-emergent tremor."""
    names = {"a_side": "p and x", "anywhere": "any(a_side) or y"}

    assert YES is truth("anywhere", world(p_left="yes", x="yes"), **names)
    assert NO is truth("anywhere", world(x="no", y="no"), **names)


def test_a_named_condition_is_worked_out_once() -> None:
    """A rule base asks for the same sign many times."""
    asked: list[str] = []

    class Counting(TableWorld):
        def judge(self, atom: Atom, side: str | None) -> Truth:
            asked.append(f"{atom.name} {side}")
            return super().judge(atom, side)

    held = condition("a_side and not a_side and other(a_side)", RIGHT, a_side="p")
    Evaluation(Counting({}), held.definitions).truth(held.expression, RIGHT)

    assert ["p right", "p left"] == asked


# ---- surely


@pytest.mark.parametrize(("inner", "sure"), [("yes", "yes"), ("no", "no"), ("unknown", "no")])
def test_surely_counts_unknown_as_no(inner: str, sure: str) -> None:
    """`not surely(...)` is how a rule says `not known to`."""
    assert Truth(sure) is truth("surely(x)", world(x=inner))


def test_an_answer_can_end_what_was_not_known_to_be() -> None:
    """Surely is the one node that is not sound, and each use of it is an exemption by name."""
    assert YES is truth("not surely(x)", world())
    assert NO is truth("not surely(x)", world(x="yes"))
    assert ["x"] == unsettled("not surely(x)", world())


# ---- because


@pytest.mark.parametrize(
    ("text", "reasons"),
    [
        ("x and y", ["x", "y"]),
        ("x or y", ["x", "y"]),
        ("x or z", ["x"]),
        ("x or w", ["x"]),
        ("at_least(1, x, w, y, z)", ["x", "y"]),
        ("any(p)", ["p right"]),
        ("any(q)", ["q right", "q left"]),
        ("both(q)", ["q right", "q left"]),
        ("any(p and other(q))", ["p right", "q left"]),
        ("surely(x)", ["x"]),
        ("surely(x or w) and y", ["x", "y"]),
        # Nothing speaks under a not.
        ("not w", []),
        ("not z", []),
        ("x and not w", ["x"]),
        ("not (w and x)", []),
        ("not not x", []),
        # What is not true has no reasons.
        ("w", []),
        ("z", []),
        ("x and w", []),
        ("x and z", []),
        ("at_least(2, x, w, z)", []),
    ],
)
def test_because_names_every_true_statement_and_nothing_under_a_not(
    text: str, reasons: list[str]
) -> None:
    """Here x and y are true, w is false, z is unknown; p on the right, q on both sides."""
    at = world(x="yes", y="yes", w="no", p_right="yes", p_left="no", q_right="yes", q_left="yes")

    assert reasons == because(text, at)


def test_because_reads_through_names() -> None:
    """The reader sees what was recorded, not the names of rules."""
    at = world(p_left="yes", x="yes", y="no")
    names = {"a_side": "p and x", "anywhere": "any(a_side) or y"}

    assert ["p left", "x"] == because("anywhere", at, **names)


# ---- grounds


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("x", ["x"]),
        ("w", ["w"]),
        ("z", []),
        ("not w", ["w"]),
        ("x and not w", ["x", "w"]),
        # One no is enough, and the yes beside it is no ground for it.
        ("x and w", ["w"]),
        ("x or w", ["x"]),
        ("w or not x", ["w", "x"]),
        ("z and w", ["w"]),
        ("z and x", []),
        ("at_least(2, x, w, y)", ["x", "y"]),
        ("at_least(3, x, w, y)", ["w"]),
        ("any(p)", ["p right"]),
        ("both(p)", ["p left"]),
        ("surely(x)", ["x"]),
        # That something is not known rests on nothing that was recorded.
        ("not surely(z)", []),
    ],
)
def test_grounds_are_what_a_yes_or_no_rests_on(text: str, expected: list[str]) -> None:
    """Here x and y are true, w is false, p is true on the right alone, and z is unknown."""
    at = world(x="yes", y="yes", w="no", p_right="yes", p_left="no")

    assert expected == _told(condition(text).grounds(at.answers))


# ---- unsettled


@pytest.mark.parametrize(
    ("text", "asked"),
    [
        ("z", ["z"]),
        ("not z", ["z"]),
        ("x", []),
        ("x and z", ["z"]),
        ("w and z", []),
        ("x or z", []),
        ("w or z", ["z"]),
        ("(w and z) or z", ["z"]),
        ("at_least(2, x, z, w)", ["z"]),
        ("at_least(1, x, z, w)", []),
        ("at_least(2, w, z, w)", []),
        ("any(p)", []),
        ("any(q)", ["q right", "q left"]),
        ("both(p)", ["p left"]),
        ("any(p and other(q))", ["q left", "p left", "q right"]),
        ("surely(z)", ["z"]),
        ("surely(x)", []),
        # What holds only while z is not known does not settle the rest.
        ("not surely(z) or y", ["z", "y"]),
        ("surely(z) and y", ["z", "y"]),
        ("at_least(1, not surely(z), y)", ["z", "y"]),
    ],
)
def test_unsettled_names_what_could_still_change_the_result(text: str, asked: list[str]) -> None:
    """Here x is true, w is false, p is true on the right; all else is unknown."""
    assert asked == unsettled(text, world(x="yes", w="no", p_right="yes"))


def test_unsettled_reads_through_names() -> None:
    """What is asked for is something that can be looked at."""
    assert ["p left", "x"] == unsettled(
        "anywhere", world(p_right="no"), a_side="p and x", anywhere="any(a_side)"
    )


@pytest.mark.parametrize(
    ("text", "asked"),
    [
        # z could not be tested: it stays unknown for good.
        ("z", []),
        ("y and z", ["y"]),
        ("y or z", ["y"]),
        ("at_least(2, y, z)", ["y"]),
        ("at_least(1, y, z)", ["y"]),
        # Either way it stays unknown: one of three is not enough for two, nor too few.
        ("at_least(2, x, y, z)", ["y"]),
        ("at_least(2, w, y, z)", ["y"]),
        ("at_least(3, x, x, y, z, z)", ["y"]),
        ("at_least(3, w, x, y, z, z)", []),
        ("not (x and z)", []),
    ],
)
def test_what_cannot_be_tested_is_not_asked_for_again(text: str, asked: list[str]) -> None:
    """Here x is true, w is false, z is unknown for good; only y can still be answered."""
    at = TableWorld({("x", None): YES, ("w", None): NO}, final=frozenset({("z", None)}))

    assert asked == unsettled(text, at)
