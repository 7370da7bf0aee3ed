"""What is left over: unexplained signs and recorded values that contradict each other."""

import pytest

from app.assess.assess import world_of
from app.assess.categories import explains
from app.exam.vocabulary import Side, vocabulary
from app.knowledge.load import knowledge
from tests.assess.examined import assessed, exam_of


def unexplained(text: str, **given: object) -> list[str]:
    """The signs that nothing explains, as `drift right`."""
    return [
        f"{each.finding} {each.side}" if each.side else str(each.finding)
        for each in assessed(text, **given).unexplained
    ]


# ---- unexplained (sections 1 and 6)


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("", []),
        ("apraxia left yes", ["apraxia left"]),
        ("apraxia left no; drift right 0", []),
        # History, measures and what describes another finding are no signs by themselves.
        ("hx_stroke yes; tug_s 60", []),
        ("posture_tremor_onset right delayed; arm_resistance_speed left catch", []),
        # A number has no normal value by itself.
        ("turn_steps 20", []),
        ("turn_en_bloc 1", ["turn_en_bloc"]),
        # An open category explains.
        ("rest_tremor_hand right 1; face_still 2", []),
        ("face_still 2", ["face_still"]),
        # Its own core signs always are.
        ("chorea right 1; drift left 1", []),
        # Only on the side and with the value that it speaks of.
        ("rest_tremor_jaw 1; handwriting small", []),
        ("rest_tremor_jaw 1; handwriting shaky", ["handwriting"]),
        ("kinetic_tremor right 1; handwriting shaky", []),
        ("nystagmus yes; handwriting large_uneven", []),
        ("drift right 1; base narrow", []),
        ("drift right 1; base wide", []),
        ("clonus each yes; tandem_walk unable; base wide", []),
        ("chorea right 1; base narrow", ["base"]),
        # A category that is not listed explains nothing.
        ("kinetic_tremor right 0; handwriting shaky", ["handwriting"]),
        # In the order of the vocabulary, right before left.
        ("apraxia each yes; face_still 1", ["face_still", "apraxia right", "apraxia left"]),
        # A weak arm of neuromuscular weakness needs a weak leg to be listed.
        ("weak_arm right 1", ["weak_arm right"]),
        ("weak_arm right 1; weak_leg right 1", []),
    ],
)
def test_a_sign_that_no_listed_category_explains_is_left_over(
    text: str, expected: list[str]
) -> None:
    """So that nothing seen is passed over in silence."""
    assert expected == unexplained(text)


SIX = """
parkinsonism       rest_tremor_hand rest_tremor_leg rest_tremor_jaw posture_tremor
parkinsonism       walking_tremor_hand finger_tap_slow finger_tap_small finger_tap_decrement
parkinsonism       finger_tap_halts toe_tap_slow toe_tap_small toe_tap_decrement toe_tap_halts
parkinsonism       hand_open_slow hand_open_small hand_open_decrement hand_open_halts
parkinsonism       arm_resistance leg_resistance arm_cogwheel leg_cogwheel neck_resistance
parkinsonism       face_still blink_reduced moves_little gesture_reduced arm_raise_slow
parkinsonism       arm_swing_reduced stooped step_length heel_strike_reduced turn_en_bloc turn_steps
parkinsonism       freezing festination rise speech_quiet pull_test
action_tremor      posture_tremor kinetic_tremor endpoint_tremor head_tremor voice_tremor
action_tremor      tandem_walk
cerebellar_ataxia  dysmetria endpoint_tremor kinetic_tremor finger_tap_uneven toe_tap_uneven
cerebellar_ataxia  hand_open_uneven head_tremor base veering tandem_walk romberg speech_slurred
cerebellar_ataxia  nystagmus arm_floppy leg_floppy
sensory_ataxia     romberg vibration_reduced reflexes_absent base veering tandem_walk
upper_motor_neuron arm_resistance leg_resistance plantar clonus hoffmann reflexes_brisk_arm
upper_motor_neuron reflexes_brisk_leg drift stiff_leg_swing weak_arm weak_leg finger_tap_slow
upper_motor_neuron toe_tap_slow hand_open_slow foot_drop arm_swing_reduced
higher_level_gait  step_length base heel_strike_reduced turn_en_bloc turn_steps freezing feet_stuck
higher_level_gait  festination rise pull_test tandem_walk stooped toe_tap_slow toe_tap_small
higher_level_gait  toe_tap_decrement toe_tap_halts toe_tap_uneven
dystonia           dystonia dystonia_midline head_tremor posture_tremor kinetic_tremor
dystonia           sensory_trick tremor_null_point tremor_task_specific
neuromuscular_weakness foot_drop hip_waddle weak_leg weak_arm reflexes_absent rise arm_floppy
neuromuscular_weakness leg_floppy
paratonia          arm_resistance leg_resistance
painful_gait       painful_limp step_length rise
functional         tremor_entrains tremor_distractible movement_inconsistent knee_buckling
functional         rest_tremor_hand rest_tremor_leg rest_tremor_jaw posture_tremor
functional         walking_tremor_hand kinetic_tremor endpoint_tremor head_tremor voice_tremor
functional         standing_leg_tremor finger_tap_slow toe_tap_slow hand_open_slow
"""
EXPLAINED = [
    (name, finding)
    for name, *findings in (row.split() for row in SIX.strip().splitlines())
    for finding in findings
]
# An exam in which just this category, or hardly another, is listed.
LISTED = {
    "parkinsonism": "rest_tremor_jaw 1",
    "action_tremor": "head_tremor 1",
    "cerebellar_ataxia": "nystagmus yes",
    "sensory_ataxia": "vibration_reduced right 1",
    "upper_motor_neuron": "clonus right yes",
    "higher_level_gait": "feet_stuck 1",
    "dystonia": "sensory_trick yes",
    "neuromuscular_weakness": "hip_waddle 1",
    "paratonia": "arm_resistance right 1; arm_resistance_varies right yes",
    "painful_gait": "painful_limp right 1",
    "functional": "tremor_entrains yes",
}


@pytest.mark.parametrize(("name", "finding"), EXPLAINED)
def test_a_category_explains_what_the_contract_lists(name: str, finding: str) -> None:
    """Section 6, finding by finding."""
    held = vocabulary()[finding]
    value = held.values[-1] if held.values else "yes" if held.scale == "yesno" else "2"
    text = f"{LISTED[name]}; {finding}{' left' if held.paired else ''} {value}"

    assert name in {each.id for each in assessed(text).listed}
    assert not [each for each in unexplained(text) if each.split()[0] == finding]


# One value of a finding; and what belongs to a finding of the contract's list as its detail.
ONE_VALUE = {
    "parkinsonism": {"handwriting is small"},
    "action_tremor": {"handwriting is shaky"},
    "cerebellar_ataxia": {"handwriting is large_uneven"},
    "upper_motor_neuron": {"base is narrow"},
}
DETAILS = {"parkinsonism": {"arm_activation_only", "leg_activation_only"}}


@pytest.mark.parametrize("name", knowledge().categories)
def test_a_category_explains_nothing_else(name: str) -> None:
    """Beside what its core signs and its requirement speak of."""
    listed = {finding for category, finding in EXPLAINED if category == name}

    assert listed | ONE_VALUE.get(name, set()) | DETAILS.get(name, set()) == set(
        knowledge().categories[name].explains
    )


def test_a_category_explains_what_its_requirement_speaks_of_without_a_list() -> None:
    """Section 6: "its K and R findings always"; here in a category whose list is taken away."""
    world = world_of(exam_of("reflexes_absent right yes; base narrow"), knowledge())
    bare = knowledge().categories["sensory_ataxia"].model_copy(update={"explains": ()})

    assert explains(world, bare, "reflexes_absent", Side.RIGHT)
    assert not explains(world, bare, "reflexes_absent", Side.LEFT)
    assert not explains(world, bare, "base", None)


# ---- conflicts (section 1)

CONFLICTS = [
    ("hx_falls_12m 0; hx_fall_injury yes", ("hx_falls_12m", "hx_fall_injury"), None),
    ("hx_falls_12m 0; hx_fall_lie yes", ("hx_falls_12m", "hx_fall_lie"), None),
    ("hx_falls_12m 0; hx_fall_blackout yes", ("hx_falls_12m", "hx_fall_blackout"), None),
    *(
        (f"{limb}_resistance left 0; {limb}_{detail}", (f"{limb}_resistance", what), "left")
        for limb in ("arm", "leg")
        for detail, what in (
            ("resistance_directions left one", f"{limb}_resistance_directions"),
            ("resistance_directions left both", f"{limb}_resistance_directions"),
            ("resistance_speed left catch", f"{limb}_resistance_speed"),
            ("resistance_varies left yes", f"{limb}_resistance_varies"),
            ("activation_only left yes", f"{limb}_activation_only"),
            ("cogwheel left yes", f"{limb}_cogwheel"),
        )
    ),
    (
        "posture_tremor right 0; posture_tremor_onset right at_once",
        ("posture_tremor", "posture_tremor_onset"),
        "right",
    ),
    (
        "posture_tremor right 0; posture_tremor_delay_s right 0.1",
        ("posture_tremor", "posture_tremor_delay_s"),
        "right",
    ),
    (
        "posture_tremor_onset left at_once; posture_tremor_delay_s left 2",
        ("posture_tremor_onset", "posture_tremor_delay_s"),
        "left",
    ),
    (
        "posture_tremor_onset left delayed; posture_tremor_delay_s left 1.9",
        ("posture_tremor_onset", "posture_tremor_delay_s"),
        "left",
    ),
    ("reflexes_absent left yes; clonus left yes", ("reflexes_absent", "clonus"), "left"),
    ("hx_onset days_weeks; hx_years 0.26", ("hx_onset", "hx_years"), None),
]


@pytest.mark.parametrize(
    ("text", "findings", "side"), CONFLICTS, ids=[text for text, *_ in CONFLICTS]
)
def test_a_contradiction_is_told(text: str, findings: tuple[str, ...], side: str | None) -> None:
    """Which findings, on which side, in words; both values are used as recorded."""
    (found,) = assessed(text).conflicts

    assert (findings, side) == (found.findings, found.side)
    assert found.says.endswith(".")


@pytest.mark.parametrize(
    "text",
    [
        "hx_falls_12m 1; hx_fall_injury yes",
        "hx_falls_12m 0; hx_fall_injury no",
        "hx_falls_12m untestable; hx_fall_injury yes",
        "arm_resistance left 1; arm_resistance_speed left catch",
        "arm_resistance left 0; arm_resistance_speed left same",
        "arm_resistance left 0; arm_resistance_varies left no; arm_activation_only left no",
        "arm_resistance right 0; arm_resistance_speed left catch",
        "posture_tremor right 0; posture_tremor_delay_s right 0",
        "posture_tremor right 1; posture_tremor_onset right at_once",
        "posture_tremor_onset left at_once; posture_tremor_delay_s left 1.9",
        "posture_tremor_onset left delayed; posture_tremor_delay_s left 2",
        "reflexes_absent left yes; clonus right yes",
        "hx_onset days_weeks; hx_years 0.25",
        "hx_onset sudden; hx_years 6",
        "hx_onset months_years; hx_years 6",
    ],
)
def test_what_does_not_contradict_itself(text: str) -> None:
    """The other side, an old stroke, a denial, at the cutoff."""
    assert () == assessed(text).conflicts


def test_contradictions_on_both_sides_are_two() -> None:
    """Right before left."""
    found = assessed("reflexes_absent each yes; clonus each yes").conflicts

    assert ["right", "left"] == [each.side for each in found]
