"""What follows as a next step, row by row of the contract (its section 7)."""

import pytest

from app.knowledge.load import knowledge
from tests.assess.examined import assessed, steps

PARKINSONISM = "toe_tap_slow right 2; toe_tap_decrement right 2; rest_tremor_hand right 1;"
ATAXIA = "dysmetria right 1; nystagmus yes; hx_years 6;"
CORD = "plantar each up; clonus each yes; hx_years 6;"
LEGS = "drift each 0; hoffmann each no; reflexes_brisk_arm each 0; arm_resistance each 0;"
SENSORY = "romberg worse_eyes_closed; vibration_reduced each 1; base wide;"
HYDROCEPHALUS = (
    "step_length short; base wide; turn_steps 6; finger_tap_slow each 0; hx_onset months_years;"
    " rest_tremor_hand each 0; rest_tremor_leg each 0; rest_tremor_jaw 0; posture_tremor each 0;"
    " walking_tremor_hand each 0;"
)
SUDDEN = "hx_onset sudden;"
TREMOR = (
    "kinetic_tremor each 1; dystonia each 0; dystonia_midline 0; dysmetria each 0;"
    " arm_resistance each 0; leg_resistance each 0; toe_tap_slow each 0; finger_tap_slow each 0;"
)

# The step, an exam from which it follows, and with what urgency; then one from which it does not.
FOLLOWS = [
    ("emergency_transfer", f"drift right 1; {SUDDEN}", "emergency", "drift right 1"),
    ("emergency_transfer", "flap right 1; hx_confusion yes", "emergency", "flap right 1"),
    ("same_day_assessment", "flap right 1", "same_day", "flap right 1; hx_confusion yes"),
    ("image_head_now", f"drift right 1; {SUDDEN}", "emergency", "drift right 1"),
    ("image_head_now", "nystagmus yes; hx_headache_vomiting yes", "emergency", "nystagmus yes"),
    ("image_head_now", "hx_head_injury yes; hx_confusion yes", "emergency", "hx_head_injury yes"),
    ("image_spine_now", "plantar right up; hx_bladder retention", "emergency", "plantar right up"),
    ("image_spine_now", "clonus left yes; hx_back_or_neck_pain yes", "same_day", "clonus left yes"),
    ("thiamine_before_glucose", "veering 1; hx_poor_nutrition yes", "same_day", "veering 1"),
    ("check_liver_kidney_drugs", "flap left 1", "same_day", "myoclonus left 1"),
    ("heart_rhythm_check", "hx_fall_blackout yes", "soon", "hx_fall_injury yes"),
    ("refer_movement_untreated", PARKINSONISM, "soon", "rest_tremor_hand right 1"),
    ("refer_movement_untreated", PARKINSONISM + "base wide", "soon", "toe_tap_slow right 2"),
    ("refer_neurology", "vertical_gaze slow", "soon", "vertical_gaze normal"),
    ("refer_neurology", PARKINSONISM + "base wide", "soon", PARKINSONISM),
    ("refer_neurology", ATAXIA, "soon", "dysmetria right 1"),
    ("refer_neurology", CORD, "soon", "plantar each up; hx_years 6"),
    ("refer_neurology", "chorea right 1", "soon", "chorea each 0"),
    ("image_brain", PARKINSONISM + "base wide", "soon", PARKINSONISM),
    ("image_brain", "veering 1; hx_recent_worsening yes", "soon", "veering 1"),
    ("image_brain", HYDROCEPHALUS, "soon", "step_length short"),
    ("image_brain", ATAXIA, "soon", "nystagmus yes"),
    (
        "image_brain",
        (
            "clonus right yes; hoffmann right yes; clonus left no; hoffmann left no;"
            " plantar left down; drift left 0; stiff_leg_swing left 0; arm_resistance left 0;"
            " leg_resistance left 0; reflexes_brisk_arm left 0; reflexes_brisk_leg left 0"
        ),
        "soon",
        "clonus each yes; hoffmann each yes",
    ),
    ("image_spine", CORD + LEGS, "soon", CORD),
    ("image_spine", SENSORY + "hx_back_or_neck_pain yes", "soon", SENSORY),
    ("image_spine", SENSORY + "hoffmann right yes", "soon", SENSORY),
    ("image_spine", SENSORY + "plantar right up", "soon", SENSORY + "plantar right down"),
    ("image_spine", SENSORY + "reflexes_brisk_arm right 1", "soon", SENSORY),
    # The same, but a cord compression is to be looked for now.
    ("image_spine", CORD + LEGS, "soon", CORD + LEGS + "hx_back_or_neck_pain yes"),
    ("image_spine_now", CORD + LEGS + "hx_back_or_neck_pain yes", "same_day", CORD + LEGS),
    ("refer_functional", "tremor_entrains yes", "routine", "tremor_distractible yes"),
    ("test_thyroid", "kinetic_tremor right 1", "routine", "rest_tremor_hand right 1"),
    ("test_b12_glucose", SENSORY, "soon", "romberg worse_eyes_closed"),
    ("nerve_studies", SENSORY, "soon", "romberg worse_eyes_closed"),
    (
        "nerve_studies",
        "foot_drop right 1; reflexes_absent right yes",
        "soon",
        "reflexes_absent right yes",
    ),
    ("check_standing_pressure", "rest_tremor_jaw 1", "routine", "rest_tremor_jaw 0"),
    ("check_standing_pressure", "hx_falls_12m 1", "routine", "hx_falls_12m 0"),
    (
        "check_standing_pressure",
        "hx_falls_12m 1; lying_sys 120",
        "routine",
        "hx_falls_12m 1; lying_sys 120; standing_sys 118",
    ),
    ("check_cognition", HYDROCEPHALUS, "routine", "step_length short"),
    ("check_cognition", "hx_memory yes", "routine", "hx_memory no"),
    (
        "check_cognition",
        "arm_resistance each 1; arm_resistance_varies each yes",
        "routine",
        "arm_resistance each 1",
    ),
    ("swallow_assessment", "hx_swallowing yes", "soon", "hx_swallowing no"),
    ("multifactorial_falls_assessment", "hx_falls_12m 2", "soon", "hx_falls_12m 1"),
    (
        "strength_balance_exercise",
        "hx_unsteady yes; walk_m 4; walk_s 8",
        "routine",
        "hx_unsteady yes; walk_m 4; walk_s 4",
    ),
    (
        "falls_advice",
        "hx_falls_12m 0; hx_unsteady no; hx_fear_of_falling no",
        "routine",
        "hx_falls_12m 0",
    ),
    ("falls_advice", "freezing 1", "routine", "freezing 0"),
    ("examine_next", "rest_tremor_hand right 1", "routine", "hx_falls_12m 2"),
    ("examine_next", "", "routine", "hx_falls_12m 2; chorea right 1"),
]


@pytest.mark.parametrize(
    ("step", "text", "urgency", "without"),
    FOLLOWS,
    ids=[f"{step} from {text[:60]}" for step, text, *_ in FOLLOWS],
)
def test_a_step_follows(step: str, text: str, urgency: str, without: str) -> None:
    """From what is named, and not from less."""
    assert urgency == steps(text)[step]
    assert step not in steps(without)


# ---- medicines


@pytest.mark.parametrize(
    ("text", "line", "follows"),
    [
        # The class that a listed category names; `any` parkinsonism_causing one with these two.
        (PARKINSONISM, "haloperidol", True),
        ("rest_tremor_hand right 1", "haloperidol", True),
        (PARKINSONISM, "salbutamol", False),
        ("kinetic_tremor right 1", "salbutamol", True),
        ("nystagmus yes", "phenytoin", True),
        ("nystagmus yes", "haloperidol", False),
        ("chorea right 1", "haloperidol", True),
        ("dystonia_midline 1", "metoclopramide", True),
        ("tics 1", "metoclopramide", False),
        # One that raises the risk of falls, with a known fall.
        ("hx_falls_12m 1", "temazepam", True),
        ("hx_fall_lie yes", "temazepam", True),
        ("hx_falls_12m 0", "temazepam", False),
        ("hx_falls_12m 1", "warfarin", False),
        ("hx_falls_12m 1", "paracetamol", False),
    ],
)
def test_medicines_are_reviewed_where_their_class_is_named(
    text: str, line: str, follows: bool
) -> None:
    """And only those that are taken for sure."""
    assert follows == ("review_medicines" in steps(text, medicines=[line]))


def test_dopamine_blockers_are_avoided_in_parkinsonism() -> None:
    """Where it fits, and where antipsychotics may do harm."""
    assert "avoid_dopamine_blockers" in steps(PARKINSONISM)
    assert "avoid_dopamine_blockers" in steps("rest_tremor_jaw 1; hx_hallucinations yes")
    assert "avoid_dopamine_blockers" not in steps("rest_tremor_jaw 1")


# ---- copper


@pytest.mark.parametrize(
    ("text", "age", "urgency"),
    [
        # At 50 or under by its warning, over 50 where two of the five fit.
        (PARKINSONISM, 50, "soon"),
        ("rest_tremor_jaw 1", 50, "soon"),
        ("chorea right 1", 18, "soon"),
        (PARKINSONISM, 51, None),
        (PARKINSONISM + "dystonia_midline 1", 51, "routine"),
        (PARKINSONISM + "dystonia_midline 1", 50, "soon"),
        ("rest_tremor_jaw 1; dystonia_midline 1", 51, None),
        ("chorea right 1; dystonia_midline 1", 80, "routine"),
        (TREMOR + ATAXIA.replace("dysmetria right 1; ", "veering 1; "), 80, "routine"),
        ("tics 1", 18, None),
        (PARKINSONISM + "dystonia_midline 1", None, None),
    ],
)
def test_copper_is_tested_by_age_and_picture(
    text: str, age: int | None, urgency: str | None
) -> None:
    """schilsky2022; age alone never rules it out, so over 50 it is routine."""
    assert urgency == steps(text, age=age).get("test_copper")


# ---- what a step carries


def test_a_step_names_what_it_follows_from() -> None:
    """Every cause, in the order of the contract."""
    found = assessed("drift right 1; nystagmus yes; hx_onset sudden; hx_head_injury yes")
    causes = {step.id: step.because for step in found.next_steps}

    assert ("stroke_like", "acute_ataxia", "after_head_injury") == causes["image_head_now"]
    assert ("stroke_like", "acute_ataxia", "after_head_injury") == causes["emergency_transfer"]


def test_copper_names_the_patterns_that_fit_and_no_other() -> None:
    """A pattern that is only possible is no reason for it."""
    found = assessed("chorea right 1; dystonia_midline 1; rest_tremor_jaw 1", age=80)
    (copper,) = [step for step in found.next_steps if step.id == "test_copper"]

    assert ("dystonia", "chorea") == copper.because


def test_a_step_names_its_source() -> None:
    """So that it can be looked up before it is followed."""
    found = assessed("drift right 1; hx_onset sudden; hx_memory yes")
    sources = {step.id: step.sources for step in found.next_steps}

    assert ("nice_ng127",) == sources["emergency_transfer"]
    assert () == sources["check_cognition"]


def test_a_step_is_as_urgent_as_the_most_urgent_of_its_causes() -> None:
    """Where the contract gives it none of its own."""
    assert (
        "emergency"
        == steps("clonus left yes; hx_back_or_neck_pain yes; hx_cancer yes")["image_spine_now"]
    )


def test_what_is_open_is_named_by_the_step_to_examine_it() -> None:
    """The categories, then the falls group."""
    (found,) = [
        step for step in assessed("rest_tremor_jaw 1").next_steps if step.id == "examine_next"
    ]

    assert ("parkinsonism", "fall_risk") == found.because


def test_steps_stand_in_the_order_of_the_knowledge_each_once() -> None:
    """Emergencies come first there."""
    found = [
        step.id
        for step in assessed(
            "flap right 1; hx_confusion yes; drift right 1; hx_onset sudden; hx_swallowing yes;"
            " hx_falls_12m 2; chorea right 1"
        ).next_steps
    ]

    assert [step for step in knowledge().steps if step in found] == found
    assert "emergency_transfer" == found[0]


def test_no_emergency_no_transfer() -> None:
    """A normal exam leads to nothing but what is open."""
    assert {"examine_next"} == set(steps())
