"""The answers to a finding that rules can tell apart: those with which its effect is tried."""

from decimal import Decimal
from itertools import pairwise

import pytest

from app.assess.answers import answers_to, marks_of
from app.exam.record import Value
from app.exam.vocabulary import Scale, vocabulary
from app.knowledge.load import knowledge

KNOWN = knowledge()
NUMBERS = ("posture_tremor_delay_s", "turn_steps", "hx_years", "hx_falls_12m", "tug_s")


@pytest.mark.parametrize(
    ("finding_id", "expected"),
    [
        ("drift", (0, 1, 2, 3)),
        ("hx_unsteady", (False, True)),
        ("posture_tremor_onset", ("at_once", "delayed")),
        ("hx_falls_12m", (0, 1, 2, 3, 1000)),
        ("turn_steps", (1, 2, 3, 4, 60)),
    ],
)
def test_the_answers_are_those_that_can_be_recorded(
    finding_id: str, expected: tuple[Value, ...]
) -> None:
    """In the order of the scale, so that those that give the same can be named as a span."""
    found = answers_to(KNOWN, finding_id)

    assert expected == found
    assert [*map(type, expected)] == [*map(type, found)]


@pytest.mark.parametrize("finding_id", NUMBERS)
def test_of_a_number_there_is_an_answer_on_every_side_of_each_mark(finding_id: str) -> None:
    """At a mark itself too, where “over” and “or more” part; and at both ends of what it may be."""
    finding, found = vocabulary()[finding_id], answers_to(KNOWN, finding_id)
    numbers = [Decimal(str(each)) for each in found]
    step = Decimal(1) if finding.scale is Scale.COUNT else Decimal("0.01")

    assert sorted(set(numbers)) == numbers
    assert [finding.minimum, finding.maximum] == [numbers[0], numbers[-1]]
    for mark in marks_of(KNOWN, finding_id):
        around = [each for each in numbers if abs(each - mark) <= step]
        inside = [each for each in (mark - step, mark, mark + step) if each >= numbers[0]]

        assert inside == around


def test_the_marks_of_a_number_are_the_thresholds_that_rules_compare_it_with() -> None:
    """As thresholds.toml has them, each once."""
    assert (Decimal("0.25"), Decimal(3), Decimal(5)) == marks_of(KNOWN, "hx_years")
    assert all(one < two for each in NUMBERS for one, two in pairwise(marks_of(KNOWN, each)))


def test_what_is_compared_with_a_norm_has_no_mark() -> None:
    """A norm goes by age and sex: no one number parts the answers."""
    assert () == marks_of(KNOWN, "stands_30s")
