"""Codes that may go into a record with a finding or a pattern: HPO terms, and ICD-10-CM codes.

A code is an offer for the record, not a diagnosis.
"""

import re
from collections.abc import Collection, Iterator, Mapping
from functools import cached_property
from itertools import combinations, product
from typing import Annotated

from pydantic import Field

from app.exam.vocabulary import Finding, Scale, Side, Vocabulary
from app.knowledge.files import BadKnowledge, Files
from app.knowledge.table import Id, Phrase, Table, Text

HPO_FILE = "codes_hpo.toml"
ICD_FILE = "codes_icd10cm.toml"

IcdCode = Annotated[str, Field(pattern=r"^[A-Z][0-9][0-9A-Z](\.[0-9A-Z]{1,4})?$")]


class HpoTerm(Table):
    """A term that says no more than a finding does. when: for which values of a choice."""

    id: Annotated[str, Field(pattern=r"^HP:[0-9]{7}$")]
    name: Text
    when: tuple[str, ...] = ()


class NoTerm(Table):
    """Findings without a term, and why."""

    reason: Phrase
    findings: tuple[Id, ...]


class HpoTerms(Table):
    """The terms of each finding. version: of the ontology, whose ids and names are verbatim."""

    version: Text
    attribution: Text
    citation: Text
    finding: dict[Id, tuple[HpoTerm, ...]]
    none: tuple[NoTerm, ...]


class Excludes1(Table):
    """A note of the classification: none of `codes` in one summary with one of `never_with`.

    on: the code or group that carries the note.
    """

    on: Text
    note: Text
    codes: tuple[IcdCode, ...]
    never_with: tuple[IcdCode, ...]


class SuggestedCode(Table):
    """A code that is offered for the summary where a condition holds, on `side` if it has one."""

    code: IcdCode
    when: Text
    side: Side | None = None


class OtherCodes(Table):
    """Codes that belong to no pattern."""

    fall_risk: tuple[IcdCode, ...]
    not_offered: tuple[IcdCode, ...]


class IcdCodes(Table):
    """The codes that may be offered with each pattern, by category; titles are verbatim."""

    classification: Text
    release: Text
    says: Phrase
    category: dict[Id, tuple[IcdCode, ...]]
    no_code: dict[Id, Phrase]
    other: OtherCodes
    suggested: tuple[SuggestedCode, ...]
    not_suggested: dict[Id, Phrase]
    title: dict[IcdCode, Text]
    excludes1: tuple[Excludes1, ...]

    @cached_property
    def never_together(self) -> frozenset[frozenset[str]]:
        """Every pair of codes that one summary must not hold."""
        return frozenset(
            frozenset(pair)
            for note in self.excludes1
            for pair in product(note.codes, note.never_with)
        )

    def clashes(self, codes: Collection[str]) -> tuple[tuple[str, str], ...]:
        """Every pair among the codes that one summary must not hold."""
        return tuple(
            pair for pair in combinations(codes, 2) if frozenset(pair) in self.never_together
        )


def load_hpo(files: Files, vocabulary: Vocabulary) -> HpoTerms:
    """Read the terms; every finding has one, or a reason why not.

    Raises: BadKnowledge.
    """
    read = files.one(HPO_FILE, HpoTerms)
    without = [finding for group in read.none for finding in group.findings]
    _check_places(HPO_FILE, "finding", (*read.finding, *without), vocabulary, "finding")
    for finding_id, terms in read.finding.items():
        if not terms:
            raise BadKnowledge(f"{HPO_FILE}: finding: {finding_id}: no term; expected it in none")
        for term in terms:
            _check_term(vocabulary[finding_id], term)
    return read


def _check_term(finding: Finding, term: HpoTerm) -> None:
    place = f"{HPO_FILE}: finding: {finding.id}: {term.id}: when"
    if (finding.scale is Scale.CHOICE) != bool(term.when):
        raise BadKnowledge(f"{place}: expected for a choice, and only there")
    for value in term.when:
        if value not in finding.values:
            right = ", ".join(finding.values)
            raise BadKnowledge(f"{place}: {value} is not a value of it: {right}")


def load_icd(files: Files, categories: Mapping[str, object]) -> IcdCodes:
    """Read the codes; every category has some, or a reason why not, and every code a title.

    Raises: BadKnowledge.
    """
    read = files.one(ICD_FILE, IcdCodes)
    _check_places(ICD_FILE, "category", (*read.category, *read.no_code), categories, "category")
    offered: set[str] = set()
    for key, codes in _code_lists(read):
        for code in codes:
            if code not in read.title:
                raise BadKnowledge(f"{ICD_FILE}: {key}: {code}: has no title; add it to title")
        if not key.startswith("excludes1"):
            offered |= set(codes)
    _check_suggested(read, categories)
    for code in read.title:
        if code not in offered:
            problem = "stands nowhere; expected in category or other"
            raise BadKnowledge(f"{ICD_FILE}: title: {code}: {problem}")
    for pair in read.never_together:
        if len(pair) == 1:
            raise BadKnowledge(f"{ICD_FILE}: excludes1: {min(pair)}: excludes itself")
    return read


def _check_suggested(read: IcdCodes, categories: Mapping[str, object]) -> None:
    """Check that a code is suggested once, and that every category asks for one or says why not."""
    codes = [each.code for each in read.suggested]
    for code in codes:
        if codes.count(code) > 1:
            raise BadKnowledge(f"{ICD_FILE}: suggested: {code}: stands twice; expected once")
        if code in read.other.not_offered:
            problem = "is suggested, and stands in other: not_offered"
            raise BadKnowledge(f"{ICD_FILE}: suggested: {code}: {problem}")
    asked = [
        name
        for name in categories
        if any(re.search(rf"\b{name}_fits\b", each.when) for each in read.suggested)
    ]
    named = (*asked, *read.not_suggested)
    _check_places(ICD_FILE, "not_suggested", named, categories, "category")


def _code_lists(read: IcdCodes) -> Iterator[tuple[str, tuple[str, ...]]]:
    """Every list of codes with its key."""
    for category, codes in read.category.items():
        yield f"category: {category}", codes
    yield "other: fall_risk", read.other.fall_risk
    yield "suggested", tuple(each.code for each in read.suggested)
    yield "other: not_offered", read.other.not_offered
    for note in read.excludes1:
        yield f"excludes1: {note.on}: codes", note.codes
        yield f"excludes1: {note.on}: never_with", note.never_with


def _check_places(
    file: str, key: str, named: Collection[str], known: Mapping[str, object], what: str
) -> None:
    """Check that everything known is named once, and nothing else."""
    for name in named:
        if name not in known:
            raise BadKnowledge(f"{file}: {key}: {name} is not a {what}")
    for name in known:
        times = list(named).count(name)
        if times != 1:
            missing = "is missing; give a code, or the reason for none"
            problem = "stands twice; expected once" if times else missing
            raise BadKnowledge(f"{file}: {key}: {name}: {problem}")
