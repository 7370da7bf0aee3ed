"""What is added to the knowledge is checked as strictly as what is changed (test_load.py).

Each test adds one thing to a copy of the real knowledge, and the message stands here whole.
"""

from textwrap import dedent

import pytest

from tests.knowledge.conftest import Copy

ADDED = {
    "two rules with one id": (
        "signs.toml",
        """
        [[sign]]
        id = "spastic"
        label = "Spastic"
        sides = "one"
        when = "tics"
        support = []
        """,
        "signs.toml: spastic: this id stands twice; give one another id",
    ),
    "a sign with the name of a finding": (
        "signs.toml",
        """
        [[sign]]
        id = "drift"
        label = "Drift"
        sides = "one"
        when = "tics"
        support = []
        """,
        "signs.toml: drift: this name stands for something else",
    ),
    "a sign with the name of what a category gives": (
        "signs.toml",
        """
        [[sign]]
        id = "tics_fits"
        label = "Tics fit"
        sides = "one"
        when = "tics"
        support = []
        """,
        "categories/tics.toml: tics: requires: the name tics_fits stands twice",
    ),
    "a sign that is defined by itself": (
        "signs.toml",
        """
        [[sign]]
        id = "egg"
        label = "Egg"
        sides = "one"
        when = "tics or hen"
        support = []

        [[sign]]
        id = "hen"
        label = "Hen"
        sides = "one"
        when = "tics and not egg"
        support = []
        """,
        "signs.toml: egg: when: defined by itself: egg needs hen needs egg",
    ),
    "a sign without an id": (
        "signs.toml",
        """
        [[sign]]
        label = "Nameless"
        sides = "one"
        when = "tics"
        support = []
        """,
        "signs.toml: ?: id: Field required",
    ),
    "a source that is not there": (
        "categories/tics.toml",
        """
        [[support]]
        source = "nobody2020"
        claim = "Invented for this test."
        standing = "memory"
        """,
        "categories/tics.toml: tics: source nobody2020: is not in sources.toml",
    ),
    "a caution's source that is not there": (
        "categories/tics.toml",
        """
        [[caution]]
        when = "hx_fever"
        says = "Invented for this test"
        support = [{ source = "nobody2020", claim = "Invented.", standing = "memory" }]
        """,
        "categories/tics.toml: tics: source nobody2020: is not in sources.toml",
    ),
    "a step that is not there": (
        "categories/tics.toml",
        """
        [[step]]
        id = "take_a_walk"
        at = "fits"
        """,
        "categories/tics.toml: step take_a_walk: is not in steps.toml",
    ),
    "a qualifier that is not there": (
        "categories/tics.toml",
        """
        [[step]]
        id = "refer_neurology"
        at = "fits"
        qualifier = "severe"
        """,
        "categories/tics.toml: step refer_neurology: there is no qualifier severe",
    ),
    "two tiers of one urgency": (
        "warnings/swallowing.toml",
        """
        [[tier]]
        urgency = "soon"
        """,
        "warnings/swallowing.toml: swallowing: tier soon: the name swallowing_soon stands twice",
    ),
    "a last branch that need not hold": (
        "fall_risk.toml",
        """
        [[branch]]
        level = "open"
        urgency = "routine"
        says = "Invented for this test."
        when = "tics"
        """,
        "fall_risk.toml: branch: the last one must hold always, without when",
    ),
    "a conflict of something that is no finding": (
        "conflicts.toml",
        """
        [[conflict]]
        findings = ["tics", "tocks"]
        when = "tics"
        says = "Invented for this test."
        """,
        "conflicts.toml: Invented for this test.: findings: tocks is not a finding",
    ),
    "a conflict without findings": (
        "conflicts.toml",
        """
        [[conflict]]
        when = "tics"
        says = "Invented for this test."
        """,
        "conflicts.toml: findings: Field required",
    ),
    "a file that nobody expects": (
        "categories/extra.toml",
        'id = "extra"',
        "categories/extra.toml: is not listed in index.toml",
    ),
}


@pytest.mark.parametrize(("file", "lines", "said"), ADDED.values(), ids=ADDED.keys())
def test_an_addition_that_breaks_it_is_told(copy: Copy, file: str, lines: str, said: str) -> None:
    """In the same words, whichever file it stands in."""
    copy.add(file, dedent(lines))

    assert said == copy.fault()
