"""Arithmetic of timed and measured tests, exact: a walk of 4.48 m in 5.6 s is 0.8 m/s."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from fractions import Fraction
from types import MappingProxyType

from app.exam.record import Exam
from app.language.words import N_


@dataclass(frozen=True)
class Quantity:
    """A number worked out from recorded ones; unknown while one of its inputs is."""

    id: str
    label: str
    unit: str
    inputs: tuple[str, ...]
    formula: Callable[..., Fraction | None]

    def of(self, exam: Exam) -> Fraction | None:
        """Its value in an exam; None where it is unknown or has no meaning."""
        numbers = [exam.value(finding_id) for finding_id in self.inputs]
        if any(number is None for number in numbers):
            return None
        return self.formula(*(Fraction(str(number)) for number in numbers))


def _heart_rate_ratio(
    lying_sys: Fraction, standing_sys: Fraction, lying_hr: Fraction, standing_hr: Fraction
) -> Fraction | None:
    # Without a fall of the pressure the ratio says nothing.
    fall = lying_sys - standing_sys
    return (standing_hr - lying_hr) / fall if fall > 0 else None


_ALL = (
    Quantity(
        "walking_speed_m_per_s",
        N_("Usual walking speed"),
        "m/s",
        ("walk_m", "walk_s"),
        lambda metres, seconds: metres / seconds,
    ),
    Quantity(
        "cadence_per_min",
        N_("Cadence"),
        "steps/min",
        ("walk_steps", "walk_s"),
        lambda steps, seconds: 60 * steps / seconds,
    ),
    Quantity(
        "stride_m",
        N_("Stride length"),
        "m",
        ("walk_m", "walk_steps"),
        lambda metres, steps: 2 * metres / steps,
    ),
    Quantity(
        "systolic_fall",
        N_("Systolic fall on standing"),
        "mm[Hg]",
        ("lying_sys", "standing_sys"),
        lambda lying, standing: lying - standing,
    ),
    Quantity(
        "diastolic_fall",
        N_("Diastolic fall on standing"),
        "mm[Hg]",
        ("lying_dia", "standing_dia"),
        lambda lying, standing: lying - standing,
    ),
    Quantity(
        "heart_rate_ratio",
        N_("Rise of the heart rate divided by the systolic fall"),
        "/min per mm[Hg]",
        ("lying_sys", "standing_sys", "lying_hr", "standing_hr"),
        _heart_rate_ratio,
    ),
)
QUANTITIES: Mapping[str, Quantity] = MappingProxyType({each.id: each for each in _ALL})
