"""Published norms by age and sex, cell by cell, and none where none was published.

Chair stands: cdc_steadi, below-average scores. Walking speed: bohannon2011, means of a
meta-analysis. Both as the contract gives them.
"""

from decimal import Decimal

import pytest

from app.knowledge.load import knowledge

CHAIR_STANDS = """
60-64  14 12
65-69  12 11
70-74  12 10
75-79  11 10
80-84  10  9
85-89   8  8
90-94   7  4
"""
WALKING_SPEED = """
20-29  1.36 1.34
30-39  1.43 1.34
40-49  1.43 1.39
50-59  1.43 1.31
60-69  1.34 1.24
70-79  1.26 1.13
80-99  0.97 0.94
"""
CELLS = [
    (norm, age, sex, Decimal(number))
    for norm, table in (("chair_stands_30s", CHAIR_STANDS), ("usual_walking_speed", WALKING_SPEED))
    for band, male, female in (row.split() for row in table.strip().splitlines())
    for age in band.split("-")
    for sex, number in (("male", male), ("female", female))
]


@pytest.mark.parametrize(("norm", "age", "sex", "number"), CELLS)
def test_a_norm_holds_from_the_first_to_the_last_year_of_its_band(
    norm: str, age: str, sex: str, number: Decimal
) -> None:
    """Both ends belong to it, and so does the last day before the next birthday."""
    rule = knowledge().norms[norm]

    assert number == rule.value(Decimal(age), sex)
    assert number == rule.value(Decimal(age) + Decimal("0.99"), sex)


@pytest.mark.parametrize(
    ("norm", "age"),
    [
        ("chair_stands_30s", "59"),
        ("chair_stands_30s", "59.99"),
        ("chair_stands_30s", "95"),
        ("chair_stands_30s", "120"),
        ("chair_stands_30s", "0"),
        ("usual_walking_speed", "19"),
        ("usual_walking_speed", "19.99"),
        ("usual_walking_speed", "100"),
    ],
)
def test_there_is_no_norm_outside_the_ages_named(norm: str, age: str) -> None:
    """The nearest band is not guessed."""
    for sex in ("male", "female"):
        assert knowledge().norms[norm].value(Decimal(age), sex) is None


@pytest.mark.parametrize("norm", ["chair_stands_30s", "usual_walking_speed"])
def test_there_is_no_norm_without_age_and_sex(norm: str) -> None:
    """Both decide it."""
    rule = knowledge().norms[norm]

    assert rule.value(None, "male") is None
    assert rule.value(Decimal(70), None) is None


def test_every_age_of_a_norm_belongs_to_one_band() -> None:
    """No gap between bands, and no overlap."""
    for norm in knowledge().norms.values():
        ends = [tuple(map(int, band.split("-"))) for band in norm.ages]

        assert [last + 1 for _, last in ends[:-1]] == [first for first, _ in ends[1:]]
