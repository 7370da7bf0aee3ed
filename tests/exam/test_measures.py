"""The arithmetic of timed and measured tests, against hand calculation in exact fractions.

The formulas are common practice: speed is distance by time, cadence steps by minute, a stride two
steps. The heart-rate ratio is norcliffe2018: rise of the heart rate divided by the systolic fall.
"""

import json
from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.exam.measures import QUANTITIES
from app.exam.reading import parse_exam
from app.exam.vocabulary import vocabulary


def worked_out(quantity: str, **findings: object) -> Fraction | None:
    """A quantity of an exam with these findings; a number is written as a text of its digits."""
    typed = ", ".join(
        f'"{name}": {value if isinstance(value, str) else json.dumps(value)}'
        for name, value in findings.items()
    )
    return QUANTITIES[quantity].of(parse_exam(f'{{"findings": {{{typed}}}}}'))


@pytest.mark.parametrize(
    ("quantity", "findings", "expected"),
    [
        # 4.48 / 5.6 is 0.8 by hand; in binary floating point it comes out as 0.8000000000000002.
        ("walking_speed_m_per_s", {"walk_m": "4.48", "walk_s": "5.6"}, Fraction(4, 5)),
        ("walking_speed_m_per_s", {"walk_m": "5.6", "walk_s": "7"}, Fraction(4, 5)),
        ("walking_speed_m_per_s", {"walk_m": "10", "walk_s": "3"}, Fraction(10, 3)),
        ("walking_speed_m_per_s", {"walk_m": "1e1", "walk_s": "12.50"}, Fraction(4, 5)),
        # 14 steps in 8 s: 14 / 8 * 60 = 105 a minute.
        ("cadence_per_min", {"walk_steps": "14", "walk_s": "8"}, Fraction(105)),
        ("cadence_per_min", {"walk_steps": "7", "walk_s": "4.2"}, Fraction(100)),
        # 10 m in 16 steps: a step of 0.625 m, a stride of 1.25 m.
        ("stride_m", {"walk_m": "10", "walk_steps": "16"}, Fraction(5, 4)),
        ("stride_m", {"walk_m": "4", "walk_steps": "6"}, Fraction(4, 3)),
        ("systolic_fall", {"lying_sys": "128", "standing_sys": "96"}, Fraction(32)),
        ("systolic_fall", {"lying_sys": "120", "standing_sys": "130.5"}, Fraction(-21, 2)),
        ("diastolic_fall", {"lying_dia": "76", "standing_dia": "70"}, Fraction(6)),
        # 6 beats more over a fall of 32.
        (
            "heart_rate_ratio",
            {"lying_sys": "128", "standing_sys": "96", "lying_hr": "64", "standing_hr": "70"},
            Fraction(3, 16),
        ),
        (
            "heart_rate_ratio",
            {"lying_sys": "150", "standing_sys": "120", "lying_hr": "70", "standing_hr": "64"},
            Fraction(-1, 5),
        ),
        # Without a fall of the pressure the ratio has no meaning.
        (
            "heart_rate_ratio",
            {"lying_sys": "120", "standing_sys": "120", "lying_hr": "64", "standing_hr": "70"},
            None,
        ),
        (
            "heart_rate_ratio",
            {"lying_sys": "120", "standing_sys": "130", "lying_hr": "64", "standing_hr": "70"},
            None,
        ),
    ],
)
def test_a_quantity_is_what_the_hand_works_out(
    quantity: str, findings: dict[str, str], expected: Fraction | None
) -> None:
    """Exactly: at a cutoff the last digit decides."""
    assert expected == worked_out(quantity, **findings)


@pytest.mark.parametrize("quantity", QUANTITIES)
def test_a_quantity_is_unknown_while_one_of_its_numbers_is(quantity: str) -> None:
    """Not examined and untestable alike, and never taken for nought."""
    inputs = QUANTITIES[quantity].inputs
    whole = {name: "60" if "standing" in name else "70" for name in inputs}

    assert worked_out(quantity, **whole) is not None
    for missing in inputs:
        rest = {name: value for name, value in whole.items() if name != missing}

        assert worked_out(quantity, **rest) is None
        assert worked_out(quantity, **rest, **{missing: {"untestable": "unsafe"}}) is None


@given(
    st.decimals("1", "400", places=2),
    st.decimals("0.5", "1200", places=2),
    st.integers(2, 1000),
)
def test_speed_is_cadence_times_half_a_stride(
    metres: Decimal, seconds: Decimal, steps: int
) -> None:
    """Three quantities, worked out apart, agree to the last digit: no rounding on the way."""
    findings = {"walk_m": str(metres), "walk_s": str(seconds), "walk_steps": str(steps)}
    speed = worked_out("walking_speed_m_per_s", **findings)
    cadence = worked_out("cadence_per_min", **findings)
    stride = worked_out("stride_m", **findings)

    assert cadence is not None
    assert stride is not None
    assert speed == cadence / 60 * stride / 2
    assert speed == Fraction(metres) / Fraction(seconds)


def test_every_quantity_is_worked_out_from_recorded_numbers_and_has_a_unit() -> None:
    """The inputs are single findings that exist."""
    for quantity in QUANTITIES.values():
        assert quantity.label
        assert quantity.unit
        assert not any(vocabulary()[name].paired for name in quantity.inputs)
