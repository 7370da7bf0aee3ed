"""What course.toml may not say; each message stands here whole."""

import pytest

from app.exam.measures import QUANTITIES
from app.exam.vocabulary import Scale, vocabulary
from app.knowledge.load import knowledge
from tests.knowledge.conftest import Copy

FIGURE = """
[[figure]]
id = "{id}"
of = "{of}"
kind = "{kind}"
value = {value}
unit = "{unit}"
population = "invented people"
source = "{source}"
standing = "read"
"""
RIGHT = {
    "id": "invented",
    "of": "five_stands_s",
    "kind": "detectable",
    "value": "2.5",
    "unit": "s",
    "source": "freeman2011",
}
WRONG_ORDER = {
    "a finding that nobody knows": (
        '"base", "romberg"',
        '"basis", "romberg"',
        "course.toml: first_is_best: basis: is not a finding and not worked out",
    ),
    "a grade": (
        '"base", "romberg"',
        '"base", "drift", "romberg"',
        "course.toml: first_is_best: drift: is a grade, which is worse the higher it is",
    ),
    "a finding in two lists": (
        '"base", "romberg"',
        '"base", "rise", "romberg"',
        "course.toml: later_is_worse: rise: stands twice; expected it once",
    ),
    "a finding in no list": (
        '"base", "romberg"',
        '"base"',
        "course.toml: romberg: is missing; expected it in one of the lists",
    ),
    "a list that does not fit": (
        '"turn_steps", "hx_falls_12m"',
        '"turn_steps", "plantar", "hx_falls_12m"',
        "course.toml: higher_is_worse: plantar: does not fit a choice",
    ),
    "a choice without a normal value": (
        '"base", "romberg"',
        '"base", "posture_tremor_onset", "romberg"',
        "course.toml: first_is_best: posture_tremor_onset: has no normal value",
    ),
    "a number that is answered with yes": (
        '"nystagmus", "hoffmann"',
        '"nystagmus", "cadence_per_min", "hoffmann"',
        "course.toml: yes_is_worse: cadence_per_min: does not fit a number",
    ),
}
WRONG_FIGURE = {
    "of a value without an order": (
        {"of": "lying_sys"},
        "course.toml: invented: of: lying_sys is no measured value with an order",
    ),
    "in another unit": (
        {"unit": "min"},
        "course.toml: invented: unit: expected s, that of five_stands_s",
    ),
    "of an unknown source": (
        {"source": "nobody1900"},
        "course.toml: invented: source nobody1900: is not in sources.toml",
    ),
    "of nothing": (
        {"value": "0"},
        "course.toml: figure.0.value: Input should be greater than 0",
    ),
    "of an unknown kind": (
        {"kind": "visible"},
        "course.toml: figure.0.kind: Input should be 'detectable' or 'substantial'",
    ),
}


@pytest.mark.parametrize("wrong", WRONG_ORDER)
def test_a_faulty_order_stops_the_program(copy: Copy, wrong: str) -> None:
    """And the message names file, list and finding."""
    old, new, expected = WRONG_ORDER[wrong]
    copy.change("course.toml", old, new)

    assert expected == copy.fault()


def without_figures(copy: Copy) -> None:
    """Leave out the figures that ship with the program."""
    path = copy.folder / "course.toml"
    text = path.read_text(encoding="utf-8").partition("[[figure]]")[0]
    path.write_text(text, encoding="utf-8")


@pytest.mark.parametrize("wrong", WRONG_FIGURE)
def test_a_faulty_figure_stops_the_program(copy: Copy, wrong: str) -> None:
    """A figure in a wrong unit would call noise a change."""
    changed, expected = WRONG_FIGURE[wrong]
    without_figures(copy)
    copy.add("course.toml", FIGURE.format(**RIGHT | changed))

    assert copy.fault().startswith(expected)


@pytest.mark.parametrize(
    ("changed", "expected"),
    [
        ({}, "course.toml: invented: this id stands twice; give one another id"),
        (
            {"id": "other"},
            "course.toml: other: kind: five_stands_s has a detectable figure already",
        ),
    ],
)
def test_two_figures_cannot_decide_the_same(
    copy: Copy, changed: dict[str, str], expected: str
) -> None:
    """Or which one holds would depend on the order in the file."""
    without_figures(copy)
    copy.add("course.toml", FIGURE.format(**RIGHT))
    copy.add("course.toml", FIGURE.format(**RIGHT | changed))

    assert expected == copy.fault()


def test_every_grade_is_worse_the_higher_it_is_and_nothing_else_is_taken_for_one() -> None:
    """0 is none and 3 is marked, in every finding that has grades."""
    course = knowledge().course
    for finding in vocabulary().values():
        if finding.scale is Scale.GRADE:
            assert "higher_is_worse" == course.direction(finding.id)
    assert "lower_is_worse" == course.direction("walking_speed_m_per_s")
    assert set(QUANTITIES) <= {
        *course.higher_is_worse, *course.lower_is_worse, *course.no_order,
    }  # fmt: skip
