"""Codes for the summary: what asks for them, on which side, and what is never guessed."""

from typing import Any

import pytest

from app.assess.codes import offered_codes
from app.exam.reading import read_exam
from app.knowledge.load import knowledge

SLOW = {"finger_tap_slow": {"right": 2}, "finger_tap_decrement": {"right": 2}}
SHAKES_STANDING = {"standing_leg_tremor": True}


def codes(findings: dict[str, Any]) -> list[str]:
    """The codes that these findings ask for."""
    return [each.code for each in offered_codes(read_exam({"findings": findings}), knowledge())]


def test_nothing_recorded_asks_for_nothing() -> None:
    """Unknown is no symptom."""
    assert [] == codes({})


@pytest.mark.parametrize(
    ("findings", "expected"),
    [
        # Titles and what they include: ICD-10-CM, April 2026 (tests/external/test_codes.py).
        (SLOW | {"rest_tremor_hand": {"right": 1}}, ["G20.C"]),
        ({"foot_drop": {"right": 1, "left": 0}}, ["M21.371"]),
        ({"foot_drop": {"right": 0, "left": 1}}, ["M21.372"]),
        ({"foot_drop": {"right": 1, "left": 2}}, ["M21.371", "M21.372"]),
        ({"hx_bladder": "urgency"}, ["R39.15"]),
        ({"hx_bladder": "incontinence"}, ["R32"]),
        ({"hx_bladder": "none"}, []),
        ({"hx_falls_12m": 1}, ["Z91.81"]),
        ({"hx_falls_12m": 2}, ["R29.6", "Z91.81"]),
        ({"hx_falls_12m": 0, "hx_unsteady": False}, []),
        ({"hx_unsteady": True}, ["R26.81"]),
    ],
)
def test_what_asks_for_a_code(findings: dict[str, Any], expected: list[str]) -> None:
    """A symptom by its finding, a syndrome by its pattern."""
    assert expected == codes(findings)


def test_a_slow_hand_alone_is_no_parkinsonism() -> None:
    """The requirement is not met, so nothing is offered for the record."""
    assert [] == codes(SLOW)


def test_the_more_telling_of_two_that_exclude_each_other_is_offered() -> None:
    """R25 may not stand beside G20 to G26, so that a tremor beside parkinsonism has no code."""
    assert ["R25.1"] == codes(SHAKES_STANDING)
    both = codes(SHAKES_STANDING | SLOW | {"rest_tremor_hand": {"right": 1}})
    assert "G20.C" in both
    assert "R25.1" not in both


def test_a_code_says_what_it_rests_on() -> None:
    """The physician sees why before choosing."""
    (offered,) = offered_codes(read_exam({"findings": {"foot_drop": {"left": 2}}}), knowledge())

    assert [("foot_drop", "left", 2)] == [
        (each.finding, each.side, each.value) for each in offered.because
    ]
