"""What watches.toml may not say; each message stands here whole."""

import pytest

from tests.knowledge.conftest import Copy

SECONDS = (
    "Value error, expected no seconds for a stopwatch, one number for a count, "
    "rising ones for a reminder"
)
WRONG = {
    "a finding that is not there": (
        "[watch.tug_s]",
        "[watch.tug]",
        "watches.toml: tug: kind: a stopwatch stands beside a finding that is a number",
    ),
    "a count beside what is no count": (
        "[watch.stands_30s]",
        "[watch.lying_sys]",
        "watches.toml: lying_sys: kind: a count stands beside a finding that is a count",
    ),
    "a stopwatch beside what is not in seconds": (
        "[watch.tug_s]",
        "[watch.walk_m]",
        "watches.toml: walk_m: kind: a stopwatch gives seconds",
    ),
    "a kind that is not known": (
        'kind = "reminder"',
        'kind = "alarm"',
        "watches.toml: standing_sys: kind: Input should be 'stopwatch', 'count' or 'reminder'",
    ),
    "a count without an end": (
        'kind = "count"\nseconds = [10]\nstanding = "common practice"',
        'kind = "count"',
        f"watches.toml: taps_10s: {SECONDS}",
    ),
    "reminders that go back": (
        "seconds = [60, 180]",
        "seconds = [180, 60]",
        f"watches.toml: standing_sys: {SECONDS}",
    ),
    "a time of nothing": (
        "seconds = [10]",
        "seconds = [0]",
        "watches.toml: taps_10s: seconds.0: Input should be greater than 0",
    ),
    "a second count in a count": (
        'kind = "count"\nseconds = [10]',
        'kind = "count"\ncounts = "walk_steps"\nseconds = [10]',
        "watches.toml: taps_10s: Value error, expected counts beside a stopwatch only",
    ),
    "steps that are no count": (
        'counts = "walk_steps"',
        'counts = "walk_m"',
        "watches.toml: walk_s: counts: walk_m is not a count without sides",
    ),
    "seconds of unknown standing": (
        'source = "cdc_steadi"\nstanding = "secondary"',
        'source = "cdc_steadi"',
        "watches.toml: stands_30s: Value error, expected standing beside seconds, and nowhere else",
    ),
    "seconds from nowhere": (
        'standing = "common practice"',
        'standing = "read"',
        ("watches.toml: taps_10s: Value error, expected a source, or the standing common practice"),
    ),
    "a source that is not there": (
        'source = "cdc_steadi"',
        'source = "steadi"',
        "watches.toml: stands_30s: source steadi: is not in sources.toml",
    ),
}


@pytest.mark.parametrize("wrong", WRONG)
def test_a_faulty_watch_stops_the_program(copy: Copy, wrong: str) -> None:
    """And the message names file, watch and key."""
    old, new, expected = WRONG[wrong]
    copy.change("watches.toml", old, new)

    assert expected == copy.fault()
