"""A condition is said in plain words from the same tree that is evaluated.

How it is worded is the wording's own business; here stands what must hold of any wording.
"""

import re

import pytest

from app.knowledge.load import knowledge
from app.knowledge.words import condition_words, rule_words
from app.logic.parse import parse

KNOWN = knowledge()


def said(sentence: str) -> str:
    """A condition in words."""
    return condition_words(KNOWN.names.resolve(parse(sentence)), KNOWN)


@pytest.mark.parametrize("category", KNOWN.categories)
def test_the_rule_of_a_category_is_a_sentence(category: str) -> None:
    """It stands on screen beside the reasons."""
    words = rule_words(KNOWN.categories[category], KNOWN)

    assert words.lstrip("(")[0].isupper()
    assert words.endswith(".")


def test_every_condition_of_the_knowledge_can_be_said_without_an_id() -> None:
    """No rule is a blank where its words belong, and none reads like code."""
    for sentence, condition in KNOWN.conditions.items():
        words = condition_words(condition, KNOWN)

        assert words
        assert not re.search(r"_|[<>]", words), f"{sentence}: {words}"


@pytest.mark.parametrize(
    ("one", "another"),
    [
        ("any(drift)", "both(drift)"),
        ("hx_fever and hx_confusion", "hx_fever or hx_confusion"),
        (
            "hx_fever and (hx_confusion or hx_agitation)",
            "(hx_fever and hx_confusion) or hx_agitation",
        ),
        ("hx_fever", "not hx_fever"),
        ("hx_fever", "surely(hx_fever)"),
        ("at_least(2, hx_fever, hx_confusion, tics)", "at_least(1, hx_fever, hx_confusion, tics)"),
        ("tug_s > tug_slow", "tug_s >= tug_slow"),
        ("tug_s < tug_slow", "tug_s <= tug_slow"),
        ("tug_s > tug_slow", "tug_s > tug_at_risk"),
        ("any(drift and not other(drift))", "any(drift and not drift)"),
        ("base is wide", "base in (wide, narrow)"),
        ("known(hx_fever)", "hx_fever"),
        ("any(untestable(drift))", "any(known(drift))"),
        ("any(tone_arm is rigidity)", "any(tone_arm is paratonia)"),
        ("takes(dopamine_blocking)", "takes(dopamine_replacing)"),
    ],
)
def test_conditions_that_differ_are_said_differently(one: str, another: str) -> None:
    """A reader who checks a rule by its words must be able to see the difference."""
    assert said(one) != said(another)
