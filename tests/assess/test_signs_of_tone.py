"""Derived signs of tone and ataxia, row by row of the contract (its section 2).

Each row is an exam of one side, in short, and what is derived on it; the source stands beside the
table. `None` is unknown.
"""

import pytest

from tests.assess.examined import assessed, derived, rows

# ---- tone kind: lance1980 (velocity dependence), postuma2015, hobbelen2006


@rows(
    ("arm_resistance SIDE 0", "normal"),
    ("arm_resistance SIDE 1; arm_resistance_varies SIDE yes", "paratonia"),
    # Varying comes first, whatever else was felt.
    (
        (
            "arm_resistance SIDE 2; arm_resistance_varies SIDE yes;"
            " arm_resistance_speed SIDE catch; arm_resistance_directions SIDE both"
        ),
        "paratonia",
    ),
    (
        (
            "arm_resistance SIDE 2; arm_resistance_varies SIDE no; arm_resistance_speed SIDE catch;"
            " arm_resistance_directions SIDE one"
        ),
        "spasticity",
    ),
    (
        (
            "arm_resistance SIDE 2; arm_resistance_varies SIDE no; arm_resistance_speed SIDE catch;"
            " arm_resistance_directions SIDE both"
        ),
        "mixed",
    ),
    (
        (
            "arm_resistance SIDE 2; arm_resistance_varies SIDE no; arm_resistance_speed SIDE same;"
            " arm_resistance_directions SIDE both"
        ),
        "rigidity",
    ),
    (
        (
            "arm_resistance SIDE 1; arm_resistance_varies SIDE no; arm_resistance_speed SIDE same;"
            " arm_resistance_directions SIDE both; arm_activation_only SIDE yes"
        ),
        "rigidity",
    ),
    (
        (
            "arm_resistance SIDE 2; arm_resistance_varies SIDE no; arm_resistance_speed SIDE same;"
            " arm_resistance_directions SIDE one"
        ),
        "unclear",
    ),
    # Unknown while a deciding answer is.
    ("arm_resistance SIDE 2", None),
    ("arm_resistance SIDE untestable", None),
    (
        (
            "arm_resistance SIDE 2; arm_resistance_speed SIDE same;"
            " arm_resistance_directions SIDE both"
        ),
        None,
    ),
    (
        "arm_resistance SIDE 2; arm_resistance_varies SIDE no; arm_resistance_speed SIDE catch",
        None,
    ),
    (
        "arm_resistance SIDE 2; arm_resistance_varies SIDE no; arm_resistance_directions SIDE both",
        None,
    ),
    # Without resistance it is normal, whatever detail was recorded: that is told as a conflict.
    ("arm_resistance SIDE 0; arm_resistance_speed SIDE catch", "normal"),
)
@pytest.mark.parametrize("limb", ["arm", "leg"])
def test_the_kind_of_tone(text: str, expected: str | None, side: str, limb: str) -> None:
    """Of arm and leg alike."""
    assert expected == derived(f"tone_{limb}", text.replace("arm_", f"{limb}_"), side)


# ---- limb ataxia: dysmetria or endpoint tremor (common practice, bodranghien2016)


@rows(
    ("dysmetria SIDE 1", True),
    ("endpoint_tremor SIDE 1", True),
    ("dysmetria SIDE 0", None),
    ("dysmetria SIDE 0; endpoint_tremor SIDE 0", False),
    ("dysmetria SIDE untestable; endpoint_tremor SIDE 0", None),
    ("dysmetria SIDE 0; endpoint_tremor SIDE 0; kinetic_tremor SIDE 3", False),
)
def test_limb_ataxia(text: str, expected: bool | None, side: str) -> None:
    """A tremor along the whole reach is none."""
    assert expected == derived("limb_ataxia", text, side)


# ---- gait ataxia: bodranghien2016


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("veering 1", True),
        ("base wide", True),
        ("tandem_walk unable", True),
        ("romberg unsteady_eyes_open", True),
        ("veering 0; base normal; tandem_walk able; romberg steady", False),
        ("veering 0; base narrow; tandem_walk sways; romberg worse_eyes_closed", False),
        ("veering 0; base normal; tandem_walk able", None),
        ("veering 0; base normal; tandem_walk untestable; romberg steady", None),
        # Many steps in a turn, and turning as one block, are neither.
        (
            (
                "turn_steps 9; turn_en_bloc 3;"
                " veering 0; base normal; tandem_walk able; romberg steady"
            ),
            False,
        ),
    ],
)
def test_gait_ataxia(text: str, expected: bool | None) -> None:
    """Staggering, a wide base, no tandem walk, or unsteady with the eyes open."""
    assert expected == assessed(text).derived["gait_ataxia"]
