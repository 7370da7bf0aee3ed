"""The sections of the Composition, in the order of the printed page."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from app.assess.words import DISCLAIMER
from app.exam.layout import WHOLE
from app.exam.record import Exam
from app.exam.vocabulary import Finding, Side, vocabulary
from app.knowledge.load import Knowledge
from app.report.coverage import State, state_of
from app.report.fhir.conclusions import FALLS, IMPRESSION, warning_name, warnings_of
from app.report.fhir.narrative import grid, items, labelled, narrative, paragraph, plain
from app.report.fhir.observations import name_of, quantity_name
from app.report.fhir.people import People
from app.report.fhir.terms import (
    EMPTY,
    LOINC_NOTICE,
    UCUM_NOTICE,
    Json,
    Names,
    coding,
    concept,
    filled,
)
from app.report.grid import full_grid
from app.report.page import ReportInput
from app.report.phrases import day, moment, on_paper_words
from app.report.references import References
from app.report.signed import SignatureBlock, SignatureLines, amendment_lines, signature_lines
from app.report.summary import CategoryLine, SettledLine, Summary, WarningLine, summary

PAGE = "page"


@dataclass(frozen=True)
class Parts:
    """What the sections are made from. worked_out: the quantities that have an Observation."""

    report: ReportInput
    knowledge: Knowledge
    names: Names
    people: People
    worked_out: tuple[str, ...]
    has_page: bool

    @property
    def exam(self) -> Exam:
        """The exam."""
        return self.report.exam


def sections(parts: Parts) -> list[Json]:
    """Every section; each has words, and refers to what it speaks of."""
    references = References(parts.report.assessment, parts.knowledge)
    said = summary(parts.report, parts.knowledge, references)
    return [
        *_amendments(parts),
        _section("Reason for the exam", paragraph(said.reason), *_when(parts)),
        *_warnings(parts, said),
        _patterns(parts, said),
        _section(
            "Falls", _warned(said.falls), labelled("Hazards", said.hazards), entry=[FALLS], to=parts
        ),
        _steps(said),
        _abnormal(parts, said),
        _section("Normal findings", paragraph(said.normal or "None recorded.")),
        _section("History", paragraph(said.history or "Nothing recorded.")),
        _section(
            "Measured",
            paragraph(said.measures or "Nothing recorded."),
            entry=[quantity_name(name) for name in parts.worked_out],
            to=parts,
        ),
        *_if_any("Contradictions, used as recorded", items(said.conflicts)),
        *_if_any("Not explained by a listed pattern", paragraph(said.unexplained)),
        _medicines(parts, said),
        _lacking(said),
        _reviewed(said),
        _section("Every finding", paragraph(_EVERY), section=list(_stations(parts))),
        *_signatures(parts),
        *_page(parts),
        _section(
            "Sources",
            items([f"[{each.number}] {each.citation}" for each in references.lines])
            or paragraph("None."),
            items([f"{each.standing}: {each.numbers}" for each in references.checked]),
        ),
        _about(parts),
    ]


_EVERY = (
    "Station by station, the patient’s RIGHT before the LEFT. What has no value says why; it is "
    "not to be read as normal."
)


def _section(
    title: str,
    *words: str,
    entry: Iterable[str] = (),
    to: Parts | None = None,
    empty: str = "",
    section: list[Json] | None = None,
    author: list[Json] | None = None,
) -> Json:
    return filled(
        title=title,
        author=author,
        text=narrative(*words),
        entry=[] if to is None else [to.names.reference(name) for name in entry],
        emptyReason=concept("", coding(EMPTY, empty)) if empty else None,
        section=section,
    )


def _if_any(title: str, words: str) -> list[Json]:
    return [_section(title, words)] if words else []


def _amendments(parts: Parts) -> Iterator[Json]:
    """What was signed later, the newest first; the exam stands below as it was signed."""
    amendments = parts.report.amendments
    for each, lines in zip(reversed(amendments), amendment_lines(amendments), strict=True):
        yield _section(
            lines.head,
            *(paragraph(line) for line in lines.text),
            labelled("Reason", lines.reason),
            *_signed(lines.signature),
            author=[parts.people.reference(each.signature)],
        )


def _when(parts: Parts) -> list[str]:
    report = parts.report
    examined, paper = day(report.started_at), report.paper
    if paper is not None:
        examined = on_paper_words(examined, plain(paper.by), day(paper.entered_at))
    return [
        labelled("Examined", examined),
        labelled("Demonstration", "the patient and everything here is invented")
        if report.demo
        else "",
    ]


def _warnings(parts: Parts, said: Summary) -> Iterator[Json]:
    raised = {each.id for each in warnings_of(parts.report)}
    lines = (*said.urgent, *said.warnings)
    yield _section(
        "Warnings",
        *(_warned(line) for line in lines),
        paragraph("" if lines else "None raised by what was recorded."),
        entry=[warning_name(name) for name in parts.knowledge.warnings if name in raised],
        to=parts,
    )


def _warned(line: WarningLine) -> str:
    return "".join(
        (
            labelled(line.urgency, f"{line.label}. {line.says}"),
            labelled("The clinic’s own words", line.pathway),
            *_reasons(line),
        )
    )


def _reasons(line: WarningLine) -> tuple[str, ...]:
    return (
        labelled("Because of", line.because),
        labelled("Missing", line.missing),
        labelled("Sources", line.marks),
    )


def _patterns(parts: Parts, said: Summary) -> Json:
    return _section(
        "Patterns",
        *(_pattern(line) for line in said.categories),
        paragraph("" if said.categories else "No pattern is listed by what was recorded."),
        paragraph(DISCLAIMER),
        entry=[IMPRESSION],
        to=parts,
    )


def _pattern(line: CategoryLine) -> str:
    return "".join(
        (
            labelled(line.label, line.head),
            labelled("For", line.reasons_for),
            labelled("Against", line.against),
            labelled("Missing", line.missing),
            labelled("Sources", line.marks),
        )
    )


def _steps(said: Summary) -> Json:
    lines = [
        labelled(
            group.urgency,
            " ".join(
                part
                for part in (
                    f"{step.says} {step.marks}",
                    f"The clinic’s own words: {step.pathway}." if step.pathway else "",
                    f"{step.decided}." if step.decided else "",
                    f"Reason: {step.reason}" if step.reason else "",
                )
                if part
            ),
        )
        for group in said.steps
        for step in group.steps
    ]
    return _section("Next steps to consider", *lines, paragraph("" if lines else "None."))


def _abnormal(parts: Parts, said: Summary) -> Json:
    abnormal = [
        name_of((finding.id, side))
        for finding, side in _cells(WHOLE)
        if finding.is_sign and state_of(parts.exam, finding, side) is State.ABNORMAL
    ]
    return _section(
        "Abnormal signs",
        grid(said.signs),
        paragraph("" if said.signs else "None recorded."),
        entry=abnormal,
        to=parts,
    )


def _medicines(parts: Parts, said: Summary) -> Json:
    taken = parts.exam.medicines
    empty = "" if taken else "notasked" if taken is None else "nilknown"
    return _section(
        "Medicines",
        paragraph(said.medicines.note),
        labelled("Recognised", said.medicines.recognised),
        labelled("Not recognised, and not checked", said.medicines.not_recognised),
        empty=empty,
    )


def _lacking(said: Summary) -> Json:
    return _section(
        "Not examined",
        labelled("Of the quick pass", said.not_examined or "nothing"),
        labelled("Beyond it", said.not_examined_others),
        labelled("Could not be tested", "; ".join(said.untestable)),
        labelled("Marked normal in one step, beside what was recorded", said.bulk),
    )


def _reviewed(said: Summary) -> Json:
    return _section(
        "Impression and plan",
        *(labelled("Impression", line) for line in said.impression or ("none was written",)),
        *(labelled("Plan", line) for line in said.plan or ("none was written",)),
        *(labelled("For the patient", line) for line in said.for_patient),
        labelled("Codes chosen (ICD-10-CM)", said.codes),
        *_settled("Acknowledged", said.acknowledged),
        *_settled("Confirmed", said.confirmed),
        labelled("Recorded by", said.recorded_by),
    )


def _settled(label: str, lines: Iterable[SettledLine]) -> list[str]:
    return [labelled(f"{label} by {line.by}", line.what) for line in lines]


def _stations(parts: Parts) -> Iterator[Json]:
    grids = {station.label: station.rows for station in full_grid(parts.exam)}
    for station in sorted(vocabulary().stations, key=lambda station: WHOLE.index(station.id)):
        rows = grids.get(station.label, ())
        yield _section(
            station.label,
            grid(rows),
            paragraph("" if rows else "Nothing of it was recorded."),
            entry=[name_of((finding.id, side)) for finding, side in _cells((station.id,))],
            to=parts,
        )


def _cells(stations: Iterable[str]) -> Iterator[tuple[Finding, Side | None]]:
    for station in stations:
        for finding in vocabulary().at(station):
            for side in finding.sides:
                yield finding, side


def _signatures(parts: Parts) -> Iterator[Json]:
    signature: SignatureBlock | None = parts.report.signature
    if signature is None:
        yield _section("Signature", paragraph("DRAFT, not signed."))
    else:
        yield _section("Signature", *_signed(signature_lines(signature)))


def _signed(lines: SignatureLines) -> list[str]:
    return [
        labelled("Signed by", f"{lines.name}, {lines.role}, {lines.when}"),
        labelled("Meaning", lines.meaning),
        labelled("Stands for", lines.stands_for),
        labelled("SHA-256 of what was signed", lines.content_sha256),
        labelled("Audit", lines.audit),
    ]


def _page(parts: Parts) -> Iterator[Json]:
    if parts.has_page:
        yield _section(
            "The signed page",
            paragraph("As PDF, in the bytes that were kept."),
            entry=[PAGE],
            to=parts,
        )


def _about(parts: Parts) -> Json:
    report, terms = parts.report, parts.knowledge.hpo
    return _section(
        "About this document",
        paragraph(DISCLAIMER),
        labelled("Exam", report.exam_id),
        labelled("Made from the record as of", moment(report.printed_at)),
        labelled("Knowledge", report.assessment.knowledge),
        paragraph(terms.attribution + "."),
        paragraph(terms.citation + "."),
        paragraph(LOINC_NOTICE),
        paragraph(UCUM_NOTICE),
    )
