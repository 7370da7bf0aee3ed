"""Every name in a condition is checked when the knowledge is loaded, wherever the condition stands.

The requirement of a small category is exchanged for a wrong one, and the message stands here whole.
"""

import pytest

from app.knowledge.load import knowledge, load_knowledge
from tests.knowledge.conftest import Copy

WRITE = "write any(…) or both(…)"
WRONG = {
    # Names.
    "ticks": "ticks is not a finding, sign or quantity",
    "any(drifft)": "drifft is not a finding, sign or quantity",
    "tics and sudden": "sudden is not a finding, sign or quantity",
    # Sides.
    "drift": f"drift is recorded on each side: {WRITE}",
    "tics or not drift": f"drift is recorded on each side: {WRITE}",
    "spastic": f"spastic is judged on each side: {WRITE}",
    "tone_arm is normal": f"tone_arm:normal is judged on each side: {WRITE}",
    "any(both(drift))": "any(…) and both(…) cannot stand where a side is given",
    "any(drift and any(clonus))": "any(…) and both(…) cannot stand where a side is given",
    "both(tics)": "nothing inside any(…) or both(…) is judged on a side",
    "any(gait_ataxia)": "nothing inside any(…) or both(…) is judged on a side",
    "other(drift)": "other(…) needs a side: put it inside any(…) or both(…)",
    # What is said of a name.
    "rise": "rise is not present or absent: compare its value",
    "turn_steps": "turn_steps is not present or absent: compare its value",
    "tics is wide": "tics has no choices: it is a grade",
    "hx_fever in (wide)": "hx_fever has no choices: it is a yesno",
    "base is broad": "broad is not a value of base: normal, narrow, wide",
    "base in (wide, broad)": "broad is not a value of base: normal, narrow, wide",
    "recent is wide": "recent is a sign: it stands alone, without `is`",
    "known(recent)": "recent is a sign: it stands alone, without `known`",
    "parkinsonism_fits is wide": "parkinsonism_fits is a sign: it stands alone, without `is`",
    "any(tone_arm)": "tone_arm has values: write `tone_arm is normal`",
    "any(tone_arm is soft)": "tone_arm has values: write `tone_arm is normal`",
    # Comparisons.
    "tics >= severe": "tics is a grade: compare it with none, slight, definite, marked",
    "tics > walk_slow": "tics is a grade: compare it with none, slight, definite, marked",
    "hx_years > definite": "definite is not a threshold or norm",
    "hx_years > many_years": "many_years is not a threshold or norm",
    "base > walk_slow": "base is not a grade, count, number or quantity",
    "speed < walk_slow": "speed is not a grade, count, number or quantity",
    "hx_years > 3": "a number needs a name: put it among the thresholds, with its source\n"
    "  hx_years > 3\n             ^",
    # Functions.
    "feels(drift)": "feels() is not a function; use known, untestable or takes",
    "known(nothing)": "known(nothing): nothing is not a finding, kind or quantity",
    "untestable(walking_speed_m_per_s)": "untestable(walking_speed_m_per_s): "
    "walking_speed_m_per_s is not a finding",
    "takes(sugar)": "sugar is not a medicine class: parkinsonism_causing, dopamine_blocking, "
    "dopamine_depleting, dopamine_replacing, tremor_causing, ataxia_causing, serotonergic, "
    "anticoagulant, fall_risk_increasing",
    # Grammar.
    "tics and drift or base": "`and` and `or` side by side need brackets\n"
    "  tics and drift or base\n                 ^",
}


@pytest.mark.parametrize("sentence", WRONG)
def test_a_requirement_that_cannot_be_is_told_with_its_place(copy: Copy, sentence: str) -> None:
    """File, rule, key, and what is wrong with it."""
    copy.change("categories/tics.toml", 'requires = "tics"', f'requires = "{sentence}"')

    assert f"categories/tics.toml: tics: requires: {WRONG[sentence]}" == copy.fault()


RIGHT = [
    "any(drift)",
    "both(drift and not other(clonus))",
    "any(spastic) or gait_ataxia",
    "any(tone_arm is rigidity) and any(known(tone_leg))",
    "age > copper_age",
    "walking_speed_m_per_s <= walk_slow",
    "known(walking_speed_m_per_s)",
    "stands_30s < chair_stands_30s",
    "any(untestable(finger_tap_slow))",
    "takes(anticoagulant)",
    "takes(levodopa)",
    "arms_equal",
    "chorea_fits or flap_raised",
    "surely(tics >= definite)",
    "at_least(2, tics, base is wide, rise in (unable, falls_back))",
]


@pytest.mark.parametrize("sentence", RIGHT)
def test_a_requirement_that_can_be_is_taken(copy: Copy, sentence: str) -> None:
    """One of each form that the knowledge may use."""
    copy.change("categories/tics.toml", 'requires = "tics"', f'requires = "{sentence}"')

    assert sentence in load_knowledge(copy.folder).conditions


# Where else a condition can stand: file, what stands there, the key that is named.
PLACES = {
    "core": ("categories/tics.toml", 'core = ["tics"]', 'core = ["drift"]', "tics: core"),
    "caution": (
        "categories/sensory_ataxia.toml",
        'when = "nystagmus"',
        'when = "drift"',
        "sensory_ataxia: caution",
    ),
    "qualifier": (
        "categories/neuromuscular_weakness.toml",
        'when = "hip_waddle"',
        'when = "drift"',
        "neuromuscular_weakness: qualifier proximal",
    ),
    "step": (
        "categories/dystonia.toml",
        'when = "takes(parkinsonism_causing)"',
        'when = "drift"',
        "dystonia: step review_medicines",
    ),
    "signs of a warning": (
        "warnings/swallowing.toml",
        'signs = "hx_swallowing"',
        'signs = "drift"',
        "swallowing: signs",
    ),
    "context of a warning": (
        "warnings/after_head_injury.toml",
        'context = "hx_head_injury"',
        'context = "drift"',
        "after_head_injury: context",
    ),
    "tier of a warning": (
        "warnings/flap.toml",
        'when = "hx_confusion"',
        'when = "drift"',
        "flap: tier emergency",
    ),
    "qualifier of a warning": (
        "warnings/orthostatic_drop.toml",
        'when = "neurogenic_fall"',
        'when = "drift"',
        "orthostatic_drop: qualifier neurogenic",
    ),
    "branch": ("fall_risk.toml", 'when = "slow_walk"', 'when = "drift"', "fall_risk: branch "),
    "hazard": ("fall_risk.toml", 'when = "freezing"', 'when = "drift"', "freezing: when"),
    "step of the falls group": (
        "fall_risk.toml",
        'when = "fall_known and takes(fall_risk_increasing)"',
        'when = "drift"',
        "fall_risk: step review_medicines",
    ),
    "step by itself": (
        "steps.toml",
        'when = "hx_memory"',
        'when = "drift"',
        "check_cognition: follows",
    ),
    "single sign": ("signs.toml", 'when = "step_length in', 'when = "drift or step_length in', ""),
}


@pytest.mark.parametrize(("file", "old", "new", "place"), PLACES.values(), ids=PLACES.keys())
def test_a_condition_is_checked_wherever_it_stands(
    copy: Copy, file: str, old: str, new: str, place: str
) -> None:
    """No corner of the knowledge is read less strictly than another."""
    copy.change(file, old, new)
    said = copy.fault()

    assert said.startswith(f"{file}: {place}")
    assert said.endswith(f"drift is recorded on each side: {WRITE}")


def test_a_paired_conflict_is_judged_on_a_side(copy: Copy) -> None:
    """A single one is not."""
    assert any(rule.paired for rule in knowledge().conflicts)

    copy.change("conflicts.toml", "paired = true\n", "")

    assert copy.fault().endswith(f"is recorded on each side: {WRITE}")
