"""What the exam adds up to: the falls group, the warnings, the patterns with their reasons."""

from collections.abc import Iterator, Sequence

from app.assess.assessment import CategoryFound, Reason, WarningRaised
from app.assess.words import DISCLAIMER, fall_level_words, level_words, reason_words
from app.exam.measures import QUANTITIES
from app.exam.vocabulary import vocabulary
from app.knowledge.load import Knowledge
from app.report.fhir.narrative import plain, plain_lines
from app.report.fhir.observations import name_of, quantity_name, status_of
from app.report.fhir.people import PATIENT, People
from app.report.fhir.terms import (
    ICD10CM,
    LEVEL,
    RULE,
    Json,
    Names,
    coding,
    concept,
    filled,
    when,
)
from app.report.page import ReportInput
from app.report.phrases import by_finding, capital, folded
from app.report.summary import category_head

FALLS, IMPRESSION = "falls", "impression"
# FHIR has three severities. Ours, which says how soon somebody must act, stands in the words.
SEVERITIES = {"emergency": "high", "same_day": "high", "soon": "moderate", "routine": "low"}


def warning_name(warning: str) -> str:
    """The name of a warning's DetectedIssue."""
    return f"warning/{warning}"


def warnings_of(report: ReportInput) -> tuple[WarningRaised, ...]:
    """The warnings without the falls group."""
    found = report.assessment
    return tuple(each for each in found.warnings if each is not found.fall_risk)


def falls(report: ReportInput, knowledge: Knowledge, names: Names) -> Json:
    """The falls group. It is a group of a published rule and no probability, and is coded as ours.

    Source: the rule's own, in knowledge/fall_risk.toml.
    """
    raised, rule = report.assessment.fall_risk, knowledge.fall_risk
    words = capital(fall_level_words(raised.level or "open"))
    because = folded(by_finding(raised.because, knowledge))
    missing = folded(by_finding(raised.missing, knowledge))
    return filled(
        resourceType="RiskAssessment",
        id=names.id(FALLS),
        status=status_of(report),
        method=concept(plain(rule.says)),
        code=concept("Falls group", _rule("fall_risk", "Falls group", report)),
        subject=names.reference(PATIENT),
        occurrenceDateTime=when(report.started_at),
        basis=_references(raised.because, report, names),
        prediction=[
            filled(
                outcome=concept("Fall"),
                qualitativeRisk=concept(words, coding(LEVEL, raised.level or "open", words)),
                rationale="; ".join(because),
            )
        ],
        note=[
            {"text": text}
            for text in (plain(rule.caveat), f"Missing: {'; '.join(missing)}" if missing else "")
            if text
        ],
    )


def issues(
    report: ReportInput, knowledge: Knowledge, names: Names, people: People
) -> Iterator[tuple[str, Json]]:
    """One DetectedIssue for each warning."""
    for raised in warnings_of(report):
        rule = knowledge.warnings[raised.id]
        pathway = " / ".join(plain_lines(report.pathways.get(raised.id, "")))
        detail = f"{rule.says} The clinic’s own words: {pathway}" if pathway else rule.says
        yield (
            warning_name(raised.id),
            filled(
                resourceType="DetectedIssue",
                id=names.id(warning_name(raised.id)),
                status=status_of(report),
                code=concept(rule.label, _rule(raised.id, rule.label, report)),
                severity=SEVERITIES[raised.urgency],
                patient=names.reference(PATIENT),
                identifiedDateTime=when(report.started_at),
                evidence=[
                    filled(
                        code=[concept(text) for text in _other_words(raised.because, knowledge)],
                        detail=_references(raised.because, report, names),
                    )
                ]
                if raised.because
                else [],
                detail=plain(detail),
                mitigation=[
                    {
                        "action": concept("Acknowledged while reviewing"),
                        "date": when(each.by.at),
                        "author": people.reference(each.by),
                    }
                    for each in report.acknowledged
                    if each.warning == raised.id
                ],
            ),
        )


def impression(report: ReportInput, knowledge: Knowledge, names: Names, people: People) -> Json:
    """The patterns with what speaks for, against and what is missing; the physician's own words."""
    signature, listed = report.signature, report.assessment.listed
    plan = "\n".join(plain_lines(report.plan))
    return filled(
        resourceType="ClinicalImpression",
        id=names.id(IMPRESSION),
        status="in-progress" if signature is None else "completed",
        description=f"What the exam adds up to. {DISCLAIMER}",
        subject=names.reference(PATIENT),
        effectiveDateTime=when(report.started_at),
        date=None if signature is None else when(signature.signed_at),
        assessor=None if signature is None else people.reference(signature),
        investigation=[
            {"code": concept(f"{words}: {knowledge.categories[found.id].label}"), "item": cited}
            for found in listed
            for words, reasons in (
                ("For", found.reasons_for),
                ("Against", found.against),
                ("Missing", found.missing),
            )
            if (cited := _references(reasons, report, names))
        ],
        summary="\n".join(plain_lines(report.impression)),
        finding=[
            *(_pattern(found, report, knowledge) for found in listed),
            *(_chosen(code, knowledge) for code in report.codes),
        ],
        note=[{"text": f"Plan: {plan}"}] if plan else [],
    )


def _pattern(found: CategoryFound, report: ReportInput, knowledge: Knowledge) -> Json:
    label = knowledge.categories[found.id].label
    parts = [
        f"{words}: {'; '.join(folded(by_finding(reasons, knowledge)))}"
        for words, reasons in (
            ("For", found.reasons_for),
            ("Against", found.against),
            ("Missing", found.missing),
        )
        if reasons
    ]
    return filled(
        itemCodeableConcept=concept(
            f"{label}: {category_head(found, knowledge)}",
            _rule(found.id, label, report),
            coding(LEVEL, found.level, level_words(found.level)),
        ),
        basis=plain(". ".join(parts)),
    )


def _chosen(code: str, knowledge: Knowledge) -> Json:
    """A code that the physician chose for the record; none is put there by the program."""
    title = knowledge.icd.title[code]
    return {
        "itemCodeableConcept": concept(title, coding(ICD10CM, code, title)),
        "basis": "Chosen by the physician for the record",
    }


def _rule(rule: str, label: str, report: ReportInput) -> Json:
    return coding(RULE, rule, label, report.assessment.knowledge)


def _references(reasons: Sequence[Reason], report: ReportInput, names: Names) -> list[Json]:
    """The Observations that the reasons name."""
    cited: dict[str, None] = {}
    for reason in reasons:
        finding = reason.finding
        if finding is None:
            continue
        if finding in vocabulary():
            cited[name_of((finding, reason.side))] = None
        elif finding in QUANTITIES and QUANTITIES[finding].of(report.exam) is not None:
            cited[quantity_name(finding)] = None
    return [names.reference(name) for name in cited]


def _other_words(reasons: Sequence[Reason], knowledge: Knowledge) -> list[str]:
    """The reasons that are no finding: medicines."""
    words = (reason_words(each, knowledge) for each in reasons if each.finding not in vocabulary())
    return [text for text in dict.fromkeys(plain(each) for each in words) if text]
