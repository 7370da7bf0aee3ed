"""The sources of one assessment, numbered in the order in which the report names them."""

from collections.abc import Iterator
from dataclasses import dataclass

from app.assess.assessment import Assessment
from app.knowledge.load import Knowledge
from app.knowledge.model import STANDING_WORDS
from app.language.words import _
from app.report.phrases import capital


@dataclass(frozen=True)
class Reference:
    """One source."""

    number: int
    citation: str


@dataclass(frozen=True)
class Checked:
    """The numbers of the sources that were checked equally far, and how far that is."""

    standing: str
    numbers: str


class References:
    """Numbers for the sources that an assessment names."""

    def __init__(self, assessment: Assessment, knowledge: Knowledge) -> None:
        self._numbers = {
            source: number
            for number, source in enumerate(dict.fromkeys(_in_order(assessment)), start=1)
        }
        self.lines = tuple(
            Reference(number, knowledge.sources[source].citation)
            for source, number in self._numbers.items()
        )
        standings = {
            words: [
                str(number)
                for source, number in self._numbers.items()
                if knowledge.sources[source].standing == standing
            ]
            for standing, words in STANDING_WORDS.items()
        }
        self.checked = tuple(
            Checked(capital(words), ", ".join(numbers))
            for words, numbers in standings.items()
            if numbers
        )

    def marks(self, sources: tuple[str, ...]) -> str:
        """`[1, 4]`; what rests on no published source says so."""
        numbers = sorted({self._numbers[source] for source in sources})
        return f"[{', '.join(map(str, numbers)) or _('no published source')}]"


def _in_order(assessment: Assessment) -> Iterator[str]:
    for raised in assessment.warnings:
        if raised is not assessment.fall_risk:
            yield from raised.sources
    for found in assessment.listed:
        yield from found.sources
    yield from assessment.fall_risk.sources
    for step in assessment.next_steps:
        yield from step.sources
