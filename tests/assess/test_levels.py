"""The level of a category: every row of the table (contract, section 1), and its side."""

import pytest
from hypothesis import given, settings

from app.assess.assess import world_of
from app.assess.assessment import CategoryFound
from app.assess.categories import level_of, level_of_exam
from app.assess.levels import levels
from app.exam.record import Exam
from app.knowledge.load import knowledge
from app.logic.truth import Truth
from tests.assess.examined import assessed, category, exam_of
from tests.strategies import exams

TABLE = """
R yes      K yes  C no    fits
R yes      K no   C no    fits
R yes      K yes  C yes   fits_with_cautions
R yes      K no   C yes   fits_with_cautions
R unknown  K yes  C no    open
R unknown  K yes  C yes   open
R no       K yes  C no    partial
R no       K yes  C yes   partial
R unknown  K no   C no    not_supported
R unknown  K no   C yes   not_supported
R no       K no   C no    not_supported
R no       K no   C yes   not_supported
"""
ROWS = TABLE.strip().splitlines()


@pytest.mark.parametrize("row", ROWS)
def test_the_level(row: str) -> None:
    """R is the requirement, K one core sign, C one caution."""
    _, requirement, _, core, _, caution, level = row.split()

    assert level == level_of(Truth(requirement), core=core == "yes", cautioned=caution == "yes")


def test_no_row_is_missing() -> None:
    """Three values of the requirement, two of the core signs, two of the cautions."""
    assert 3 * 2 * 2 == len({tuple(row.split()[:6]) for row in ROWS})


def test_every_category_is_judged_and_only_those_that_something_points_to_are_listed() -> None:
    """The rest is there on request, in the same order."""
    found = assessed("chorea right 1; drift right 0")

    assert ["chorea"] == [each.id for each in found.listed]
    assert ["chorea"] == [each["id"] for each in found.as_json()["categories"]]
    assert [each.id for each in found.categories] == [
        each["id"] for each in found.as_json(every_category=True)["categories"]
    ]
    assert {"fits", "not_supported"} == {each.level for each in found.categories}


def test_what_nothing_points_to_is_named_with_its_level_alone() -> None:
    """Though a feature is there that would argue against its usual cause."""
    found = category("parkinsonism", "vertical_gaze slow", medicines=["haloperidol"])

    assert CategoryFound("parkinsonism", "not_supported") == found


# ---- side: the sums of the paired core findings over those known on both sides


@pytest.mark.parametrize(
    ("name", "text", "side"),
    [
        ("chorea", "chorea right 2; chorea left 1", "right"),
        ("chorea", "chorea right 1; chorea left 2", "left"),
        ("chorea", "chorea each 2", "both"),
        # Not known on both sides: nothing to compare.
        ("chorea", "chorea right 3", None),
        ("chorea", "chorea right 3; chorea left untestable", None),
        # Midline signs have no side.
        ("dystonia", "dystonia_midline 3", None),
        ("dystonia", "dystonia_midline 3; dystonia each 0", None),
        ("dystonia", "dystonia_midline 1; dystonia right 0; dystonia left 1", "left"),
        ("tics", "tics 2", None),
        # Yes counts one, and so does a choice that is not the normal one.
        ("upper_motor_neuron", "clonus right yes; clonus left no", "right"),
        ("upper_motor_neuron", "plantar right down; plantar left up", "left"),
        (
            "upper_motor_neuron",
            "clonus right yes; clonus left no; drift right 0; drift left 2",
            "left",
        ),
        (
            "upper_motor_neuron",
            "plantar right up; plantar left down; drift right 0; drift left 1",
            "both",
        ),
        # What is known on one side only is left out of the sums.
        ("upper_motor_neuron", "drift right 3; clonus right no; clonus left yes", "left"),
        # Findings are summed, not counted.
        (
            "parkinsonism",
            (
                "rest_tremor_hand right 3; rest_tremor_hand left 0;"
                " rest_tremor_leg right 0; rest_tremor_leg left 1;"
                " toe_tap_slow right 0; toe_tap_slow left 1"
            ),
            "right",
        ),
        # What speaks against a core sign is no part of it.
        (
            "parkinsonism",
            "arm_resistance each 1; arm_resistance_varies right no; arm_resistance_varies left yes",
            "both",
        ),
        # A sign that describes how, and not how much, adds nothing.
        (
            "parkinsonism",
            (
                "posture_tremor each 1; posture_tremor_onset right at_once;"
                " posture_tremor_onset left delayed; posture_tremor_delay_s right 0;"
                " posture_tremor_delay_s left 9"
            ),
            "both",
        ),
    ],
)
def test_the_side_of_a_category(name: str, text: str, side: str | None) -> None:
    """The side with the larger sum, both where equal and above nothing."""
    assert side == category(name, text).side


# ---- what stands in a category


def test_for_names_what_was_recorded_with_its_value() -> None:
    """In the order of the vocabulary, right before left; nothing normal among it."""
    found = category(
        "parkinsonism",
        "toe_tap_halts left 1; toe_tap_slow left 2; toe_tap_decrement left 0;"
        " rest_tremor_hand each 1; hx_levodopa clear; toe_tap_slow right 0",
    )

    assert [
        ("rest_tremor_hand", "right", 1),
        ("rest_tremor_hand", "left", 1),
        ("toe_tap_slow", "left", 2),
        ("toe_tap_halts", "left", 1),
    ] == [(each.finding, each.side, each.value) for each in found.reasons_for]


def test_against_names_each_caution_that_was_recorded() -> None:
    """Findings first, then medicines with their class."""
    found = category(
        "parkinsonism",
        "toe_tap_slow left 2; toe_tap_halts left 1; rest_tremor_jaw 1; base wide;"
        " hx_swallowing yes; hx_years 4; hx_early_falls no",
        medicines=["haloperidol"],
    )

    assert "fits_with_cautions" == found.level
    assert [
        ("base", "wide", None),
        ("hx_years", 4, None),
        ("hx_swallowing", True, None),
        (None, None, "haloperidol"),
    ] == [(each.finding, each.value, each.medicine) for each in found.against]


def test_missing_names_what_could_still_change_an_open_category() -> None:
    """The unknown cells, without a value."""
    found = category(
        "parkinsonism",
        "toe_tap_slow right 2; toe_tap_decrement right 2;"
        " rest_tremor_hand each 0; rest_tremor_leg each 0; rest_tremor_jaw 0;"
        " walking_tremor_hand each 0; posture_tremor each 0; arm_resistance each 0;"
        " leg_resistance right 0; leg_resistance left 1;"
        " leg_resistance_varies left no; leg_resistance_speed left same",
    )

    assert "open" == found.level
    assert [{"finding": "leg_resistance_directions", "side": "left"}] == [
        each.as_json() for each in found.missing
    ]


def test_missing_names_what_could_still_be_a_first_caution() -> None:
    """A category that fits can become one with cautions; with a caution it stays as it is."""
    fits = "toe_tap_slow right 2; toe_tap_decrement right 2; rest_tremor_hand right 1;"

    assert "vertical_gaze" in {each.finding for each in category("parkinsonism", fits).missing}
    assert () == category("parkinsonism", fits + " vertical_gaze slow").missing


def test_a_caution_that_is_true_either_way_is_named_by_what_was_recorded() -> None:
    """A catch that does not vary is spastic, in one direction or both."""
    found = category(
        "cerebellar_ataxia",
        "dysmetria right 1; nystagmus yes; arm_resistance right 1; arm_resistance_varies right no;"
        " arm_resistance_speed right catch",
    )

    assert "fits_with_cautions" == found.level
    assert ["arm_resistance", "arm_resistance_speed"] == [each.finding for each in found.against]


def test_a_caution_that_is_there_whichever_it_is_is_named_by_what_was_recorded() -> None:
    """Equal on both sides: symmetric, or from a medicine, of which nobody knows (postuma2015)."""
    found = category(
        "parkinsonism",
        "toe_tap_slow each 1; toe_tap_decrement each 1; toe_tap_halts each 0;"
        " finger_tap_slow each 0; finger_tap_decrement each 0; finger_tap_halts each 0;"
        " rest_tremor_hand each 1; rest_tremor_leg each 0; arm_resistance each 0;"
        " leg_resistance each 0",
    )

    assert "fits_with_cautions" == found.level
    assert {"rest_tremor_hand", "toe_tap_slow", "toe_tap_decrement"} <= {
        each.finding for each in found.against
    }
    assert {None} == {each.medicine for each in found.against}


def test_the_sources_are_those_of_the_category_and_of_the_cautions_that_hold() -> None:
    """Each once, the category's own first."""
    text = "toe_tap_slow right 2; toe_tap_decrement right 2; rest_tremor_hand right 1;"

    assert ("postuma2015",) == category("parkinsonism", text).sources
    assert ("postuma2015", "hoglinger2017") == category(
        "parkinsonism", text + " vertical_gaze slow"
    ).sources


@settings(max_examples=60, deadline=None)
@given(exam=exams())
def test_the_levels_alone_are_those_of_the_assessment(exam: Exam) -> None:
    """Worked out by another way, which stops at what decides."""
    world = world_of(exam, knowledge())
    slowly = {name: level_of_exam(world, each) for name, each in knowledge().categories.items()}

    assert slowly == levels(world)


@pytest.mark.parametrize(
    "text",
    [
        # A limb that is stiff both ways and all the time is rigid or spastic: a search decides.
        "tremor_entrains yes; arm_resistance right 2; arm_resistance_directions right both",
        "rest_tremor_hand each untestable; finger_tap_slow left 3; finger_tap_halts left 2",
        "toe_tap_slow each 1; toe_tap_decrement each 1; rest_tremor_hand each 1",
    ],
)
def test_the_levels_alone_are_those_of_the_assessment_where_something_is_open(text: str) -> None:
    """Where a search decides, and with what could not be tested."""
    world = world_of(exam_of(text), knowledge())
    slowly = {name: level_of_exam(world, each) for name, each in knowledge().categories.items()}

    assert slowly == levels(world)
