"""The course over several exams: gaps where nothing is known, sides told apart, honest axes."""

from collections.abc import Mapping
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from itertools import pairwise
from types import MappingProxyType

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from app.exam.record import Cell, Exam, Recorded, Untestable
from app.exam.vocabulary import Side
from app.knowledge.load import knowledge
from app.report.course import Plot, Visit, course, in_words
from app.report.course_drawing import BOTTOM, LEFT_EDGE, RIGHT_EDGE, TOP, Line
from tests.strategies import exams

KNOWN = knowledge()
FIRST = datetime(2026, 1, 5, 9, 0, tzinfo=UTC)
DRIFT_RIGHT: Cell = ("drift", Side.RIGHT)
DRIFT_LEFT: Cell = ("drift", Side.LEFT)
TUG: Cell = ("tug_s", None)
FIVE: Cell = ("five_stands_s", None)


def visits(*cells: Mapping[Cell, Recorded], days: int = 90) -> list[Visit]:
    """Exams so many days apart."""
    return [
        Visit(Exam(cells=MappingProxyType(dict(each))), FIRST + place * timedelta(days), True)
        for place, each in enumerate(cells)
    ]


def plot_of(name: str, seen: list[Visit]) -> Plot:
    """The one drawing of a finding."""
    (found,) = [each for each in course(seen, KNOWN) if each.name == name]
    return found


def by_style(plot: Plot) -> dict[str, Line]:
    """The lines of a drawing by their side."""
    return {line.style: line for line in plot.lines}


@pytest.mark.parametrize("unknown", [{}, {DRIFT_RIGHT: Untestable("in plaster")}])
def test_no_line_runs_over_what_is_not_known(unknown: Mapping[Cell, Recorded]) -> None:
    """A line between two values would claim one that nobody saw."""
    plot = plot_of("drift", visits({DRIFT_RIGHT: 2}, {DRIFT_RIGHT: 1}, unknown, {DRIFT_RIGHT: 2}))
    right = by_style(plot)["right"]

    assert [2, 1] == [len(run) for run in right.runs]
    assert () == by_style(plot)["left"].runs
    assert "RIGHT 2 definite" == right.ends
    assert "LEFT not examined" == by_style(plot)["left"].ends


def test_the_end_of_a_line_says_what_the_newest_exam_knows() -> None:
    """An old value at the edge would read as today's."""
    plot = plot_of("drift", visits({DRIFT_RIGHT: 2, DRIFT_LEFT: 0}, {DRIFT_LEFT: 1}))

    assert ["RIGHT not examined", "LEFT 1 slight"] == [line.ends for line in plot.lines]


def test_the_table_says_the_same_and_more() -> None:
    """RIGHT before LEFT, with the reason why something could not be tested."""
    plot = plot_of("drift", visits({DRIFT_RIGHT: 2, DRIFT_LEFT: Untestable("in plaster")}, {}))

    assert ("RIGHT", "LEFT") == plot.columns
    assert [
        ("05-Jan-2026", ("2 definite", "cannot be tested: in plaster")),
        ("05-Apr-2026", ("not examined", "not examined")),
    ] == [(row.when, row.values) for row in plot.rows]


def test_both_sides_of_one_grade_can_be_seen() -> None:
    """One would hide the other; their words stand one above the other, too."""
    plot = plot_of(
        "drift", visits({DRIFT_RIGHT: 2, DRIFT_LEFT: 2}, {DRIFT_RIGHT: 2, DRIFT_LEFT: 2})
    )
    right, left = plot.lines

    assert right.runs[0][0].y < left.runs[0][0].y
    assert left.ends_at - right.ends_at >= 15


def test_the_band_is_the_published_figure_around_the_value_before() -> None:
    """Huang 2011: 3.5 s. None after a gap, and none where there is no figure."""
    plot = plot_of(
        "tug_s", visits(*({TUG: Decimal(each)} for each in (10, 12)), {}, {TUG: Decimal(20)})
    )
    (band,) = plot.bands
    before = plot.lines[0].runs[0][0]
    per_second = (BOTTOM - TOP) / float(plot.y_ticks[-1].says)

    assert before.x == band.x
    assert round(7 * per_second, 0) == round(band.height, 0)
    assert round(before.y, 0) == round(band.y + band.height / 2, 0)
    assert "72 people with Parkinson disease" in plot.notes[0]
    five = plot_of("five_stands_s", visits(*({FIVE: Decimal(each)} for each in (10, 12))))
    assert () == five.bands


def test_a_measured_axis_begins_at_nothing_and_a_count_has_whole_marks() -> None:
    """Or 80 and 82 beats would look like a fall from a cliff."""
    pulse, falls = ("lying_hr", None), ("hx_falls_12m", None)
    seen = visits({pulse: Decimal(80), falls: 0}, {pulse: Decimal(82), falls: 0})

    assert "0" == plot_of("lying_hr", seen).y_ticks[0].says
    assert ["0", "1"] == [tick.says for tick in plot_of("hx_falls_12m", seen).y_ticks]


def test_only_what_was_measured_or_ever_abnormal_is_drawn() -> None:
    """A hundred flat lines at none would hide the one that rises."""
    seen = visits({DRIFT_RIGHT: 0, ("flap", Side.LEFT): 1}, {DRIFT_RIGHT: 0, TUG: Decimal(9)})

    assert {"flap", "tug_s"} == {each.name for each in course(seen, KNOWN)}


def test_choices_and_yes_or_no_stand_in_words_exam_by_exam() -> None:
    """What a drawing cannot show is not left out; what was never seen, and ever normal, is."""
    swing: Cell = ("arm_resistance_directions", Side.RIGHT)
    seen = visits(
        {("base", None): "wide", ("hx_cancer", None): False, swing: "both"},
        {("hx_unsteady", None): True, ("base", None): Untestable("in a chair")},
    )

    assert [
        ("Arm: resistance felt in", "RIGHT", ("both directions", "not examined")),
        ("Distance between the feet", "", ("wide", "cannot be tested: in a chair")),
        ("Feels unsteady standing or walking", "", ("not examined", "yes")),
    ] == sorted((each.label, each.side, each.values) for each in in_words(seen))


def test_dates_that_would_stand_over_each_other_are_left_to_the_table() -> None:
    """The newest is always there."""
    plot = plot_of("drift", visits(*({DRIFT_RIGHT: 1} for _ in range(9))))

    assert 9 == len(plot.x_ticks)
    written = [tick for tick in plot.x_ticks if tick.says]
    assert plot.x_ticks[-1] == written[-1]
    assert all(later.at - one.at >= 78 for one, later in pairwise(written))


@settings(max_examples=20)
@given(st.lists(exams(), min_size=1, max_size=3))
def test_everything_is_drawn_inside_and_the_mirror_changes_the_sides_alone(
    seen: list[Exam],
) -> None:
    """Whatever was recorded; exams of one day stand at one place."""
    there = [Visit(each, FIRST, True) for each in seen]
    back = [Visit(each.mirrored(), FIRST, True) for each in seen]
    for plot, mirrored in zip(course(there, KNOWN), course(back, KNOWN), strict=True):
        for point in (point for line in plot.lines for run in line.runs for point in run):
            assert LEFT_EDGE <= point.x <= RIGHT_EDGE
            assert TOP - 3 <= point.y <= BOTTOM + 3
        assert [row.values[::-1] for row in plot.rows] == [row.values for row in mirrored.rows]
