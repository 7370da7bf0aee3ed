"""What is said beside a measured value, against the published tables and by hand.

Chair stands: cdc_steadi. Walking speed: bohannon2011, means. Fall of the pressure: freeman2011.
Heart rate: norcliffe2018. Cutoffs as app/knowledge/thresholds.toml names them.
"""

import json
from collections.abc import Mapping
from decimal import Decimal
from fractions import Fraction
from typing import Any

import pytest

from app.assess.assess import world_of
from app.assess.measured import in_figures, measured
from app.exam.reading import parse_exam
from app.knowledge.load import knowledge
from tests.knowledge.test_norms import CELLS

WOMAN = {"age": 72, "sex": "female"}
PEOPLE = {"male": "men", "female": "women"}


def said(at: str, patient: Mapping[str, object] = WOMAN, **findings: Any) -> list[str]:
    """The lines below a finding, without what they rest on."""
    return [says for says, _ in with_basis(at, patient, **findings)]


def with_basis(
    at: str, patient: Mapping[str, object] = WOMAN, **findings: Any
) -> list[tuple[str, str]]:
    """The lines below a finding."""
    exam = parse_exam(json.dumps({"patient": patient, "findings": findings}))
    return [(each.says, each.basis) for each in measured(world_of(exam, knowledge()))[at]]


@pytest.mark.parametrize(("norm", "age", "sex", "number"), CELLS)
def test_every_cell_of_the_published_tables_is_said(
    norm: str, age: str, sex: str, number: Decimal
) -> None:
    """For the first and the last year of each band, and for men and women."""
    patient = {"age": int(age), "sex": sex}
    if norm == "chair_stands_30s":
        [below] = said("stands_30s", patient, stands_30s=int(number) - 1)
        [at] = said("stands_30s", patient, stands_30s=int(number))

        assert below.startswith(f"Below average for {PEOPLE[sex]} of ")
        assert below.endswith(f": under {number} stands; this is")
        assert at == f"{below} not"
    else:
        [_, _, mean] = said("walk_s", patient, walk_m=6, walk_s=5)

        assert mean.startswith(f"Mean (not a lower limit) for {PEOPLE[sex]} of ")
        assert mean.endswith(f": {number} m/s")


def test_the_norm_names_the_band_its_source_and_how_far_that_was_checked() -> None:
    """A number without its origin is not a norm."""
    assert [
        (
            "Below average for women of 70 to 74: under 10 stands; this is",
            "CDC STEADI, read in a secondary copy; arms used counts as 0",
        )
    ] == with_basis("stands_30s", stands_30s=9)


@pytest.mark.parametrize(
    ("patient", "expected"),
    [
        ({"age": 72}, "Below average: the norm needs the person’s sex, not recorded"),
        ({"sex": "male"}, "Below average: the norm needs the person’s age, not recorded"),
        ({}, "Below average: the norm needs the person’s age and sex, not recorded"),
        ({"age": 59, "sex": "male"}, "Below average: no published norm for this age"),
        ({"age": 95, "sex": "male"}, "Below average: no published norm for this age"),
    ],
)
def test_no_norm_is_guessed(patient: Mapping[str, object], expected: str) -> None:
    """Neither the nearest band nor the other sex stands in."""
    assert [expected] == said("stands_30s", patient, stands_30s=9)


def test_a_cutoff_that_needs_no_age_is_said_without_one() -> None:
    """Only the norm is missing."""
    assert [
        "Usual walking speed: 0.79 m/s",
        "Slow: 0.8 m/s or less; this is",
        "Mean (not a lower limit): the norm needs the person’s age and sex, not recorded",
    ] == said("walk_s", {}, walk_m=6, walk_s=7.6)


@pytest.mark.parametrize(
    ("at", "findings", "expected"),
    [
        ("tug_s", {"tug_s": 12},
         ["Raised risk of falls: 12 s or more; this is",
          "Slow, where no walk was timed: over 15 s; this is not"]),
        ("tug_s", {"tug_s": 11.9, "walk_m": 4, "walk_s": 5},
         ["Raised risk of falls: 12 s or more; this is not"]),
        ("five_stands_s", {"five_stands_s": 15}, ["Slow: over 15 s; this is not"]),
        ("five_stands_s", {"five_stands_s": 15.1}, ["Slow: over 15 s; this is"]),
        ("tandem_stand_s", {"tandem_stand_s": 9.9}, ["Raised risk of falls: under 10 s; this is"]),
        ("tandem_stand_s", {"tandem_stand_s": 10},
         ["Raised risk of falls: under 10 s; this is not"]),
        # 12 steps over 6 m in 8 s: 90 a minute, and strides of 1 m.
        ("walk_steps", {"walk_m": 6, "walk_s": 8, "walk_steps": 12},
         ["Cadence: 90 steps/min", "Stride length: 1 m"]),
        ("walk_steps", {"walk_s": 8, "walk_steps": 12}, ["Cadence: 90 steps/min"]),
        ("standing_sys", {"lying_sys": 149, "standing_sys": 129},
         ["Systolic fall on standing: 20 mmHg", "Orthostatic fall: 20 mmHg or more; this is"]),
        ("standing_sys", {"lying_sys": 150, "standing_sys": 121},
         ["Systolic fall on standing: 29 mmHg",
          "Orthostatic fall from a high lying pressure: 30 mmHg or more; this is not"]),
        ("standing_dia", {"lying_dia": 80, "standing_dia": 85},
         ["Diastolic fall on standing: −5 mmHg", "Orthostatic fall: 10 mmHg or more; this is not"]),
        # 8 beats more over a fall of 32.
        ("standing_hr", {"lying_sys": 128, "standing_sys": 96, "lying_hr": 64, "standing_hr": 72},
         ["Rise of the heart rate divided by the systolic fall: 0.25 beats a minute for each mmHg",
          ("Little rise, which in sinus rhythm suggests a neurogenic cause: "
          "under 0.5 beats a minute for each mmHg; this is")]),
        # Without an orthostatic fall the ratio says nothing.
        ("standing_hr", {"lying_sys": 128, "standing_sys": 118, "lying_hr": 64, "standing_hr": 66},
         []),
    ],
)  # fmt: skip
def test_a_value_is_held_against_its_named_cutoff(
    at: str, findings: dict[str, Any], expected: list[str]
) -> None:
    """At the cutoff itself too, where “over” and “or more” part."""
    assert expected == said(at, **findings)


@pytest.mark.parametrize(
    "findings",
    [
        {},
        {"tug_s": {"untestable": "cannot stand"}, "stands_30s": {"untestable": "cannot stand"}},
        {"walk_m": 6, "lying_sys": 150, "standing_hr": 80, "taps_10s": {"right": 40}},
    ],
)
def test_nothing_is_said_of_what_was_not_measured(findings: dict[str, Any]) -> None:
    """Nor of a walk without its time, a pressure without its pair, or a test without a norm."""
    exam = parse_exam(json.dumps({"patient": WOMAN, "findings": findings}))

    assert {()} == set(measured(world_of(exam, knowledge())).values())


def test_a_figure_from_memory_says_that_it_was_not_checked() -> None:
    """Beside its source, so that nobody takes it for more."""
    [(_, at_risk), _] = with_basis("tug_s", tug_s=14)
    [(_, five)] = with_basis("five_stands_s", five_stands_s=14)

    assert "CDC STEADI, from memory, not yet checked against the source" == at_risk
    assert "Buatois 2008, from memory, not yet checked against the source" == five


def test_a_walk_just_over_the_cutoff_does_not_read_as_one_at_it() -> None:
    """0.8004 metres a second is not slow, and 0.8 is."""
    assert "Usual walking speed: 0.8004 m/s" == said("walk_s", walk_m=4.002, walk_s=5)[0]
    assert "Usual walking speed: 0.8 m/s" == said("walk_s", walk_m=4, walk_s=5)[0]


@pytest.mark.parametrize(
    ("number", "near", "expected"),
    [
        (Fraction(60, 76), (), "0.79"),
        (Fraction(4, 5), (Fraction(4, 5),), "0.8"),
        (Fraction(8004, 10000), (Fraction(4, 5),), "0.8004"),
        (Fraction(79996, 100000), (Fraction(4, 5),), "0.79996"),
        (Fraction(1, 200), (), "0.01"),
        (Fraction(10000, 95), (), "105"),
        (Fraction(1000, 95), (), "10.5"),
        (Fraction(100), (), "100"),
        (Fraction(1004, 100), (), "10"),
        (Fraction(10), (Fraction(10),), "10"),
        (Fraction(1002, 10), (), "100"),
        (Fraction(200), (), "200"),
        (Fraction(804, 1000), (Fraction(4, 5),), "0.804"),
        (Fraction(80449, 100000), (Fraction(4, 5),), "0.804"),
        (Fraction(0), (), "0"),
        (Fraction(-21, 2), (), "−10.5"),
    ],
)
def test_rounding_never_says_the_opposite_of_the_comparison(
    number: Fraction, near: tuple[Fraction, ...], expected: str
) -> None:
    """A walk just over the cutoff must not read as one at the cutoff."""
    assert expected == in_figures(number, near)
