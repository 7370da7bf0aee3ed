"""Medicines in lines as typed: recognised by ingredient, near misses offered and never assumed.

The classes are the contract's (tests/contract/medicines.toml), which names its own sources.
"""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.assess.medicines import Formulary
from app.knowledge.load import knowledge
from app.logic.truth import NO, UNKNOWN, YES, Truth
from tests.assess.examined import assessed

FORMULARY = Formulary(knowledge().medicines)


def ingredients(*lines: str) -> list[str]:
    """What is recognised in these lines."""
    return [each.ingredient for each in FORMULARY.check(lines).recognised]


def near(line: str) -> tuple[str, ...]:
    """What is offered for a line in which nothing is recognised."""
    (offered,) = FORMULARY.check((line,)).not_recognised
    return offered.near


def takes(medicine_class: str, *lines: str) -> Truth:
    """Whether a medicine of a class is taken, by these lines."""
    return FORMULARY.check(lines).takes(medicine_class)


@pytest.mark.parametrize(
    ("line", "expected"),
    [
        # As lists are written.
        ("metoclopramide", ["metoclopramide"]),
        ("metoclopramide 10 mg three times daily", ["metoclopramide"]),
        ("METOCLOPRAMIDE 10MG TDS", ["metoclopramide"]),
        ("  Metoclopramide-10mg, as needed.", ["metoclopramide"]),
        ("Tab. haloperidol (0.5 mg)", ["haloperidol"]),
        ("haloperidol\t1 mg nocte", ["haloperidol"]),
        # With the salt.
        ("lithium carbonate 400 mg", ["lithium"]),
        ("morphine sulfate 10 mg", ["morphine"]),
        # Combined products, however they are joined.
        ("levodopa/carbidopa 100/25", ["levodopa", "carbidopa"]),
        ("Levodopa-benserazide", ["levodopa", "benserazide"]),
        ("levodopa + carbidopa + entacapone", ["levodopa", "carbidopa", "entacapone"]),
        ("carbidopa and levodopa", ["carbidopa", "levodopa"]),
        # Other spellings of one ingredient.
        ("salbutamol inhaler", ["salbutamol"]),
        ("albuterol inhaler", ["salbutamol"]),
        ("cyclosporine 50 mg", ["ciclosporin"]),
        ("cyclosporin 50 mg", ["ciclosporin"]),
        ("valproic acid 500 mg", ["valproate"]),
        ("divalproex 500 mg", ["valproate"]),
        ("sodium valproate", ["valproate"]),
        ("thyroxine 100", ["levothyroxine"]),
        ("flupenthixol depot", ["flupentixol"]),
        ("frusemide 40 mg", ["furosemide"]),
        # Names of several words.
        ("methylene blue", ["methylthioninium"]),
        ("glyceryl trinitrate spray", ["glyceryl trinitrate"]),
        ("nitroglycerin spray", ["glyceryl trinitrate"]),
        ("St John's wort tablets", ["st john's wort"]),
        ("St John’s Wort tablets", ["st john's wort"]),
        ("hypericum", ["st john's wort"]),
        # An ingredient that stands twice in a line is one.
        ("levodopa 100 mg, levodopa 200 mg", ["levodopa"]),
        # A part of a word is no medicine, and neither is part of a name of several words.
        ("lithiumfree", []),
        ("glyceryl", []),
        ("blue tablet", []),
        ("wort", []),
        ("acid reflux tablets", []),
        ("paracetamol 1 g", []),
        ("10 mg", []),
        ("?", []),
    ],
)
def test_ingredients_are_recognised_in_a_line_as_typed(line: str, expected: list[str]) -> None:
    """In any case, with doses, salts and signs between them."""
    assert expected == ingredients(line)


def test_every_ingredient_and_spelling_is_recognised_by_itself() -> None:
    """Each gives its one ingredient, with the classes in which it stands."""
    medicines = knowledge().medicines
    for each in medicines.classes.values():
        for ingredient in each.ingredients:
            assert [ingredient] == ingredients(ingredient)
            assert YES is takes(each.id, ingredient.upper())
            for spelling in medicines.spellings.get(ingredient, ()):
                assert [ingredient] == ingredients(spelling)


def test_an_ingredient_is_of_every_class_that_names_it() -> None:
    """Metoclopramide blocks dopamine, and can cause parkinsonism and tremor."""
    (found,) = FORMULARY.check(("metoclopramide 10 mg",)).recognised

    assert ("metoclopramide 10 mg", "metoclopramide") == (found.text, found.ingredient)
    assert ("parkinsonism_causing", "dopamine_blocking", "tremor_causing") == found.classes


# ---- near misses


@pytest.mark.parametrize(
    ("line", "offered"),
    [
        ("metoclopramde 10 mg", "metoclopramide"),
        ("haloperidole", "haloperidol"),
        ("levadopa", "levodopa"),
        ("amytriptyline 25 mg", "amitriptyline"),
        ("warfarine", "warfarin"),
        ("citaloprame", "citalopram"),
        ("10 mg codine", "codeine"),
    ],
)
def test_a_near_miss_is_offered(line: str, offered: str) -> None:
    """The nearest first, at most three."""
    assert offered == near(line)[0]
    assert len(near(line)) <= 3


@pytest.mark.parametrize(
    "line", ["paracetamol 1 g", "vitamin D", "x", "10 mg", "?", "the lot", "dopa"]
)
def test_what_is_like_nothing_offers_nothing(line: str) -> None:
    """A wild guess would be worse than none."""
    assert () == near(line)


@pytest.mark.parametrize("line", ["metoclopramde 10 mg", "haloperidole", "levadopa"])
def test_a_near_miss_is_never_assumed(line: str) -> None:
    """It leaves every class unknown, as any line does that was not recognised."""
    for each in knowledge().medicine_classes:
        assert UNKNOWN is takes(each, line)


def test_what_is_offered_is_a_name_that_is_recognised() -> None:
    """So that taking it over settles the line."""
    for line in ("metoclopramde", "cyclosporne", "valproic acd", "st jons wort", "nitroglycerine"):
        for name in near(line):
            assert len(ingredients(name)) == 1


# ---- whether a class is taken


@pytest.mark.parametrize(
    ("lines", "truth"),
    [
        ((), NO),
        (("haloperidol",), YES),
        (("warfarin",), NO),
        (("warfarin", "haloperidol 1 mg"), YES),
        # A line that is not recognised may be anything.
        (("little white tablet",), UNKNOWN),
        (("warfarin", "little white tablet"), UNKNOWN),
        (("haloperidol", "little white tablet"), YES),
        # A line with one ingredient that is recognised counts as recognised.
        (("levodopa/carbidopa 100/25",), NO),
    ],
)
def test_whether_a_medicine_of_a_class_is_taken(lines: tuple[str, ...], truth: Truth) -> None:
    """An empty list is none; a line that was not recognised leaves the answer unknown."""
    assert truth is takes("dopamine_blocking", *lines)


def test_a_list_that_nobody_recorded_is_unknown() -> None:
    """Not asked is not none."""
    unasked = FORMULARY.check(None)

    assert ((), ()) == (unasked.recognised, unasked.not_recognised)
    for each in knowledge().medicine_classes:
        assert UNKNOWN is unasked.takes(each)


def test_one_ingredient_can_be_asked_for_by_name() -> None:
    """The chorea rule asks for levodopa, which is more than its class."""
    assert YES is takes("levodopa", "levodopa/carbidopa")
    assert NO is takes("levodopa", "pramipexole")
    assert UNKNOWN is takes("levodopa", "white tablet")


def test_the_assessment_tells_what_was_recognised_and_what_was_not() -> None:
    """In the order of the lines, a combined product once for each ingredient."""
    told = assessed(medicines=["levodopa/carbidopa", "metoclopramde", "warfarin"]).as_json()

    assert {
        "recognised": [
            {
                "text": "levodopa/carbidopa",
                "ingredient": "levodopa",
                "classes": ["dopamine_replacing"],
            },
            {
                "text": "levodopa/carbidopa",
                "ingredient": "carbidopa",
                "classes": ["dopamine_replacing"],
            },
            {"text": "warfarin", "ingredient": "warfarin", "classes": ["anticoagulant"]},
        ],
        "not_recognised": [{"text": "metoclopramde", "near": ["metoclopramide"]}],
    } == told["medicines"]


@given(st.lists(st.text(max_size=30), max_size=3).map(tuple))
def test_any_lines_are_recognised_or_told_as_not(lines: tuple[str, ...]) -> None:
    """Each line ends in one of the two lists, whatever somebody typed."""
    found = FORMULARY.check(lines)
    recognised = dict.fromkeys(each.text for each in found.recognised)

    assert set(lines) == {*recognised, *(each.text for each in found.not_recognised)}
    assert set(recognised).isdisjoint(each.text for each in found.not_recognised)
