"""Measures and what is decided by them, against SciPy and against whole numbers.

Speed, cadence and stride are slopes, and so is the heart-rate ratio: SciPy fits a line where the
program divides. Decisions at a cutoff are worked out again without any division or fraction. Exact
values by hand stand in tests/exam/test_measures.py.
"""

import json
from collections.abc import Sequence
from fractions import Fraction

import pytest
from hypothesis import assume, example, given
from hypothesis import strategies as st
from scipy import constants, stats  # type: ignore[import-untyped]

from app.assess.assess import world_of
from app.assess.warnings import judge_fall_risk, judge_warning
from app.exam.measures import QUANTITIES
from app.exam.reading import parse_exam
from app.exam.record import Exam
from app.knowledge.load import knowledge


def exam_of(**numbers: int | str | bool) -> Exam:
    """An exam with these findings; a text is a number as it was typed."""
    typed = ", ".join(
        f'"{name}": {number if isinstance(number, str) else json.dumps(number)}'
        for name, number in numbers.items()
    )
    return parse_exam(f'{{"findings": {{{typed}}}}}')


def worked_out(quantity: str, exam: Exam) -> float:
    """A quantity of an exam, rounded to a float only at the end."""
    value = QUANTITIES[quantity].of(exam)
    assert isinstance(value, Fraction)
    return float(value)


def slope(across: Sequence[float], up: Sequence[float]) -> float:
    """The slope of the line that SciPy fits."""
    return float(stats.linregress(across, up).slope)


def tenths(number: int) -> str:
    """A whole number of tenths as somebody types it."""
    return f"{number // 10}.{number % 10}"


def hundredths(number: int) -> str:
    """A whole number of hundredths as somebody types it."""
    return f"{number // 100}.{number % 100:02}"


@given(st.integers(100, 40_000), st.integers(50, 120_000), st.integers(2, 1000))
def test_speed_cadence_and_stride_are_slopes(
    centimetres: int, centiseconds: int, steps: int
) -> None:
    """Of the way over time, of the steps over minutes, and of the way over strides of two steps."""
    exam = exam_of(
        walk_m=hundredths(centimetres), walk_s=hundredths(centiseconds), walk_steps=steps
    )
    marks = (0.0, 0.25, 0.5, 0.75, 1.0)
    metres = [mark * centimetres * constants.centi for mark in marks]
    seconds = [mark * centiseconds * constants.centi for mark in marks]
    minutes = [second / constants.minute for second in seconds]

    assert slope(seconds, metres) == pytest.approx(worked_out("walking_speed_m_per_s", exam))
    assert slope(minutes, [mark * steps for mark in marks]) == pytest.approx(
        worked_out("cadence_per_min", exam)
    )
    assert slope([mark * steps / 2 for mark in marks], metres) == pytest.approx(
        worked_out("stride_m", exam)
    )


lying_and_standing = st.tuples(st.integers(400, 3000), st.integers(400, 3000))
beats = st.tuples(st.integers(200, 2500), st.integers(200, 2500))


@given(lying_and_standing, beats)
def test_the_heart_rate_ratio_is_the_slope_of_rate_against_pressure(
    pressures: tuple[int, int], rates: tuple[int, int]
) -> None:
    """Turned round, because the pressure falls while the rate rises (norcliffe2018)."""
    assume(pressures[0] > pressures[1])
    exam = exam_of(
        lying_sys=tenths(pressures[0]),
        standing_sys=tenths(pressures[1]),
        lying_hr=tenths(rates[0]),
        standing_hr=tenths(rates[1]),
    )

    assert -slope(pressures, rates) == pytest.approx(
        worked_out("heart_rate_ratio", exam), rel=1e-6, abs=1e-6
    )


@given(lying_and_standing, st.tuples(st.integers(200, 2000), st.integers(200, 2000)))
def test_a_fall_of_the_pressure_is_what_whole_tenths_give(
    systolic: tuple[int, int], diastolic: tuple[int, int]
) -> None:
    """Exactly, and below nothing where it rises."""
    exam = exam_of(
        lying_sys=tenths(systolic[0]),
        standing_sys=tenths(systolic[1]),
        lying_dia=tenths(diastolic[0]),
        standing_dia=tenths(diastolic[1]),
    )

    assert Fraction(systolic[0] - systolic[1], 10) == QUANTITIES["systolic_fall"].of(exam)
    assert Fraction(diastolic[0] - diastolic[1], 10) == QUANTITIES["diastolic_fall"].of(exam)


# Around the line of 0.8 m/s, which a free draw would hardly ever hit: 4 k cm in 5 k hundredths.
walks = st.tuples(st.integers(25, 10_000), st.integers(-2, 2), st.integers(-2, 2)).map(
    lambda drawn: (4 * drawn[0] + drawn[1], 5 * drawn[0] + drawn[2])
)


@given(walks)
@example((448, 560))
@example((449, 560))
@example((448, 559))
def test_a_walk_is_slow_by_whole_numbers(walk: tuple[int, int]) -> None:
    """montero2022: 0.8 m/s or under. Ten times the way against eight times the time."""
    centimetres, centiseconds = walk
    assume(100 <= centimetres <= 40_000 and centiseconds >= 50)
    exam = exam_of(
        walk_m=hundredths(centimetres),
        walk_s=hundredths(centiseconds),
        hx_falls_12m=0,
        hx_unsteady=True,
    )
    slow = 10 * centimetres <= 8 * centiseconds

    level = judge_fall_risk(world_of(exam, knowledge())).level
    assert ("intermediate" if slow else "low") == level


@st.composite
def standing_up(draw: st.DrawFn) -> dict[str, int]:
    """Pressures and rates in tenths, near the cutoffs of 20, 30, 10, 150 and 0.5."""
    near = st.sampled_from((-10, -1, 0, 1, 10))
    lying_sys = draw(st.integers(1000, 2200)) if draw(st.booleans()) else 1500 + draw(near)
    fall = draw(st.sampled_from((0, 190, 200, 290, 300, 400))) + draw(near)
    lying_dia = draw(st.integers(600, 1100))
    lying_hr = draw(st.integers(500, 900))
    rise = draw(st.integers(-50, 500)) if draw(st.booleans()) else fall // 2 + draw(near)
    return {
        "lying_sys": lying_sys,
        "standing_sys": lying_sys - fall,
        "lying_dia": lying_dia,
        "standing_dia": lying_dia - draw(st.sampled_from((0, 90, 100, 150))) - draw(near),
        "lying_hr": lying_hr,
        "standing_hr": lying_hr + rise,
    }


@given(standing_up())
def test_an_orthostatic_fall_and_its_kind_by_whole_numbers(found: dict[str, int]) -> None:
    """freeman2011: 20 systolic (30 where the lying pressure is high) or 10 diastolic.

    norcliffe2018: neurogenic where the rate rises by less than half of the systolic fall, asked
    only where the systolic criterion is met. High from 150 lying is common practice.
    """
    exam = exam_of(**{name: tenths(number) for name, number in found.items()})
    fall = found["lying_sys"] - found["standing_sys"]
    by_systolic = fall >= (300 if found["lying_sys"] >= 1500 else 200)
    by_diastolic = found["lying_dia"] - found["standing_dia"] >= 100
    neurogenic = by_systolic and 2 * (found["standing_hr"] - found["lying_hr"]) < fall

    raised = judge_warning(world_of(exam, knowledge()), knowledge().warnings["orthostatic_drop"])
    assert (by_systolic or by_diastolic) == (raised is not None)
    assert neurogenic == (raised is not None and "neurogenic" in raised.qualifiers)
