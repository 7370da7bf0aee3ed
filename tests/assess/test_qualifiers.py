"""Qualifiers of categories, row by row of the contract (its sections 3 and 3.1)."""

import pytest

from app.knowledge.load import knowledge
from tests.assess.examined import category

PARKINSONISM = "toe_tap_slow right 2; toe_tap_decrement right 2; rest_tremor_hand right 1;"
RIGID = "toe_tap_slow right 2; toe_tap_decrement right 2; arm_resistance right 1;"
RIGID += " arm_resistance_varies right no; arm_resistance_speed right same;"
RIGID += " arm_resistance_directions right both;"
STILL = "rest_tremor_hand each 0; rest_tremor_leg each 0; rest_tremor_jaw 0; posture_tremor each 0;"
STILL += " walking_tremor_hand each 0;"
TREMOR = "kinetic_tremor each 1; dystonia each 0; dystonia_midline 0; dysmetria each 0;"
TREMOR += " arm_resistance each 0; leg_resistance each 0; toe_tap_slow each 0;"
TREMOR += " finger_tap_slow each 0; posture_tremor each 0;"
GRADES = "toe_tap_slow each 1; toe_tap_decrement each 1; toe_tap_halts each 0;"
GRADES += " finger_tap_slow each 0; finger_tap_decrement each 0; finger_tap_halts each 0;"
GRADES += (
    " rest_tremor_leg each 0; arm_resistance each 0; leg_resistance each 0; rest_tremor_jaw 1;"
)
EQUAL = GRADES + " rest_tremor_hand each 1;"
CATCH = "{0}_resistance {1} 1; {0}_resistance_varies {1} no; {0}_resistance_speed {1} catch;"
FREE = "drift {0} 0; hoffmann {0} no; reflexes_brisk_arm {0} 0; reflexes_brisk_leg {0} 0;"
FREE += " plantar {0} down; clonus {0} no; stiff_leg_swing {0} 0; arm_resistance {0} 0;"
FREE += " leg_resistance {0} 0;"
GAIT = "step_length short; base wide; turn_steps 6; finger_tap_slow each 0;" + STILL
SENSORY = "romberg worse_eyes_closed; vibration_reduced each 1; base wide;"

# The category, an exam, the qualifiers that it has, and some of those that it does not have.
GIVEN = [
    # Parkinsonism.
    ("parkinsonism", PARKINSONISM, "rest_tremor_present supportive_features", "tremor_absent"),
    ("parkinsonism", RIGID + STILL, "tremor_absent", "rest_tremor_present re_emergent_tremor"),
    ("parkinsonism", RIGID, "", "tremor_absent rest_tremor_present"),
    ("parkinsonism", "rest_tremor_jaw 1", "rest_tremor_present", "supportive_features"),
    ("parkinsonism", PARKINSONISM + "hx_levodopa clear", "supportive_features", ""),
    ("parkinsonism", RIGID + "hx_levodopa clear", "supportive_features", ""),
    ("parkinsonism", RIGID + "hx_smell_loss yes", "supportive_features", ""),
    ("parkinsonism", RIGID + "hx_levodopa partial", "", "supportive_features"),
    (
        "parkinsonism",
        RIGID + "posture_tremor left 1; posture_tremor_onset left delayed",
        "re_emergent_tremor rest_tremor_present supportive_features",
        "tremor_absent",
    ),
    ("parkinsonism", RIGID + "arm_activation_only right yes", "only_on_activation", ""),
    ("parkinsonism", RIGID + "arm_activation_only right no", "", "only_on_activation"),
    ("parkinsonism", RIGID, "", "only_on_activation"),
    ("parkinsonism", PARKINSONISM, "", "only_on_activation"),
    (
        "parkinsonism",
        RIGID + "arm_activation_only right yes;" + RIGID.replace("arm", "leg"),
        "",
        "only_on_activation",
    ),
    # Symmetry: known where every grade is, for arms and for legs apart.
    ("parkinsonism", EQUAL, "symmetric", "asymmetric"),
    ("parkinsonism", GRADES, "", "symmetric asymmetric"),
    ("parkinsonism", EQUAL.replace("toe_tap_halts each 0;", ""), "", "symmetric asymmetric"),
    (
        "parkinsonism",
        EQUAL.replace(
            "rest_tremor_hand each 1", "rest_tremor_hand right 1; rest_tremor_hand left 0"
        ),
        "asymmetric",
        "symmetric",
    ),
    # Sums, not grades: slow 2 on one side and decrement 2 on the other are equal.
    (
        "parkinsonism",
        EQUAL.replace(
            "finger_tap_slow each 0; finger_tap_decrement each 0",
            "finger_tap_slow right 2; finger_tap_slow left 0;"
            " finger_tap_decrement right 0; finger_tap_decrement left 2",
        ),
        "symmetric",
        "asymmetric",
    ),
    # Arms and legs are not set off against each other.
    (
        "parkinsonism",
        EQUAL.replace(
            "finger_tap_slow each 0; finger_tap_decrement each 0",
            "finger_tap_slow right 1; finger_tap_slow left 0; finger_tap_decrement each 0",
        ).replace("toe_tap_slow each 1", "toe_tap_slow right 1; toe_tap_slow left 2"),
        "asymmetric",
        "symmetric",
    ),
    # Resistance counts where it is rigid, and only there.
    (
        "parkinsonism",
        EQUAL.replace("arm_resistance each 0", "arm_resistance right 0; arm_resistance left 2")
        + "arm_resistance_varies left no; arm_resistance_speed left same;"
        " arm_resistance_directions left both",
        "asymmetric",
        "symmetric",
    ),
    (
        "parkinsonism",
        EQUAL.replace("arm_resistance each 0", "arm_resistance right 0; arm_resistance left 2")
        + "arm_resistance_varies left yes",
        "symmetric",
        "asymmetric",
    ),
    # Action tremor.
    ("action_tremor", TREMOR + "hx_years 3", "essential_pattern", "too_early_to_name"),
    ("action_tremor", TREMOR + "hx_years 2.9", "too_early_to_name", "essential_pattern"),
    ("action_tremor", TREMOR, "", "essential_pattern too_early_to_name"),
    # Only where it fits, without cautions.
    ("action_tremor", TREMOR + "hx_years 9; hx_memory yes", "", "essential_pattern"),
    ("action_tremor", "kinetic_tremor right 1; hx_years 9", "", "essential_pattern"),
    ("action_tremor", "kinetic_tremor right 1; hx_family_tremor yes", "family_history", ""),
    ("action_tremor", "kinetic_tremor right 1; hx_alcohol_helps yes", "alcohol_responsive", ""),
    (
        "action_tremor",
        TREMOR + "hx_thyroid_symptoms yes",
        "physiological_possible",
        "family_history alcohol_responsive",
    ),
    (
        "action_tremor",
        TREMOR.replace("kinetic_tremor each 1", "kinetic_tremor right 1; kinetic_tremor left 2")
        + "hx_thyroid_symptoms yes",
        "",
        "physiological_possible",
    ),
    ("action_tremor", TREMOR, "", "physiological_possible"),
    # Cerebellar ataxia.
    (
        "cerebellar_ataxia",
        "dysmetria right 1; dysmetria left 0; endpoint_tremor left 0",
        "one_sided",
        "sudden gait_only",
    ),
    ("cerebellar_ataxia", "dysmetria right 1; dysmetria left 0", "", "one_sided"),
    ("cerebellar_ataxia", "dysmetria each 1; endpoint_tremor each 0", "", "one_sided"),
    ("cerebellar_ataxia", "nystagmus yes; hx_onset sudden", "sudden", ""),
    (
        "cerebellar_ataxia",
        "veering 1; dysmetria each 0; endpoint_tremor each 0",
        "gait_only",
        "one_sided",
    ),
    ("cerebellar_ataxia", "veering 1", "", "gait_only"),
    # Sensory ataxia.
    ("sensory_ataxia", SENSORY + "plantar left up", "with_upper_motor_neuron", ""),
    ("sensory_ataxia", SENSORY, "", "with_upper_motor_neuron"),
    # Upper motor neuron.
    ("upper_motor_neuron", "clonus right yes;" + FREE.format("left"), "one_sided", "legs_only"),
    ("upper_motor_neuron", "clonus right yes; clonus left no", "", "one_sided"),
    ("upper_motor_neuron", "clonus each yes", "", "one_sided legs_only all_limbs with_ataxia"),
    (
        "upper_motor_neuron",
        (
            "clonus each yes; arm_resistance each 0; drift each 0; hoffmann each no;"
            " reflexes_brisk_arm each 0"
        ),
        "legs_only",
        "all_limbs one_sided",
    ),
    # Brisk arm reflexes of any grade are no longer free arms.
    (
        "upper_motor_neuron",
        (
            "clonus each yes; arm_resistance each 0; drift each 0; hoffmann each no;"
            " reflexes_brisk_arm right 1; reflexes_brisk_arm left 0"
        ),
        "",
        "legs_only",
    ),
    ("upper_motor_neuron", "clonus each yes; drift each 1", "all_limbs", "legs_only one_sided"),
    ("upper_motor_neuron", "clonus each yes; drift right 1", "", "all_limbs"),
    ("upper_motor_neuron", "clonus each yes; dysmetria left 1", "with_ataxia", ""),
    ("upper_motor_neuron", "clonus each yes; veering 1", "with_ataxia", ""),
    # Dystonia.
    ("dystonia", "dystonia right 1; kinetic_tremor right 1", "with_tremor", "one_sided"),
    ("dystonia", "dystonia right 1; kinetic_tremor left 1", "", "with_tremor"),
    ("dystonia", "dystonia right 1; head_tremor 1", "", "with_tremor"),
    ("dystonia", "dystonia_midline 1; head_tremor 1", "with_tremor", "one_sided"),
    ("dystonia", "dystonia_midline 1; kinetic_tremor each 1", "", "with_tremor"),
    ("dystonia", "dystonia_midline 1; sensory_trick yes", "with_tremor", ""),
    ("dystonia", "dystonia_midline 1; tremor_null_point yes", "with_tremor", ""),
    ("dystonia", "dystonia right 1; dystonia left 0", "one_sided", "with_tremor"),
    ("dystonia", "dystonia right 1", "", "one_sided"),
    # The others.
    ("myoclonus", "flap right 1", "flap", ""),
    ("myoclonus", "myoclonus right 1", "", "flap"),
    ("neuromuscular_weakness", "foot_drop right 1", "foot_drop", "proximal"),
    ("neuromuscular_weakness", "hip_waddle 1", "proximal", "foot_drop"),
    # Higher-level gait: both triad signs, age and course, each known.
    ("higher_level_gait", GAIT + "hx_stroke yes", "vascular_possible", "hydrocephalus_pattern"),
    ("higher_level_gait", GAIT + "arm_swing_reduced each 0", "arm_swing_kept", ""),
    ("higher_level_gait", GAIT + "arm_swing_reduced right 0", "", "arm_swing_kept"),
    ("higher_level_gait", GAIT + "arm_swing_reduced right 1", "", "arm_swing_kept"),
]


@pytest.mark.parametrize(
    ("name", "text", "has", "has_not"),
    GIVEN,
    ids=[f"{name}: {has or 'not ' + has_not}: {text[-50:]}" for name, text, has, has_not in GIVEN],
)
def test_a_qualifier_is_given_where_it_holds(name: str, text: str, has: str, has_not: str) -> None:
    """At every listed level, unless its row says otherwise; unknown is not given."""
    found = set(category(name, text).qualifiers)

    assert set(has.split()) <= found
    assert set() == found & set(has_not.split())


HYDRO = {"hydrocephalus_pattern", "full_triad"}


@pytest.mark.parametrize(
    ("text", "age", "expected"),
    [
        ("hx_onset months_years; hx_memory yes", 40, {"hydrocephalus_pattern"}),
        ("hx_onset months_years; hx_memory yes", 39, set()),
        ("hx_onset months_years; hx_memory yes", None, set()),
        ("hx_onset days_weeks; hx_memory yes", 76, set()),
        ("hx_memory yes", 76, set()),
        ("hx_onset months_years; hx_bladder urgency", 76, {"hydrocephalus_pattern"}),
        ("hx_onset months_years; hx_bladder incontinence", 76, {"hydrocephalus_pattern"}),
        ("hx_onset months_years; hx_bladder retention", 76, set()),
        ("hx_onset months_years; hx_bladder urgency; hx_memory yes", 76, HYDRO),
        ("hx_onset months_years; hx_bladder none; hx_memory no", 76, set()),
    ],
)
def test_the_hydrocephalus_pattern(text: str, age: int | None, expected: set[str]) -> None:
    """relkin2005: 40 or more, a slow course, and thinking or bladder; both make the triad."""
    assert expected == HYDRO & set(category("higher_level_gait", GAIT + text, age=age).qualifiers)


@pytest.mark.parametrize(
    ("name", "text", "line", "qualifier"),
    [
        ("parkinsonism", PARKINSONISM, "metoclopramide", "dopamine_blocker_taken"),
        ("chorea", "chorea right 1", "risperidone", "dopamine_blocker_taken"),
        ("chorea", "chorea right 1", "levodopa/carbidopa", "levodopa_taken"),
        ("action_tremor", TREMOR, "salbutamol", "physiological_possible"),
    ],
)
def test_a_medicine_as_a_qualifier(name: str, text: str, line: str, qualifier: str) -> None:
    """Given where it is taken for sure, and for no other medicine."""
    assert qualifier in category(name, text, medicines=[line]).qualifiers
    assert qualifier not in category(name, text, medicines=["warfarin"]).qualifiers
    assert qualifier not in category(name, text).qualifiers


def test_every_qualifier_stands_above() -> None:
    """So that a new one is not left without its row."""
    given = {(name, each) for name, _, has, _ in GIVEN for each in has.split()}
    given |= {("higher_level_gait", each) for each in HYDRO}
    given |= {(name, "dopamine_blocker_taken") for name in ("parkinsonism", "chorea")}
    given |= {("chorea", "levodopa_taken")}

    assert given == {
        (each.id, qualifier)
        for each in knowledge().categories.values()
        for qualifier in each.qualifiers
    }
