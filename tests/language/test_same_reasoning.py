"""The reasoning is the same in every language: words are shown, and nothing follows from them."""

import dataclasses
from collections.abc import Iterator
from typing import Any

from app.assess.assess import assess
from app.assess.assessment import Assessment, as_text
from app.exam.faults import BadExam
from app.exam.reading import read_exam
from app.exam.record import Exam
from app.exam.vocabulary import vocabulary
from app.knowledge.load import Knowledge, knowledge
from app.language.words import speaking
from tests.assess.test_contract import CASES
from tests.drawn import exams
from tests.sampling import WHOLE

# What of a finding is words.
WORDS = {"label", "hint", "words"}


def german() -> Knowledge:
    """The knowledge as it is read in German."""
    with speaking("de"):
        return knowledge()


def everybody() -> Iterator[Exam]:
    """Every exam of the contract that is one, and exams drawn at random."""
    for case in CASES:
        try:
            yield read_exam(case["exam"])
        except BadExam:
            continue
    yield from exams(1000 if WHOLE else 60, seed=9)


def test_an_exam_adds_up_to_the_same() -> None:
    """Levels, sides, reasons, steps and what to examine next, to the byte."""
    english, other = knowledge(), german()
    found = 0
    for exam in everybody():
        here = assess(exam, english)
        with speaking("de"):
            there = assess(exam, other)
        found += 1

        # What contradicts itself carries the sentence of its rule; nothing else carries words.
        assert len(here.conflicts) == len(there.conflicts)
        assert _wordless(here) == _wordless(there)
    assert found > len(CASES) / 2


def test_the_vocabulary_differs_in_its_words_alone() -> None:
    """Ids, scales, limits and what is normal: a value recorded in one language is one in all."""
    with speaking("de"):
        other = vocabulary()
    assert list(vocabulary()) == list(other)
    for finding in vocabulary().values():
        one, two = dataclasses.asdict(finding), dataclasses.asdict(other[finding.id])
        assert _without(one) == _without(two)
        assert len(finding.words) == len(other[finding.id].words)


def test_the_conditions_are_the_same_expressions() -> None:
    """Also those of conflicts, completions and suggested codes."""
    english, other = knowledge(), german()

    assert english.conditions == other.conditions
    assert dict(english.completions) == dict(other.completions)
    assert english.icd.title == other.icd.title


def _wordless(assessment: Assessment) -> str:
    conflicts = tuple(dataclasses.replace(each, says="") for each in assessment.conflicts)
    return as_text(dataclasses.replace(assessment, conflicts=conflicts))


def _without(finding: dict[str, Any]) -> dict[str, Any]:
    return {name: value for name, value in finding.items() if name not in WORDS}
