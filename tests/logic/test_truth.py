"""Yes, no and unknown. Every row of the three connectives is written out, to be read by eye.

Source: strong Kleene logic (S. C. Kleene, Introduction to Metamathematics, 1952, section 64).
"""

from collections.abc import Callable
from itertools import permutations, product
from typing import Any

import pytest

from app.logic.truth import (
    NO,
    UNKNOWN,
    YES,
    Truth,
    at_least,
    conjunction,
    disjunction,
    negation,
)

ALL = (YES, NO, UNKNOWN)

AND = """
yes and yes is yes
yes and no is no
yes and unknown is unknown
no and yes is no
no and no is no
no and unknown is no
unknown and yes is unknown
unknown and no is no
unknown and unknown is unknown
"""

OR = """
yes or yes is yes
yes or no is yes
yes or unknown is yes
no or yes is yes
no or no is no
no or unknown is unknown
unknown or yes is yes
unknown or no is unknown
unknown or unknown is unknown
"""

NOT = """
not yes is no
not no is yes
not unknown is unknown
"""


def rows(table: str) -> list[str]:
    """The rows of a table that is written as lines."""
    return table.strip().splitlines()


@pytest.mark.parametrize("row", rows(AND))
def test_and(row: str) -> None:
    """One no decides; unknown cannot be talked into yes."""
    left, _, right, _, joined = row.split()

    assert Truth(joined) is conjunction([Truth(left), Truth(right)])


@pytest.mark.parametrize("row", rows(OR))
def test_or(row: str) -> None:
    """One yes decides; unknown cannot be talked into no."""
    left, _, right, _, joined = row.split()

    assert Truth(joined) is disjunction([Truth(left), Truth(right)])


@pytest.mark.parametrize("row", rows(NOT))
def test_not(row: str) -> None:
    """The opposite of what nobody looked at is just as unknown."""
    _, inner, _, opposite = row.split()

    assert Truth(opposite) is negation(Truth(inner))


@pytest.mark.parametrize(("table", "count"), [(AND, 9), (OR, 9), (NOT, 3)])
def test_no_row_is_missing(table: str, count: int) -> None:
    """Three values give nine rows for two places and three for one, each once."""
    assert count == len({row.rsplit(" is ")[0] for row in rows(table)})


def completions(members: tuple[Truth, ...]) -> list[tuple[Truth, ...]]:
    """Every way in which the unknown members could still turn out."""
    return list(product(*((YES, NO) if member is UNKNOWN else (member,) for member in members)))


MEMBERS = [members for size in range(5) for members in product(ALL, repeat=size)]


@pytest.mark.parametrize("count", range(1, 6))
def test_at_least_says_what_every_completion_says(count: int) -> None:
    """Counted by brute force over how the unknown members could turn out, up to four members."""
    for members in MEMBERS:
        outcomes = {whole.count(YES) >= count for whole in completions(members)}
        expected = Truth.of(outcomes.pop()) if len(outcomes) == 1 else UNKNOWN

        assert expected is at_least(count, members), f"at_least({count}, {members})"


def test_at_least_one_is_or_and_at_least_all_is_and() -> None:
    """The counted form joins on to the two connectives without a seam."""
    for members in MEMBERS:
        if members:
            assert disjunction(members) is at_least(1, members)
            assert conjunction(members) is at_least(len(members), members)


def test_none_of_nothing_and_all_of_nothing() -> None:
    """An empty list of cautions is no caution; an empty list of needs is met."""
    assert NO is disjunction([])
    assert YES is conjunction([])


@pytest.mark.parametrize("size", range(1, 5))
def test_the_order_of_members_does_not_matter(size: int) -> None:
    """A rule means the same however its author lists the signs."""
    for members in product(ALL, repeat=size):
        for shuffled in permutations(members):
            assert conjunction(members) is conjunction(shuffled)
            assert disjunction(members) is disjunction(shuffled)
            for count in range(1, size + 1):
                assert at_least(count, members) is at_least(count, shuffled)


def test_members_may_come_one_by_one() -> None:
    """They are often worked out while they are joined."""
    assert NO is conjunction(iter([YES, NO]))
    assert YES is disjunction(iter([NO, YES]))
    assert UNKNOWN is at_least(2, iter([YES, UNKNOWN]))


def looped(truth: Any) -> None:
    """Loop while it is true."""
    while truth:
        return


USES: dict[str, Callable[[Any], object]] = {
    "if": lambda truth: 1 if truth else 2,
    "and": lambda truth: truth and 1,
    "or": lambda truth: truth or 1,
    "not": lambda truth: not truth,
    "while": looped,
    "any": lambda truth: any([truth]),
    "filter": lambda truth: list(filter(None, [truth])),
    "bool": bool,
}


@pytest.mark.parametrize("truth", ALL)
@pytest.mark.parametrize("use", USES.values(), ids=USES.keys())
def test_a_truth_is_never_a_bool(use: Callable[[Any], object], truth: Truth) -> None:
    """So that `if finding:` can never swallow unknown and read it as no."""
    with pytest.raises(
        TypeError, match=r"^a Truth is not a bool: compare it with `is Truth\.YES`$"
    ):
        use(truth)


@pytest.mark.parametrize(("known", "truth"), [(True, YES), (False, NO), (None, UNKNOWN)])
def test_a_bool_or_none_goes_in_and_comes_out_again(known: bool | None, truth: Truth) -> None:
    """None is how JSON says unknown."""
    assert truth is Truth.of(known)
    assert known is truth.known
