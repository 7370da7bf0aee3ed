"""Find the examples anew and write their pages: python -m tests.proofs.write_examples."""

from collections.abc import Iterator, Mapping
from itertools import groupby

from app.assess.words import (
    DISCLAIMER,
    fall_level_words,
    level_words,
    side_words,
    urgency_words,
)
from app.exam.record import Exam
from app.exam.vocabulary import Side, vocabulary
from app.exam.writing import plain
from app.knowledge.load import Knowledge, knowledge
from tests.proofs import examples
from tests.proofs.claims import Claim
from tests.proofs.proving import Proofs

MADE_BY = "Made by python -m tests.proofs.write_examples. Do not change it by hand."
TITLES = {
    "category": "Patterns",
    "warning": "Warnings",
    "fall_risk": "The falls group",
    "hazard": "What makes a fall more likely",
    "conflict": "Recorded values that contradict each other",
}
# More findings than this are listed by station, a line each.
MANY = 12


def page(held: Mapping[Claim, Exam], read: Knowledge) -> str:
    """The page that shows each example in words."""
    return "\n".join(_lines(held, read)) + "\n"


def _lines(held: Mapping[Claim, Exam], read: Knowledge) -> Iterator[str]:
    yield f"<!-- {MADE_BY} -->"
    yield ""
    yield "# An example of everything that can be concluded"
    yield ""
    yield "For every level of every pattern, every warning at every urgency, and so on: one exam."
    yield "Each holds only what it takes: with anything left out the conclusion is another."
    yield "They were found by a solver and are no patients. What is not listed was not examined."
    yield ""
    yield f"{DISCLAIMER} Knowledge {read.version}."
    about = ""
    for (kind, title), group in groupby(held.items(), lambda item: _titles(item[0], read)):
        if kind != about:
            about = kind
            yield ""
            yield f"## {TITLES[kind]}"
        yield ""
        yield f"### {title}"
        for claim, exam in group:
            yield ""
            yield f"**{_conclusion(claim)}**" if claim.at else "Recorded:"
            yield ""
            yield from (f"- {line}" for line in _recorded(exam) or ["nothing"])


def _titles(claim: Claim, read: Knowledge) -> tuple[str, str]:
    match claim.about:
        case "category":
            return claim.about, read.categories[claim.id].label
        case "warning":
            return claim.about, read.warnings[claim.id].label
        case "fall_risk":
            place = int(claim.id.removeprefix("branch ")) - 1
            return claim.about, read.fall_risk.branch[place].says
        case "hazard":
            return claim.about, read.hazards[claim.id].label
        case _:
            return claim.about, claim.id


def _conclusion(claim: Claim) -> str:
    match claim.about:
        case "category":
            words = level_words(claim.at)
        case "fall_risk":
            words = fall_level_words(claim.at)
        case _:
            words = urgency_words(claim.at)
    return words[0].upper() + words[1:]


def _recorded(exam: Exam) -> list[str]:
    """What an exam holds, a finding in a line; the sides of a pair stand together."""
    lines: dict[str, list[str]] = {}
    for finding_id, side, value in exam.known():
        words = vocabulary()[finding_id].words_of(value)
        lines.setdefault(finding_id, []).append(_sided(side, words))
    for finding_id, side, reason in exam.untestable():
        lines.setdefault(finding_id, []).append(_sided(side, f"could not be tested ({reason})"))
    told = {each: f"{vocabulary()[each].label}: {', '.join(lines[each])}" for each in lines}
    if len(told) > MANY:
        stations = {station.id: station.label for station in vocabulary().stations}
        by_station = groupby(told, lambda each: vocabulary()[each].station)
        shown = [f"{stations[at]}: {'; '.join(told[e] for e in group)}" for at, group in by_station]
    else:
        shown = list(told.values())
    return [*shown, *_of_the_patient(exam)]


def _sided(side: Side | None, words: str) -> str:
    return f"{side_words(side)} {words}" if side else words


def _of_the_patient(exam: Exam) -> Iterator[str]:
    if exam.patient.age is not None:
        yield f"Age: {plain(exam.patient.age)}"
    if exam.patient.sex is not None:
        yield f"Sex: {exam.patient.sex}"
    if exam.medicines is not None:
        yield f"Medicines: {', '.join(exam.medicines) or 'none'}"


if __name__ == "__main__":
    found = dict(examples.find(Proofs(knowledge())))
    examples.KEPT.write_text(examples.as_lines(found), encoding="utf-8")
    examples.PAGE.write_text(page(found, knowledge()), encoding="utf-8")
