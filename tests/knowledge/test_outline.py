"""A condition as a list says the same as the condition in one sentence."""

import pytest

from app.knowledge.linked import Term, capital, capital_words, join, lower_words, plain
from app.knowledge.load import knowledge
from app.knowledge.outline import Outline, outline
from app.knowledge.words import unit_words, words_of
from app.logic.parse import parse

KNOWN = knowledge()


def read(sentence: str) -> Outline:
    """A condition as a list."""
    return outline(KNOWN.names.resolve(parse(sentence), frozenset(KNOWN.definitions)), KNOWN)


def drawn(told: Outline, depth: int = 0) -> list[str]:
    """The list as it looks, a step in for each level."""
    lines = [f"{'  ' * depth}{plain(told.words)}"]
    return [*lines, *(line for item in told.items for line in drawn(item, depth + 1))]


LISTS = {
    # One statement is a list of one line.
    "hx_fever": ["Fever"],
    "not hx_fever": ["No fever"],
    "any(known(tone_leg))": ["Tone of the leg known on either side"],
    "any(not known(tone_leg))": ["Tone of the leg not known on either side"],
    # What is joined stands one step in.
    "hx_fever and hx_confusion": ["All of:", "  Fever", "  New confusion"],
    "hx_fever or hx_confusion": ["One or more of:", "  Fever", "  New confusion"],
    "at_least(1, hx_fever, hx_confusion)": ["One or more of:", "  Fever", "  New confusion"],
    "at_least(2, hx_fever, hx_confusion)": ["At least 2 of:", "  Fever", "  New confusion"],
    "hx_fever and (hx_confusion or hx_agitation)": [
        "All of:", "  Fever", "  One or more of:", "    New confusion", "    Agitation",
    ],
    # What is denied as a whole says so at its head.
    "not (hx_fever and hx_confusion)": ["Not all of:", "  Fever", "  New confusion"],
    "not (hx_fever or hx_confusion)": ["None of:", "  Fever", "  New confusion"],
    "not at_least(2, hx_fever, hx_confusion)": ["Fewer than 2 of:", "  Fever", "  New confusion"],
    # One side for all of it.
    "any(drift and not other(clonus))": [
        "On the right or on the left, all of:",
        "  Pronator drift",
        "  No clonus on the other side",
    ],
    "both(drift or clonus)": ["On each side, one or more of:", "  Pronator drift", "  Clonus"],
    "any(drift and other(hoffmann or clonus))": [
        "On the right or on the left, all of:",
        "  Pronator drift",
        "  On the other side, one or more of:",
        "    Hoffmann sign",
        "    Clonus",
    ],
}  # fmt: skip


@pytest.mark.parametrize("sentence", LISTS)
def test_a_condition_as_a_list(sentence: str) -> None:
    """Each line a statement, or how the lines under it are joined."""
    assert LISTS[sentence] == drawn(read(sentence))


def test_every_condition_of_the_knowledge_can_be_listed_without_an_id() -> None:
    """A line begins with a capital and holds no name of the files."""
    for sentence, expression in KNOWN.conditions.items():
        for line in drawn(outline(expression, KNOWN)):
            words = line.strip()
            assert "_" not in words, sentence
            assert words.strip("“(")[0].isupper() or words.strip("“(")[0].isdigit(), words


# ---- words keep what they name

NAMED = {
    "any(spastic)": [("signs", "spastic")],
    "any(tone_arm is rigidity)": [("signs", "tone_arm")],
    "arms_equal": [("signs", "arms_equal")],
    "parkinsonism_fits": [("categories", "parkinsonism")],
    "parkinsonism_listed": [("categories", "parkinsonism")],
    "not surely(cord_compression_raised)": [("warnings", "cord_compression")],
    "not cord_compression_raised": [("warnings", "cord_compression")],
    "takes(anticoagulant)": [("medicines", "anticoagulant")],
    "takes(levodopa)": [],
    "hx_years < essential_years": [("thresholds", "essential_years")],
    "hx_falls_12m < one_fall": [("thresholds", "one_fall")],
    "stands_30s < chair_stands_30s": [("norms", "chair_stands_30s")],
    "any(drift >= definite)": [],
    "any(not known(tone_arm))": [("signs", "tone_arm")],
    "hx_fever": [],
}


@pytest.mark.parametrize("sentence", NAMED)
def test_words_carry_what_they_name(sentence: str) -> None:
    """So that a page can make a link of it."""
    words = words_of(KNOWN.names.resolve(parse(sentence), frozenset(KNOWN.definitions)), KNOWN)

    assert NAMED[sentence] == [(term.group, term.id) for term in words if term.group]


DENIED = {
    "not both(drift)": "not on both sides: pronator drift",
    "not takes(anticoagulant)": "no medicine that thins the blood",
    "not hx_unsteady": "not “feels unsteady standing or walking”",
    "not any(finger_tap_slow)": "not “finger taps: slow” on either side",
    "not base is wide": "distance between the feet: not wide",
    "not known(pull_test)": "pull test not recorded",
    "not untestable(pull_test)": "pull test not recorded as untestable",
    "not surely(hx_fall_injury)": "not known: “a fall needed medical care”",
    "not surely(flap_raised)": "the warning “flapping of the hands” is not raised",
    "not tics_fits": "the pattern “tics” does not fit",
    "not tics_cautioned": "not “the pattern “tics” has a caution”",
    "not (hx_fever or hx_confusion)": "none of: fever; new confusion",
    "not at_least(2, hx_fever, hx_confusion)": "fewer than 2 of: fever; new confusion",
    "surely(hx_fever and hx_confusion)": "known: (fever, and new confusion)",
}


@pytest.mark.parametrize("sentence", DENIED)
def test_what_is_denied_reads_as_english(sentence: str) -> None:
    """A label that says something is put in quotation marks; “no” stands before a noun only."""
    words = words_of(KNOWN.names.resolve(parse(sentence), frozenset(KNOWN.definitions)), KNOWN)

    assert DENIED[sentence] == plain(words)


def test_words_in_a_row_run_together_where_nothing_is_named() -> None:
    """A link stays a term of its own."""
    link = Term("rigid limb", "signs", "rigid")

    assert (Term("no "), link, Term(" on either side")) == join(
        "no ", (link,), " on ", "either side"
    )


def test_letters_large_and_small() -> None:
    """After a bracket or quotation mark too; people keep their capital."""
    assert "(“Fever”" == capital("(“fever”")
    assert "" == capital("")
    assert "Fever" == plain(capital_words((Term("fever"),)))
    assert "fever" == plain(lower_words((Term("Fever"),)))
    assert "Hoffmann sign" == plain(lower_words((Term("Hoffmann sign"),)))


def test_units_are_written_as_on_paper() -> None:
    """The codes are for machines."""
    assert "mmHg" == unit_words("mm[Hg]")
    assert "beats a minute for each mmHg" == unit_words("/min per mm[Hg]")
    assert "m/s" == unit_words("m/s")
