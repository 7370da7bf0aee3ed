"""Warnings: raised on suspicion, how urgent, on what they rest, what they lack (contract, 4).

Where everything is known, test_second_reading.py goes through them all; here most is unknown.
"""

import pytest

from app.assess.assess import world_of
from app.assess.warnings import lacking
from app.knowledge.load import knowledge
from tests.assess.examined import assessed, exam_of, urgency, warning


def because(name: str, text: str, **given: object) -> list[str]:
    """What a warning rests on, as `drift right` or a medicine."""
    raised = warning(name, text, **given)
    assert raised is not None
    return [
        each.medicine or (f"{each.finding} {each.side}" if each.side else str(each.finding))
        for each in raised.because
    ]


# ---- raised on suspicion, withdrawn by an answer


@pytest.mark.parametrize(
    ("name", "text", "answer"),
    [
        ("stroke_like", "drift right 1; hx_onset sudden", "hx_years 2"),
        ("stroke_like", "arm_resistance_speed left catch; hx_onset sudden", "hx_years 2"),
        (
            "stroke_like",
            "arm_resistance_speed left catch; hx_onset sudden",
            "arm_resistance_varies left yes",
        ),
        ("rapid_weakness", "weak_leg right 1; hx_onset days_weeks", "hx_years 2"),
        (
            "cord_compression",
            "leg_resistance_speed right catch; hx_cancer yes",
            "leg_resistance_varies right yes",
        ),
        ("cord_compression", "weak_leg each 1; hx_onset sudden", "hx_years 2"),
        ("acute_ataxia", "veering 1; hx_onset sudden", "hx_years 2"),
        ("after_head_injury", "hx_head_injury yes; hx_onset sudden", "hx_years 2"),
        ("short_course", "veering 1; hx_onset days_weeks", "hx_years 2"),
    ],
)
def test_an_emergency_is_raised_on_suspicion(name: str, text: str, answer: str) -> None:
    """Not known to be over three months ago, not known to vary; an answer may withdraw it."""
    assert warning(name, text) is not None
    assert warning(name, f"{text}; {answer.rsplit(' ', 1)[0]} untestable") is not None
    assert warning(name, f"{text}; {answer}") is None


RIGID = "arm_resistance right 2; hx_fever yes; hx_agitation yes;"


@pytest.mark.parametrize(
    ("text", "raised"),
    [
        (RIGID, True),
        (RIGID + "arm_resistance_varies right no; arm_resistance_speed right same", True),
        (RIGID + "arm_resistance_varies right yes", False),
        (RIGID + "arm_resistance_speed right catch", False),
        (RIGID.replace("right 2", "right 1"), False),
        (RIGID.replace("right 2", "right 1") + "neck_resistance 2", True),
        (RIGID.replace("arm", "leg"), True),
        (RIGID.replace("hx_fever yes", "hx_fever no"), False),
        (RIGID.replace("hx_agitation yes", "hx_confusion yes"), True),
        (RIGID.replace("hx_agitation yes;", ""), False),
    ],
)
def test_fever_and_rigidity_on_a_blocking_medicine(text: str, raised: bool) -> None:
    """gurrera2011: definite, not known to vary, without a known catch."""
    assert raised == (warning("drug_fever_rigidity", text, medicines=["olanzapine"]) is not None)


@pytest.mark.parametrize(
    ("medicines", "more", "raised"),
    [
        (["tetrabenazine"], "", True),
        (["quetiapine"], "", True),
        (["levodopa"], "", False),
        (["levodopa"], "hx_dopamine_stopped yes", True),
        ([], "", False),
        (None, "", False),
        (None, "hx_dopamine_stopped yes", True),
    ],
)
def test_fever_and_rigidity_ask_for_such_a_medicine(
    medicines: list[str] | None, more: str, raised: bool
) -> None:
    """Blocking or depleting dopamine, or one that replaces it stopped."""
    assert raised == (warning("drug_fever_rigidity", RIGID + more, medicines=medicines) is not None)


# ---- which tier


@pytest.mark.parametrize(
    ("name", "text", "expected"),
    [
        ("rapid_weakness", "weak_leg right 1; hx_onset sudden", "same_day"),
        ("rapid_weakness", "weak_leg each 1; hx_onset sudden", "emergency"),
        ("rapid_weakness", "weak_arm each 1; hx_onset days_weeks", "emergency"),
        ("rapid_weakness", "weak_arm right 1; weak_leg left 1; hx_onset sudden", "same_day"),
        ("rapid_weakness", "weak_arm right 1; hx_swallowing yes; hx_onset sudden", "emergency"),
        ("rapid_weakness", "weak_leg each 1; hx_onset months_years", None),
        ("flap", "flap left 1", "same_day"),
        ("flap", "flap left 1; hx_confusion yes", "emergency"),
        ("wernicke", "veering 1; hx_heavy_alcohol yes", "same_day"),
        ("wernicke", "hx_confusion yes; hx_heavy_alcohol yes", "same_day"),
        ("wernicke", "hx_confusion yes; nystagmus yes; hx_heavy_alcohol yes", "emergency"),
        ("wernicke", "hx_confusion yes; vertical_gaze limited; hx_poor_nutrition yes", "emergency"),
        ("wernicke", "hx_confusion yes; vertical_gaze slow; hx_poor_nutrition yes", "same_day"),
        ("wernicke", "hx_eye_movement_trouble yes", None),
        ("blackout_falls", "hx_fall_blackout yes", "soon"),
        ("blackout_falls", "hx_fall_blackout yes; hx_fall_injury yes", "same_day"),
        ("cord_compression", "plantar right up; hx_bladder incontinence", "same_day"),
        ("cord_compression", "plantar right up; hx_bladder urgency", None),
        ("cord_compression", "plantar right up; hx_bladder retention", "emergency"),
        ("cord_compression", "plantar right up; hx_cancer yes", "emergency"),
        ("cord_compression", "plantar right up; hx_bowel_or_saddle yes", "emergency"),
        ("cord_compression", "plantar right up; hx_onset sudden", None),
        ("cord_compression", "plantar each up; hx_onset sudden", "emergency"),
        ("cord_compression", "plantar right up; clonus left yes; hx_onset sudden", "emergency"),
        ("cord_compression", "stiff_leg_swing right 1; hx_cancer yes", None),
        ("cord_compression", "stiff_leg_swing each 1; hx_cancer yes", "emergency"),
        ("cord_compression", "weak_leg right 1; hx_cancer yes", None),
        ("cord_compression", "hoffmann right yes; hx_cancer yes", None),
        ("cord_compression", "hoffmann right yes; weak_arm left 1; hx_cancer yes", "emergency"),
        (
            "cord_compression",
            "hoffmann right yes; reflexes_brisk_arm right 1; hx_back_or_neck_pain yes",
            "same_day",
        ),
        # Whatever the signs.
        ("cord_compression", "hx_bowel_or_saddle yes; hx_back_or_neck_pain yes", "emergency"),
        ("cord_compression", "hx_bowel_or_saddle yes; hx_bladder retention", "emergency"),
        ("cord_compression", "hx_bladder retention; hx_back_or_neck_pain yes", None),
        ("pull_test_unsafe", "rise unable", "routine"),
        ("pull_test_unsafe", "walking_aid person", "routine"),
        ("pull_test_unsafe", "walking_aid wheelchair", "routine"),
        ("pull_test_unsafe", "walking_aid frame", None),
        # It is there before the test.
        ("pull_test_unsafe", "rise unable; pull_test recovers", None),
        ("pull_test_unsafe", "rise unable; pull_test untestable", None),
        ("antipsychotic_sensitivity", "rest_tremor_jaw 1; hx_fluctuating yes", "soon"),
        ("antipsychotic_sensitivity", "hx_fluctuating yes", None),
    ],
)
def test_the_urgency_is_the_highest_that_is_true(
    name: str, text: str, expected: str | None
) -> None:
    """None where it is not raised."""
    assert expected == urgency(name, text)


# ---- age and medicines


@pytest.mark.parametrize(
    ("age", "raised"), [(None, False), (0, True), (50, True), (51, False), (90, False)]
)
def test_copper_is_thought_of_at_a_known_age_of_50_or_under(age: int | None, raised: bool) -> None:
    """schilsky2022."""
    assert raised == (warning("copper_disease", "chorea right 1", age=age) is not None)


def test_a_warning_by_age_names_the_age() -> None:
    """With the finding that it was raised for."""
    assert ["chorea right", "age"] == because("copper_disease", "chorea right 1", age=40)


@pytest.mark.parametrize(
    ("line", "text", "raised"),
    [
        ("sertraline", "clonus right yes; hx_agitation yes", True),
        ("sertraline", "clonus right yes; hx_onset sudden", True),
        ("sertraline", "kinetic_tremor right 1; hx_fever yes; reflexes_brisk_leg left 2", True),
        ("sertraline", "kinetic_tremor right 1; hx_fever yes; reflexes_brisk_leg left 1", False),
        ("sertraline", "standing_leg_tremor yes; hx_fever yes; reflexes_brisk_arm left 2", True),
        ("sertraline", "clonus right yes", False),
        ("haloperidol", "clonus right yes; hx_agitation yes", False),
    ],
)
def test_serotonin_excess(line: str, text: str, raised: bool) -> None:
    """dunkley2003, stricter by its context."""
    assert raised == (warning("serotonin_excess", text, medicines=[line]) is not None)


def test_a_medicine_is_named_as_a_reason() -> None:
    """After the findings."""
    assert ["toe_tap_slow right", "metoclopramide"] == because(
        "dopamine_blocker", "toe_tap_slow right 1", medicines=["metoclopramide"]
    )


# ---- what it rests on, and what it lacks


def test_a_warning_rests_on_all_that_was_recorded_for_it() -> None:
    """Signs and context, in the order of the vocabulary; what is normal or absent is left out."""
    assert ["drift right", "speech_slurred", "hx_onset"] == because(
        "stroke_like", "hx_onset sudden; speech_slurred 1; drift right 2; drift left 0; hx_years 0"
    )


def test_a_warning_that_is_true_either_way_rests_on_what_was_recorded() -> None:
    """Stiff in both directions and not varying: rigid or spastic, and either counts."""
    text = "arm_resistance right 2; arm_resistance_varies right no; hx_onset days_weeks;"
    text += " arm_resistance_directions right both"

    assert ["arm_resistance right", "arm_resistance_directions right", "hx_onset"] == because(
        "short_course", text
    )


def test_what_would_make_a_warning_more_urgent_is_named_as_missing() -> None:
    """Where it is as urgent as it can be, nothing is."""
    same_day = warning("flap", "flap right 1")
    emergency = warning("flap", "flap right 1; hx_confusion yes")

    assert same_day is not None
    assert emergency is not None
    assert ["hx_confusion"] == [each.finding for each in same_day.missing]
    assert () == emergency.missing


def test_emergencies_stand_above_everything_else() -> None:
    """By urgency, and within one urgency in the order of the contract."""
    found = assessed(
        "rise unable; hx_swallowing yes; vertical_gaze limited; flap right 1; hx_head_injury yes;"
        " drift right 1; hx_onset sudden"
    ).warnings

    assert [
        ("stroke_like", "emergency"),
        ("after_head_injury", "emergency"),
        ("flap", "same_day"),
        ("vertical_gaze", "soon"),
        ("swallowing", "soon"),
        ("pull_test_unsafe", "routine"),
        ("fall_risk", "routine"),
    ] == [(each.id, each.urgency) for each in found]


# ---- what a warning lacks, for what is asked next


def lacks(name: str, text: str, urgency: str | None = None) -> set[str]:
    """The findings that a warning lacks, or one of its urgencies."""
    world = world_of(exam_of(text), knowledge())
    return {str(each.finding) for each in lacking(world, knowledge().warnings[name], urgency)}


CORD_FIRST = {"hx_bladder", "hx_bowel_or_saddle", "hx_cancer"}
NO_CORD_FIRST = "hx_bladder none; hx_bowel_or_saddle no; hx_cancer no; hx_onset months_years;"


@pytest.mark.parametrize(
    ("name", "text", "urgency", "asked", "not_asked"),
    [
        # Signs without their context, and a context without its signs.
        ("stroke_like", "drift right 2", None, {"hx_onset"}, {"weak_arm"}),
        ("stroke_like", "hx_onset sudden; hx_years 0.1", None, {"drift"}, {"hx_onset"}),
        # Raised, and not yet as urgent as it can be.
        (
            "rapid_weakness",
            "weak_leg right 1; weak_leg left 0; hx_onset sudden; hx_years 0.1",
            "emergency",
            {"hx_swallowing", "weak_arm"},
            {"weak_leg", "hx_onset"},
        ),
        # Each urgency has a context of its own, and the second counts where the first is not.
        (
            "cord_compression",
            "weak_leg each 1",
            None,
            {*CORD_FIRST, "hx_back_or_neck_pain"},
            {"weak_leg"},
        ),
        ("cord_compression", "weak_leg each 1", "emergency", CORD_FIRST, {"hx_back_or_neck_pain"}),
        (
            "cord_compression",
            "weak_leg each 1",
            "same_day",
            {"hx_back_or_neck_pain"},
            {"hx_cancer"},
        ),
        (
            "cord_compression",
            NO_CORD_FIRST + "weak_leg each 1",
            None,
            {"hx_back_or_neck_pain"},
            {"hx_cancer"},
        ),
    ],
)
def test_where_one_part_is_true_what_the_other_lacks_is_named(
    name: str, text: str, urgency: str | None, asked: set[str], not_asked: set[str]
) -> None:
    """Section 1: "what the other lacks is asked for", and no more than that."""
    found = lacks(name, text, urgency)

    assert asked <= found
    assert found.isdisjoint(not_asked)


@pytest.mark.parametrize(
    ("name", "text"),
    [
        ("stroke_like", ""),
        ("stroke_like", "drift right 2; hx_onset months_years"),
        ("rapid_weakness", "weak_leg right 1; weak_leg left 0; hx_onset months_years"),
        ("cord_compression", "weak_leg each 1; hx_onset sudden"),
    ],
)
def test_where_no_part_is_true_or_one_is_not_nothing_is_lacking(name: str, text: str) -> None:
    """Nor where it is an emergency already, though an answer could withdraw it."""
    assert set() == lacks(name, text, "emergency")
