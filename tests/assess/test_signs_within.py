"""Derived signs that are not shown by themselves, seen by what they decide (contract, 2)."""

import pytest

from tests.assess.examined import category, urgency

# ---- core bradykinesia: by finger taps and toe taps; where finger taps are untestable on a side,
# hand opening takes their place there. It is what action_tremor must not have.

TREMOR = "kinetic_tremor each 1; dystonia each 0; dystonia_midline 0; dysmetria each 0;"
TREMOR += " arm_resistance each 0; leg_resistance each 0; toe_tap_slow each 0;"


@pytest.mark.parametrize(
    ("text", "level"),
    [
        ("finger_tap_slow each 0", "fits"),
        ("finger_tap_slow right 0", "open"),
        ("finger_tap_slow each 2; finger_tap_decrement each 0; finger_tap_halts each 0", "fits"),
        (
            "finger_tap_slow right 2; finger_tap_decrement right 1; finger_tap_slow left 0",
            "partial",
        ),
        ("finger_tap_slow each 0; toe_tap_slow left 1; toe_tap_halts left 1", "partial"),
        # Hand opening decides nothing here while finger taps could be tested: it is a caution.
        (
            "finger_tap_slow each 0; hand_open_slow left 1; hand_open_halts left 1",
            "fits_with_cautions",
        ),
        # Where they could not, it stands in on that side, and on no other.
        ("finger_tap_slow each untestable", "open"),
        ("finger_tap_slow each untestable; hand_open_slow each 0", "fits"),
        (
            "finger_tap_slow right untestable; hand_open_slow right 0; finger_tap_slow left 0",
            "fits",
        ),
        (
            (
                "finger_tap_slow right untestable; hand_open_slow right 1; hand_open_halts right 1;"
                " finger_tap_slow left 0"
            ),
            "partial",
        ),
        (
            (
                "finger_tap_slow right untestable; hand_open_slow right 0; finger_tap_slow left 0;"
                " hand_open_slow left 1; hand_open_halts left 1"
            ),
            "fits_with_cautions",
        ),
    ],
)
def test_core_bradykinesia(text: str, level: str) -> None:
    """Finger taps decide; hand opening only where they could not be tested."""
    assert level == category("action_tremor", TREMOR + text).level


# ---- rigid: rigidity in both directions, the same at every speed, also when felt only on
# activation; the neck supports and decides nothing (postuma2015).

SLOW = "toe_tap_slow right 1; toe_tap_decrement right 1; rest_tremor_jaw 0;"
SLOW += " rest_tremor_hand each 0; rest_tremor_leg each 0; walking_tremor_hand each 0;"
SLOW += " posture_tremor each 0;"
RIGID = "LIMB_resistance right 1; LIMB_resistance_varies right no;"
RIGID += " LIMB_resistance_speed right same; LIMB_resistance_directions right both;"


@pytest.mark.parametrize(
    ("text", "level"),
    [
        (RIGID.replace("LIMB", "arm"), "fits"),
        (RIGID.replace("LIMB", "leg"), "fits"),
        (RIGID.replace("LIMB", "arm") + " arm_activation_only right yes", "fits"),
        ("arm_resistance each 0; leg_resistance each 0", "partial"),
        ("arm_resistance each 0; leg_resistance each 0; neck_resistance 3", "partial"),
        ("arm_resistance each 0; leg_resistance right 0", "open"),
    ],
)
def test_rigid(text: str, level: str) -> None:
    """Seen by parkinsonism, which then has bradykinesia and no tremor."""
    assert level == category("parkinsonism", SLOW + text).level


# ---- tremor of unknown onset, stiffness of unknown kind: core signs without their detail.


@pytest.mark.parametrize(
    ("text", "level"),
    [
        ("posture_tremor left 1", "open"),
        ("posture_tremor left 1; posture_tremor_onset left untestable", "open"),
        ("posture_tremor left 1; posture_tremor_onset left at_once", "not_supported"),
        ("posture_tremor left 1; posture_tremor_onset left delayed", "open"),
        ("posture_tremor left 0", "not_supported"),
        ("leg_resistance left 1", "open"),
        ("leg_resistance left 1; leg_resistance_varies left yes", "not_supported"),
        ("leg_resistance left 1; leg_resistance_varies left no", "open"),
        (
            "leg_resistance left 1; leg_resistance_varies left no; leg_resistance_speed left catch",
            "open",
        ),
        (
            (
                "leg_resistance left 1; leg_resistance_varies left no;"
                " leg_resistance_speed left catch; leg_resistance_directions left one"
            ),
            "not_supported",
        ),
        ("leg_resistance left 0", "not_supported"),
    ],
)
def test_a_sign_without_its_detail_points_and_does_not_decide(text: str, level: str) -> None:
    """Seen by parkinsonism, of which both are core signs."""
    assert level == category("parkinsonism", text).level


# ---- spastic: spasticity or mixed (lance1980: velocity dependence defines it)


@pytest.mark.parametrize(
    ("text", "level"),
    [
        ("directions left one", "fits"),
        ("directions left both", "fits"),
        # Known to be spastic of either kind, before the direction is.
        ("directions left untestable", "fits"),
    ],
)
def test_spastic(text: str, level: str) -> None:
    """Seen by the upper motor neuron pattern, which one spastic limb makes."""
    catch = "arm_resistance left 2; arm_resistance_varies left no; arm_resistance_speed left catch;"

    assert level == category("upper_motor_neuron", f"{catch} arm_resistance_{text}").level


# ---- recent: hx_years not known to be over 0.25


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("", "emergency"),
        ("hx_years untestable", "emergency"),
        ("hx_years 0", "emergency"),
        ("hx_years 0.25", "emergency"),
        ("hx_years 0.251", None),
        ("hx_years 6", None),
    ],
)
def test_recent_is_not_known_to_be_over_three_months(text: str, expected: str | None) -> None:
    """Seen by a sudden drift: an emergency on suspicion, which an answer withdraws."""
    assert expected == urgency("stroke_like", f"drift right 1; hx_onset sudden; {text}")
