"""A small count cannot be worked out from what is told beside it."""

from collections import defaultdict
from itertools import product

from hypothesis import given
from hypothesis import strategies as st

from app.report.small_counts import WITHHELD, Shown, shown_alone, shown_group

SMALL, SOME = st.integers(1, 9), st.integers(0, 60)
groups = st.lists(SMALL | SOME | st.just(0), min_size=1, max_size=8)
leasts = st.integers(5, 12)


def possible(shown: tuple[Shown, ...], total: int, least: int) -> list[tuple[int, int]]:
    """From the smallest to the largest that each count can be, for who knows the total.

    By intervals: each count has its own, and their sum is the total.
    """
    own = []
    for each in shown:
        if each.number is not None:
            own.append((each.number, each.number))
        else:
            own.append((1, least - 1) if each.below else (0, total))
    lows, highs = sum(low for low, _ in own), sum(high for _, high in own)
    return [
        (max(low, total - (highs - high)), min(high, total - (lows - low))) for low, high in own
    ]


@given(groups, leasts)
def test_each_small_count_could_be_any_small_number(counts: list[int], least: int) -> None:
    """Even for who knows the total of its group."""
    shown = shown_group(counts, least)
    for each, count, (low, high) in zip(
        shown, counts, possible(shown, sum(counts), least), strict=True
    ):
        assert low <= count <= high
        if each.below:
            assert (1, least - 1) == (low, high)


@given(groups, leasts)
def test_what_is_told_is_so_and_no_more_is_hidden_than_must_be(
    counts: list[int], least: int
) -> None:
    """A number that is told is the count; without a small one nothing is hidden."""
    shown = shown_group(counts, least)
    told = [each.number for each in shown]

    assert [count for count, each in zip(counts, told, strict=True) if each is not None] == [
        each for each in told if each is not None
    ]
    assert not any(each is not None and 0 < each < least for each in told)
    if not any(0 < count < least for count in counts):
        assert counts == told


def test_who_knows_how_it_is_done_learns_no_number_either() -> None:
    """Every group that would read the same, in every small case there is: no hidden count is one
    number in all of them.
    """
    for size, most in ((2, 26), (3, 20)):
        alike = defaultdict(list)
        for counts in product(range(most), repeat=size):
            total = sum(counts)
            if 5 <= total < most:
                alike[total, shown_group(counts, 5)].append(counts)
        for (_, shown), found in alike.items():
            for place, each in enumerate(shown):
                if each.number is None:
                    assert len({counts[place] for counts in found}) > 1, (shown, found)


def test_a_group_in_words() -> None:
    """As they stand on the page."""
    assert ["fewer than 5", "withheld", "40", "0"] == [
        each.words for each in shown_group([2, 9, 40, 0], 5)
    ]
    # 6 alone beside 1 would give it away: 7 less at least 5 is at most 2.
    assert ["fewer than 5", "withheld", "withheld"] == [
        each.words for each in shown_group([1, 6, 8], 5)
    ]
    assert (WITHHELD, WITHHELD) == shown_group([3, 3], 5)
    assert ["fewer than 5", "0", "5"] == [shown_alone(each, 5).words for each in (4, 0, 5)]
    assert ["1", "2"] == [each.words for each in shown_group([1, 2], 1)]
