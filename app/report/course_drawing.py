"""The geometry of a small drawing of a course: an axis, where exams stand, lines and bands."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from fractions import Fraction
from itertools import pairwise
from math import ceil, floor, log10

from app.assess.measured import in_figures

# The drawing is 560 wide and 168 high; between these edges stand the points.
LEFT_EDGE, RIGHT_EDGE, TOP, BOTTOM = 64, 400, 14, 136
# So far apart do words stand that neither hides the other.
WORDS_HIGH, DATE_WIDE = 15, 78
# RIGHT a little above and LEFT a little below the grade itself, or one would hide the other.
APART = 2.5


@dataclass(frozen=True)
class Tick:
    """A mark on an axis, and the words at it."""

    at: float
    says: str


@dataclass(frozen=True)
class Point:
    """One known value."""

    x: float
    y: float


@dataclass(frozen=True)
class Band:
    """Around the value before: a difference inside it may be error of measurement."""

    x: float
    y: float
    width: float
    height: float


@dataclass(frozen=True)
class Line:
    """One side. style: right, left or single; runs: points joined, with a gap between two runs.

    ends: the side and its last value, in words at the edge of the drawing.
    """

    style: str
    runs: tuple[tuple[Point, ...], ...]
    ends: str
    ends_at: float


@dataclass(frozen=True)
class Axis:
    """From a value to a height."""

    low: Fraction
    high: Fraction

    def y(self, value: Fraction) -> float:
        """How far down that value stands, in the units of the drawing."""
        share = (value - self.low) / (self.high - self.low)
        return round(float(BOTTOM - share * (BOTTOM - TOP)), 1)


def places(moments: Sequence[datetime]) -> list[float]:
    """Where each exam stands: as far apart as they are in time."""
    whole = (moments[-1] - moments[0]).total_seconds()
    if not whole:
        return [(LEFT_EDGE + RIGHT_EDGE) / 2 for _ in moments]
    first, last = LEFT_EDGE + 14, RIGHT_EDGE - 14
    shares = [(moment - moments[0]).total_seconds() / whole for moment in moments]
    return [round(first + share * (last - first), 1) for share in shares]


def measured_axis(
    low: Fraction, high: Fraction, least_step: Fraction
) -> tuple[Axis, tuple[Tick, ...]]:
    """Round numbers around the values, at most six of them."""
    span = (high - low) or Fraction(1)
    rough = Fraction(10) ** floor(log10(span / 3))
    step = next(by * rough for by in (1, 2, 5, 10) if span <= 4 * by * rough)
    step = max(step, least_step)
    first, last = floor(low / step), ceil(high / step)
    last += first == last
    axis = Axis(first * step, last * step)
    return axis, tuple(
        Tick(axis.y(number * step), in_figures(number * step)) for number in range(first, last + 1)
    )


def spread(lines: tuple[Line, ...]) -> tuple[Line, ...]:
    """The words at the ends moved apart, where two of them would stand over each other."""
    if len(lines) < 2 or abs(lines[0].ends_at - lines[1].ends_at) >= WORDS_HIGH:
        return lines
    upper = min(lines, key=lambda line: line.ends_at)
    middle = sum(line.ends_at for line in lines) / 2
    return tuple(
        Line(
            line.style,
            line.runs,
            line.ends,
            middle + (-WORDS_HIGH / 2 if line is upper else WORDS_HIGH / 2),
        )
        for line in lines
    )


def bands(
    xs: Sequence[float], numbers: Sequence[Fraction | None], reach: Fraction, axis: Axis
) -> Iterable[Band]:
    """From each exam to the next, where the value is known both times."""
    for (x, number), (next_x, following) in pairwise(zip(xs, numbers, strict=True)):
        if number is not None and following is not None:
            top, bottom = axis.y(number + reach), min(axis.y(number - reach), BOTTOM)
            yield Band(x, top, round(next_x - x, 1), round(bottom - top, 1))
