"""The fall of blood pressure on standing, at its edges.

freeman2011: within 3 minutes a fall of 20 or more systolic or of 10 or more diastolic; 30 systolic
where the lying pressure is high (150 or more: common practice). norcliffe2018: a rise of the heart
rate divided by the systolic fall under 0.5 suggests a neurogenic cause.
"""

import pytest

from tests.assess.examined import assessed, category, warning


def pressures(lying: str, standing: str, beats: str = "") -> str:
    """`120/80`, `100/70` and `60 70` as findings; a part may be left out with a dash."""
    text = ""
    for place, both in (("lying", lying), ("standing", standing)):
        for kind, number in zip(("sys", "dia"), both.split("/"), strict=True):
            if number != "-":
                text += f"{place}_{kind} {number}; "
    if beats:
        lying_hr, standing_hr = beats.split()
        text += f"lying_hr {lying_hr}; standing_hr {standing_hr}"
    return text


@pytest.mark.parametrize(
    ("lying", "standing", "expected"),
    [
        # Systolic.
        ("120/80", "100/80", True),
        ("120/80", "100.1/80", False),
        ("120/80", "140/80", False),
        ("149.9/80", "129.9/80", True),
        # From 150 lying it takes 30.
        ("150/80", "130/80", False),
        ("150/80", "120.1/80", False),
        ("150/80", "120/80", True),
        ("180/80", "150/80", True),
        # Diastolic.
        ("120/80", "120/70", True),
        ("120/80", "120/70.1", False),
        ("180/80", "180/70", True),
        # One of the two is enough, and one alone decides nothing against it.
        ("120/80", "100/-", True),
        ("-/80", "-/70", True),
        ("120/80", "115/-", None),
        ("-/80", "-/75", None),
        ("120/-", "-/70", None),
        ("-/-", "100/60", None),
    ],
)
def test_an_orthostatic_fall(lying: str, standing: str, expected: bool | None) -> None:
    """A derived sign, a warning and a hazard, all at once or none."""
    found = assessed(pressures(lying, standing))

    assert expected == found.derived["orthostatic_fall"]
    assert (expected is True) == ("orthostatic_drop" in {each.id for each in found.warnings})
    assert (expected is True) == ("orthostatic_drop" in {each.id for each in found.hazards})


@pytest.mark.parametrize(
    ("lying", "standing", "beats", "expected"),
    [
        # A fall of 20: under 0.5 is under 10 beats.
        ("120/80", "100/80", "60 69.9", True),
        ("120/80", "100/80", "60 70", False),
        ("120/80", "100/80", "60 60", True),
        ("120/80", "100/80", "60 55", True),
        ("120/80", "100/80", "60 90", False),
        ("120/80", "100/80", "", False),
        # Only where the systolic criterion is met.
        ("120/80", "101/70", "60 60", False),
        ("150/80", "130/70", "60 60", False),
        ("150/80", "120/70", "60 74.9", True),
        ("150/80", "120/70", "60 75", False),
    ],
)
def test_what_suggests_a_neurogenic_cause(
    lying: str, standing: str, beats: str, expected: bool
) -> None:
    """A qualifier of the warning, worded as `suggests`."""
    raised = warning("orthostatic_drop", pressures(lying, standing, beats))

    assert raised is not None
    assert expected == ("neurogenic" in raised.qualifiers)


def test_the_warning_rests_on_the_numbers() -> None:
    """They are shown, in the order of the vocabulary."""
    raised = warning("orthostatic_drop", pressures("128/76", "96/70", "64 70"))

    assert raised is not None
    assert ["lying_sys", "standing_sys"] == [reason.finding for reason in raised.because]
    assert ("freeman2011", "norcliffe2018") == raised.sources


@pytest.mark.parametrize(
    ("years", "level"), [("4.9", "fits_with_cautions"), ("5", "fits"), ("untestable", "fits")]
)
def test_a_neurogenic_fall_within_five_years_is_a_caution_of_parkinsonism(
    years: str, level: str
) -> None:
    """postuma2015: severe autonomic failure within five years is a red flag."""
    text = "toe_tap_slow right 1; toe_tap_decrement right 1; rest_tremor_leg right 1;"
    text += f" hx_years {years}; " + pressures("120/80", "100/80", "60 62")

    assert level == category("parkinsonism", text).level
