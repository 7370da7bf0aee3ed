"""Every example of the contract: an exam, and the conclusions that it must give.

The cases stand in tests/contract/cases.ndjson, each with its published source. What an example does
not speak of may come out either way.
"""

import json
from collections.abc import Callable, Iterator
from functools import cache
from pathlib import Path
from typing import Any

import pytest

from app.assess.assess import assess
from app.exam.faults import BadExam
from app.exam.reading import parse_exam
from app.knowledge.load import knowledge

FILE = Path(__file__).parents[1] / "contract" / "cases.ndjson"
CASES = [json.loads(line) for line in FILE.read_text(encoding="utf-8").splitlines()]

Json = dict[str, Any]
Held = Callable[[Json, Any], Iterator[str]]


def told(case: Json) -> tuple[Json, list[str]]:
    """The assessment of a case's exam, or the places of its faults."""
    return _told(json.dumps(case["exam"]))


@cache
def _told(text: str) -> tuple[Json, list[str]]:
    try:
        exam = parse_exam(text)
    except BadExam as refused:
        return {}, [fault.split(": ")[0] for fault in refused.faults]
    return assess(exam, knowledge()).as_json(every_category=True), []


def one(listed: list[Json], name: str) -> Json:
    """The category or warning of that id; empty where it is not there."""
    return next((each for each in listed if each["id"] == name), {})


def ids(listed: list[Json]) -> set[str]:
    """The ids of a list."""
    return {each["id"] for each in listed}


def cells(reasons: list[Json]) -> set[tuple[str | None, str | None]]:
    """The findings of a list of reasons, each with its side."""
    return {(each.get("finding"), each.get("side")) for each in reasons}


def medicines(reasons: list[Json]) -> set[str | None]:
    """The medicines of a list of reasons."""
    return {each.get("medicine") for each in reasons}


# Each of these gives a line for everything that is not as the case expects it.


def each_category(key: str, wanted: bool, of: Callable[[Any], set[Any]]) -> Held:
    """For each category (or fall_risk): these are all in a list of it, or none of them is."""

    def unmet(found: Json, expected: dict[str, list[Any]]) -> Iterator[str]:
        listed = found["categories"] + found["warnings"]
        for name, names in expected.items():
            here = of(one(listed, name)[key])
            for each in names:
                each = tuple(each) if isinstance(each, list) else each
                if (each in here) != wanted:
                    yield f"{name} {key}: {'no' if wanted else 'also'} {each} in {here}"

    return unmet


def each_warning(of: Callable[[Any], set[Any]]) -> Held:
    """For each warning: these are all among what it rests on."""

    def unmet(found: Json, expected: dict[str, list[Any]]) -> Iterator[str]:
        for name, names in expected.items():
            here = of(one(found["warnings"], name).get("because", []))
            for each in names:
                if (tuple(each) if isinstance(each, list) else each) not in here:
                    yield f"{name} because: no {each} in {here}"

    return unmet


def one_of(group: str, key: str) -> Held:
    """For each category or warning: one of these values stands under a key."""

    def unmet(found: Json, expected: dict[str, list[Any]]) -> Iterator[str]:
        for name, values in expected.items():
            here = one(found[group], name).get(key, "missing")
            if here not in values:
                yield f"{name} {key}: {here}, not one of {values}"

    return unmet


def members(of: Callable[[Json], set[Any]], wanted: bool = True) -> Held:
    """These are all in a set, or none of them is."""

    def unmet(found: Json, expected: list[Any]) -> Iterator[str]:
        here = of(found)
        for each in expected:
            if (each in here) != wanted:
                yield f"{'no' if wanted else 'also'} {each} in {sorted(here)}"

    return unmet


def levels(*wrong: str) -> Callable[[Json], set[str]]:
    """The categories at one of these levels."""
    return lambda found: {c["id"] for c in found["categories"] if c["level"] in wrong}


def first_asked(found: Json, expected: list[str]) -> Iterator[str]:
    """What is asked for first, in this order."""
    here = [each["finding"] for each in found["check_next"]][: len(expected)]
    if here != expected:
        yield f"asks {here} first, not {expected}"


def told_conflicts(found: Json, expected: list[list[str]]) -> Iterator[str]:
    """These contradictions are told; an empty list says that there is none."""
    here = [each["findings"] for each in found["conflicts"]]
    if any(each not in here for each in expected) or (here and not expected):
        yield f"conflicts {here}, not {expected}"


def signs(found: Json, expected: Json) -> Iterator[str]:
    """Derived signs, each or only on the sides named."""
    for name, value in expected.items():
        here = found["derived"][name]
        if isinstance(value, dict):
            here = {side: here[side] for side in value}
        if here != value:
            yield f"{name} is {here}, not {value}"


CHECKS: dict[str, Held] = {
    "levels": one_of("categories", "level"),
    "sides": one_of("categories", "side"),
    "qualifiers": each_category("qualifiers", True, set),
    "no_qualifiers": each_category("qualifiers", False, set),
    "for": each_category("for", True, cells),
    "not_for": each_category("for", False, cells),
    "missing": each_category("missing", True, cells),
    "against": each_category("against", True, cells),
    "against_medicine": each_category("against", True, medicines),
    "not_listed": members(levels("fits", "fits_with_cautions", "partial", "open"), False),
    "not_fits": members(levels("fits", "fits_with_cautions"), False),
    "warnings": members(lambda found: ids(found["warnings"])),
    "no_warnings": members(lambda found: ids(found["warnings"]), False),
    "urgency": one_of("warnings", "urgency"),
    "because": each_warning(cells),
    "because_medicine": each_warning(medicines),
    "hazards": members(lambda found: ids(found["hazards"])),
    "steps": members(lambda found: ids(found["next_steps"])),
    "no_steps": members(lambda found: ids(found["next_steps"]), False),
    "asked": members(lambda found: {each["finding"] for each in found["check_next"]}),
    "not_asked": members(lambda found: {each["finding"] for each in found["check_next"]}, False),
    "asks": first_asked,
    "unexplained": members(lambda found: {each["finding"] for each in found["unexplained"]}),
    "not_unexplained": members(
        lambda found: {each["finding"] for each in found["unexplained"]}, False
    ),
    "conflicts": told_conflicts,
    "derived": signs,
    "recognised": members(
        lambda found: {each["ingredient"] for each in found["medicines"]["recognised"]}
    ),
    "fall_risk": lambda found, expected: one_of("warnings", "level")(
        found, {"fall_risk": expected}
    ),
}


@pytest.mark.parametrize("case", CASES, ids=[f"{each['case']} {each['title']}" for each in CASES])
def test_the_example_gives_what_the_contract_says(case: Json, subtests: pytest.Subtests) -> None:
    """One example, key by key of what it expects."""
    found, faults = told(case)
    expected = case["expect"]

    assert sorted(expected.get("error", [])) == sorted(faults)
    for key, wanted in expected.items():
        if key != "error":
            with subtests.test(key):
                assert [] == list(CHECKS[key](found, wanted))


def test_every_kind_of_expectation_is_used_by_an_example() -> None:
    """So that no check above lies unused and could rot unseen."""
    assert {*CHECKS, "error"} == {key for case in CASES for key in case["expect"]}


@pytest.mark.parametrize("key", CHECKS)
def test_a_check_tells_examples_apart(key: str) -> None:
    """Held against what the other examples give, each kind of expectation fails somewhere."""
    wanted = [case["expect"][key] for case in CASES if key in case["expect"]]
    others = [found for found, faults in map(told, CASES) if not faults]
    # No example gives what another one says is not given: turn around what they do give.
    given = {"not_asked": "check_next", "not_unexplained": "unexplained"}.get(key)
    if given:
        wanted = [[each["finding"]] for found in others for each in found[given]]

    assert any(list(CHECKS[key](found, each)) for found in others for each in wanted)
