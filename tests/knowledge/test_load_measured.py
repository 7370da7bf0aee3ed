"""What measured.toml may not say; each message stands here whole."""

import pytest

from app.knowledge.load import knowledge
from tests.knowledge.conftest import Copy

WRONG = {
    "a row that is no finding": (
        'at = "tandem_stand_s"',
        'at = "tandem"',
        "measured.toml: tandem: at: tandem is not a count or number without sides",
    ),
    "a row with sides": (
        'at = "tandem_stand_s"',
        'at = "taps_10s"',
        "measured.toml: tandem: at: taps_10s is not a count or number without sides",
    ),
    "a number that nobody works out": (
        'number = "stride_m"',
        'number = "step_m"',
        (
            "measured.toml: stride: number: step_m is not worked out; expected "
            "walking_speed_m_per_s, cadence_per_min, stride_m, systolic_fall, diastolic_fall, "
            "heart_rate_ratio"
        ),
    ),
    "a norm that is not there": (
        'norm = "usual_walking_speed"',
        'norm = "fast_walking_speed"',
        "measured.toml: walking_speed_mean: norm: fast_walking_speed is not in norms.toml",
    ),
    "a bare number": (
        'when = "tug_s >= tug_at_risk"',
        'when = "tug_s >= twelve"',
        "measured.toml: tug_at_risk: when: twelve is not a threshold or norm",
    ),
    "more than one comparison": (
        'when = "tug_s >= tug_at_risk"',
        'when = "tug_s >= tug_at_risk and tug_s > tug_slow"',
        "measured.toml: tug_at_risk: when: expected one comparison, as `tug_s >= tug_at_risk`",
    ),
    "a threshold without standing": (
        'says = "Raised risk of falls"\nstanding = "memory"',
        'says = "Raised risk of falls"',
        "measured.toml: tug_at_risk: standing: expected beside a threshold, and not beside a norm",
    ),
    "a norm with a standing of its own": (
        'says = "Below average"',
        'says = "Below average"\nstanding = "read"',
        "measured.toml: chair_stands: standing: expected beside a threshold, and not beside a norm",
    ),
    "a comparison that says nothing": (
        'says = "Below average"',
        "",
        (
            "measured.toml: chair_stands: Value error, expected says beside when or norm, "
            "and nowhere else"
        ),
    ),
    "a number and a comparison": (
        'number = "cadence_per_min"',
        'number = "cadence_per_min"\nwhen = "tug_s > tug_slow"\nsays = "Slow"',
        "measured.toml: cadence: Value error, expected number or when, and not both",
    ),
    "a norm of nothing": (
        'number = "walking_speed_m_per_s"\nnorm = "usual_walking_speed"',
        'when = "tug_s > tug_slow"\nnorm = "usual_walking_speed"',
        "measured.toml: walking_speed_mean: Value error, expected number beside norm",
    ),
    "a key that is not known": (
        'number = "cadence_per_min"',
        'number = "cadence_per_min"\nunit = "steps"',
        "measured.toml: cadence: unit: Extra inputs are not permitted",
    ),
}


@pytest.mark.parametrize("wrong", WRONG)
def test_a_faulty_line_stops_the_program(copy: Copy, wrong: str) -> None:
    """And the message names file, line and key."""
    old, new, expected = WRONG[wrong]
    copy.change("measured.toml", old, new)

    assert expected == copy.fault()


def test_a_figure_without_a_source_is_named() -> None:
    """By what it is called after, and it is from memory or common practice."""
    known = knowledge()
    for line in known.measured.values():
        compared = known.conditions[line.when] if line.when else None
        operands = getattr(compared, "operands", ())
        if operands and operands[0] in known.thresholds:
            has_source = known.thresholds[operands[0]].source is not None

            assert has_source == (not line.named), line.id
            assert has_source or line.standing in ("memory", "common practice"), line.id


def test_a_line_says_what_the_rules_compare_with() -> None:
    """The sheet and the rules cannot part: each comparison is one that a rule makes too."""
    known = knowledge()
    rules = " ".join(
        [
            *(sign.when for sign in known.signs.values()),
            *(hazard.when for hazard in known.hazards.values()),
        ]
    )
    for line in known.measured.values():
        assert line.when is None or line.when in rules, line.id
