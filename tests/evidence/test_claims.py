"""The claims of safety and security: strict, current, and each with tests that there are."""

import ast
import re
from functools import cache
from pathlib import Path

import pytest

from tests.evidence.claims import (
    ASVS,
    HAZARDS,
    ROOT,
    BadClaims,
    asvs,
    base_id,
    hazard_log,
    named_tests,
)
from tests.evidence.pages import evidence_pages
from tests.evidence.watch import missing


@cache
def functions_of(file: str) -> frozenset[str]:
    """The test functions of a file."""
    tree = ast.parse((ROOT / file).read_text("utf-8"))
    return frozenset(each.name for each in tree.body if isinstance(each, ast.FunctionDef))


def is_there(test: str) -> bool:
    """Whether a named test stands in its file."""
    file, _, name = test.partition("::")
    return (ROOT / file).is_file() and name in functions_of(file)


def test_every_named_test_is_there() -> None:
    """Of each control and of each requirement; a renamed test is renamed in the claims, too."""
    assert {} == {test: shows for test, shows in named_tests().items() if not is_there(test)}


def test_the_pages_are_those_of_the_data() -> None:
    """Run script/docs."""
    stale = [
        path
        for path, text in evidence_pages().items()
        if not (ROOT / "docs" / path).is_file() or (ROOT / "docs" / path).read_text("utf-8") != text
    ]

    assert [] == stale


def test_the_hazards_that_must_be_there_are() -> None:
    """The list was given from outside; a hazard is added to it and never taken away."""
    words = (
        "wrong side", "wrong patient", "unknown read as normal", "stale suggestion", "over-trust",
        "missed emergency", "lost entry", "unread addendum", "copied normal", "wrong medicine",
        "wrong person", "altered", "wrong threshold", "clock", "overwrite", "patient data leaves",
        "not reachable", "practice", "units",
    )  # fmt: skip
    titles = [each.title.casefold() for each in hazard_log().hazards]

    assert [] == [word for word in words if not any(word in title for title in titles)]


def test_what_is_said_to_be_met_is_shown_or_says_where() -> None:
    """What is not met stands at the top of the page, under its own heading."""
    page = evidence_pages()["security/asvs.md"]
    top = page[: page.index("## V1 ")]
    for each in asvs().requirements:
        is_listed = f"| {each.id} | {each.level} |" in top

        assert is_listed == (each.status in ("not met", "partly")), each.id


BROKEN = [
    (HAZARDS, 'id = "H02"', 'id = "H01"', "each id once, in order"),
    (HAZARDS, "severity = 4, likelihood = 4", "severity = 6, likelihood = 4", "less than or equal"),
    (HAZARDS, "after = { severity = 4, likelihood = 1", "after = { severity = 4, likelihood = 4",
     "H01: a risk of 4 is left"),
    (HAZARDS, "[1, 1, 2, 2, 3]", "[5, 1, 2, 2, 3]", "never a lower risk"),
    (HAZARDS, 'error = "perception"', 'error = "sloth"', "hazard.0.error"),
    (HAZARDS, '"tests/web/test_sheet.py::test_a_side', '"tests/web/test_sheet.py::a_side',
     "hazard.0.control.0.tests.1"),
    (HAZARDS, 'title = "Wrong side"', 'titel = "Wrong side"', "Extra inputs"),
    (HAZARDS, "accepted = ", "# accepted = ", "says why a risk of 3 stays"),
    (ASVS, 'id = "1.1.2"', 'id = "1.1.1"', "each once, in order"),
    (ASVS, "level = 2", "level = 1", "of level 1 and 2"),
    (ASVS, 'status = "met"', 'status = "not met"', "1.1.1: what is not met has no test"),
    (ASVS, '17 = "WebRTC"', "", "not those of the requirements"),
]  # fmt: skip


@pytest.mark.parametrize(("file", "old", "new", "says"), BROKEN)
def test_a_faulty_claim_is_refused(
    tmp_path: Path, file: Path, old: str, new: str, says: str
) -> None:
    """With its place; a misspelt key would otherwise be a claim that nobody reads."""
    text = file.read_text("utf-8")
    assert old in text
    broken = tmp_path / file.name
    broken.write_text(text.replace(old, new, 1), "utf-8")
    read = hazard_log if file == HAZARDS else asvs
    with pytest.raises(BadClaims, match=re.escape(says)):
        read(broken)


def test_what_did_not_pass_is_missing() -> None:
    """Not run, skipped, and failed in one of several cases."""
    named = {f"tests/test_a.py::test_{name}": [f"control {name}"] for name in "abcde"}
    ran = ("a[x]", "passed"), ("a[y::z]", "passed"), ("b[1]", "passed"), ("b[2]", "failed")
    outcomes: dict[str, set[str]] = {}
    for name, outcome in (*ran, ("c", "skipped"), ("d", "passed")):
        outcomes.setdefault(base_id(f"tests/test_a.py::test_{name}"), set()).add(outcome)

    assert [
        "tests/test_a.py::test_b: failed, passed; it is to show control b",
        "tests/test_a.py::test_c: skipped; it is to show control c",
        "tests/test_a.py::test_e: did not run; it is to show control e",
    ] == missing(outcomes, named)


def test_the_clinics_form_asks_for_each_hazard() -> None:
    """In the same order and words."""
    text = (ROOT / "docs" / "safety" / "clinic-template.md").read_text("utf-8")

    assert [f"{each.id} {each.title}" for each in hazard_log().hazards] == re.findall(
        r"^\| (H\d\d [^|]+?) \|", text, re.MULTILINE
    )
