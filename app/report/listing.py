"""The long lists that note and print share: what is normal, missing, measured, untestable."""

from collections.abc import Iterator, Sequence

from app.assess.words import side_words
from app.exam.record import Exam
from app.exam.vocabulary import Finding, Side, vocabulary
from app.knowledge.load import Knowledge
from app.language.words import _
from app.report.coverage import Coverage, Sided, State, recorded_at, sides_where
from app.report.page import ReportInput
from app.report.phrases import clean, folded, said

# What a specialist asks before anything that was found.
ONSET = ("hx_onset", "hx_years")


def sided_words(findings: Sequence[Sided]) -> str:
    """Findings in words, with the side where only one of two is meant."""
    return ", ".join(folded([(finding.label, _one_side(sides)) for finding, sides in findings]))


def normal_words(stations: Sequence[Coverage]) -> str:
    """What is normal; stations whose quick pass is complete are named together, not listed."""
    whole = [at.station.label for at in stations if at.normal and at.is_complete]
    listed = [
        f"{at.station.label}: {sided_words(at.normal)}"
        for at in stations
        if at.normal and not at.is_complete
    ]
    if whole:
        listed.insert(
            0, _("All else that the quick pass asks for: {whole}").format(whole="; ".join(whole))
        )
    return ". ".join(listed)


def not_examined_words(stations: Sequence[Coverage]) -> str:
    """What the quick pass asks for and nobody examined, by station."""
    whole = [at.station.label for at in stations if at.missing and not at.touched]
    listed = [
        f"{at.station.label}: {sided_words(at.missing)}"
        for at in stations
        if at.missing and at.touched
    ]
    if whole:
        listed.insert(0, _("All of: {whole}").format(whole="; ".join(whole)))
    return ". ".join(listed)


def others_words(stations: Sequence[Coverage]) -> str:
    """What lies beyond the quick pass and was not examined, by station."""
    return ". ".join(
        f"{at.station.label}: {sided_words(at.others)}" for at in stations if at.others
    )


def onset_words(exam: Exam) -> str:
    """How and when it began, as it was recorded."""
    told = []
    for finding in (vocabulary()[each] for each in ONSET):
        value = exam.value(finding.id)
        if value is not None:
            told.append(f"{finding.label}: {said(finding, value)}")
    return "; ".join(told) or _("not recorded")


def recorded_items(
    exam: Exam, stations: Sequence[str], *states: State, short: bool = False
) -> list[tuple[str, str]]:
    """What was recorded at these stations and stands in one of these ways, with its values."""

    def told(finding: Finding) -> str:
        return ", ".join(
            f"{side_words(side)} {said(finding, exam.value(finding.id, side), short=short)}".strip()
            for side in sides_where(exam, finding, *states)
        )

    return [
        (finding.label, told(finding))
        for station in stations
        for finding in recorded_at(exam, station, *states)
    ]


def untestable_groups(exam: Exam) -> list[tuple[str, list[tuple[str, str]]]]:
    """What could not be tested: each reason as typed, with its findings and their sides.

    In the order of the first finding, then of the reason, so that the sides have no say in it.
    """
    words = vocabulary()
    groups: dict[str, dict[str, list[Side | None]]] = {}
    for finding_id, side, reason in exam.untestable():
        groups.setdefault(clean(reason), {}).setdefault(finding_id, []).append(side)
    in_order = sorted(
        groups.items(), key=lambda group: (words.place(min(group[1], key=words.place)), group[0])
    )
    return [
        (reason, [(words[finding].label, _one_side(sides)) for finding, sides in cells.items()])
        for reason, cells in in_order
    ]


def conflict_lines(report: ReportInput) -> list[str]:
    """The contradictions: which findings, on which sides, and what contradicts what."""
    words = vocabulary()
    sides: dict[tuple[tuple[str, ...], str], list[str]] = {}
    for conflict in report.assessment.conflicts:
        held = sides.setdefault((conflict.findings, conflict.says), [])
        if conflict.side:
            held.append(side_words(conflict.side))
    told = []
    for (findings, says), held in sides.items():
        where = f" ({', '.join(held)})" if held else ""
        labels = folded([(words[each].label, "") for each in findings])
        told.append(f"{', '.join(labels)}{where}: {says}")
    return told


def _one_side(sides: Sequence[Side | None]) -> str:
    return side_words(sides[0]) if len(sides) == 1 else ""


def codes_words(codes: Sequence[str], knowledge: Knowledge) -> Iterator[str]:
    """The codes that were chosen for the summary, each with its title."""
    return (f"{code} {knowledge.icd.title[code]}" for code in codes)
