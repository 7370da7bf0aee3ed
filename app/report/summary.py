"""Page one: what a specialist wants to know first, in words."""

from collections.abc import Sequence
from dataclasses import dataclass

from app.assess.assessment import (
    URGENCIES,
    CategoryFound,
    Reason,
    WarningRaised,
)
from app.assess.words import (
    fall_level_words,
    level_words,
    medicines_in_words,
    side_words,
    urgency_words,
)
from app.exam.vocabulary import vocabulary
from app.knowledge.load import Knowledge
from app.language.words import _
from app.report.coverage import State, coverage
from app.report.grid import Row, abnormal_rows
from app.report.listing import (
    ONSET,
    codes_words,
    conflict_lines,
    normal_words,
    not_examined_words,
    onset_words,
    others_words,
    recorded_items,
    untestable_groups,
)
from app.report.page import ReportInput
from app.report.phrases import by_finding, capital, clean, clean_lines, folded, quoted
from app.report.references import References
from app.report.reviewed import Settled, acknowledged_by, confirmed_by

# Beyond this many a list is hard to read; what is left out stands in the full grid.
MOST_MISSING = 8


@dataclass(frozen=True)
class WarningLine:
    """One warning: how urgent, what, the clinic's own pathway, why, and what could change it."""

    urgency: str
    label: str
    says: str
    pathway: str
    because: str
    missing: str
    marks: str


@dataclass(frozen=True)
class CategoryLine:
    """One listed category. head: its label, level, side and qualifiers."""

    label: str
    head: str
    reasons_for: str
    against: str
    missing: str
    marks: str


@dataclass(frozen=True)
class StepLine:
    """One next step with the clinic's own pathway and the marks of its sources.

    decided: what the physician decided, with the reason, if anything.
    """

    says: str
    pathway: str
    marks: str
    decided: str
    reason: str = ""


@dataclass(frozen=True)
class StepGroup:
    """The next steps of one urgency."""

    urgency: str
    steps: tuple[StepLine, ...]

    @property
    def is_list(self) -> bool:
        """Whether something stands beside a step, so that each needs a line of its own."""
        return any(step.decided or step.pathway for step in self.steps)


@dataclass(frozen=True)
class Medicines:
    """The medicine list; `note` stands in its place where there is none."""

    note: str
    recognised: str
    not_recognised: str


@dataclass(frozen=True)
class SettledLine:
    """What one person settled while reviewing. by: name, role and time; what: in words."""

    by: str
    what: str


@dataclass(frozen=True)
class Summary:
    """Page one, in the order in which it is printed."""

    reason: str
    onset: str
    urgent: tuple[WarningLine, ...]
    warnings: tuple[WarningLine, ...]
    categories: tuple[CategoryLine, ...]
    falls: WarningLine
    hazards: str
    steps: tuple[StepGroup, ...]
    signs: tuple[Row, ...]
    normal: str
    history: str
    measures: str
    conflicts: tuple[str, ...]
    unexplained: str
    medicines: Medicines
    not_examined: str
    not_examined_others: str
    untestable: tuple[str, ...]
    bulk: str
    recorded_by: str
    recorded: tuple[str, ...]
    acknowledged: tuple[SettledLine, ...]
    confirmed: tuple[SettledLine, ...]
    impression: tuple[str, ...]
    plan: tuple[str, ...]
    for_patient: tuple[str, ...]
    codes: str


def summary(report: ReportInput, knowledge: Knowledge, references: References) -> Summary:
    """Put page one into words."""
    exam, found = report.exam, report.assessment
    warnings = [
        _warning(raised, report, knowledge, references)
        for raised in found.warnings
        if raised is not found.fall_risk
    ]
    urgent = {capital(urgency_words(each)) for each in ("emergency", "same_day")}
    stations = coverage(exam)
    return Summary(
        reason=clean(report.reason) or _("not recorded"),
        onset=onset_words(exam),
        urgent=tuple(line for line in warnings if line.urgency in urgent),
        warnings=tuple(line for line in warnings if line.urgency not in urgent),
        categories=tuple(_category(one, knowledge, references) for one in found.listed),
        falls=_falls(found.fall_risk, knowledge, references),
        hazards="; ".join(
            _with_reasons(knowledge.hazards[hazard.id].label, hazard.because, knowledge)
            for hazard in found.hazards
        ),
        steps=_steps(report, knowledge, references),
        signs=abnormal_rows(exam),
        normal=normal_words(stations),
        history="; ".join(
            folded(
                [
                    (label, words)
                    for label, words in recorded_items(
                        exam, ("history",), State.ABNORMAL, State.DESCRIBED
                    )
                    if label not in [vocabulary()[each].label for each in ONSET]
                ]
            )
        ),
        measures="; ".join(folded(recorded_items(exam, ("measures", "gait"), State.DESCRIBED))),
        conflicts=tuple(conflict_lines(report)),
        unexplained="; ".join(folded(by_finding(found.unexplained, knowledge))),
        medicines=_medicines(report, knowledge),
        not_examined=not_examined_words(stations),
        not_examined_others=others_words(stations),
        untestable=tuple(
            # What somebody typed stands last in its line, so that text that runs from right to
            # left can draw no side or number of ours into it.
            f"{', '.join(folded(cells))}: {quoted(reason)}"
            for reason, cells in untestable_groups(exam)
        ),
        bulk="; ".join(
            station.label for station in vocabulary().stations if station.id in report.bulk_stations
        ),
        recorded_by="; ".join(clean(name) for name in report.recorded_by) or _("not recorded"),
        recorded=tuple(clean(line) for line in report.recorded),
        acknowledged=_settled(acknowledged_by(report.acknowledged, found, knowledge)),
        confirmed=_settled(confirmed_by(report.confirmed, exam)),
        impression=clean_lines(report.impression),
        plan=clean_lines(report.plan),
        for_patient=clean_lines(report.for_patient),
        codes="; ".join(codes_words(report.codes, knowledge)),
    )


def category_head(found: CategoryFound, knowledge: Knowledge) -> str:
    """Level, side and qualifiers of a category, in words."""
    category = knowledge.categories[found.id]
    qualifiers = [category.qualifiers[name].label for name in found.qualifiers]
    parts = [level_words(found.level), side_words(found.side), ", ".join(qualifiers)]
    return "; ".join(part for part in parts if part)


def _warning(
    raised: WarningRaised, report: ReportInput, knowledge: Knowledge, references: References
) -> WarningLine:
    words = knowledge.warnings[raised.id]
    return WarningLine(
        urgency=capital(urgency_words(raised.urgency)),
        label=words.label,
        says=words.says,
        pathway=_pathway(raised.id, report),
        because="; ".join(folded(by_finding(raised.because, knowledge))),
        missing=_missing(raised.missing, knowledge),
        marks=references.marks(raised.sources),
    )


def _category(found: CategoryFound, knowledge: Knowledge, references: References) -> CategoryLine:
    return CategoryLine(
        label=knowledge.categories[found.id].label,
        head=category_head(found, knowledge),
        reasons_for=_reasons_for(found, knowledge),
        against="; ".join(folded(by_finding(found.against, knowledge))),
        missing=_missing(found.missing, knowledge),
        marks=references.marks(found.sources),
    )


def _reasons_for(found: CategoryFound, knowledge: Knowledge) -> str:
    if knowledge.categories[found.id].built_from_vocabulary and found.level == "fits":
        # The few answers with a word of their own would read as if it rested on them alone.
        return _("Every part of the quick pass, examined and normal")
    return "; ".join(folded(by_finding(found.reasons_for, knowledge)))


def _falls(raised: WarningRaised, knowledge: Knowledge, references: References) -> WarningLine:
    return WarningLine(
        urgency=urgency_words(raised.urgency),
        label=capital(fall_level_words(raised.level or "open")),
        says=f"{knowledge.fall_risk.says} {knowledge.fall_risk.caveat}",
        pathway="",
        because="; ".join(folded(by_finding(raised.because, knowledge))),
        missing=_missing(raised.missing, knowledge),
        marks=references.marks(raised.sources),
    )


def _missing(missing: Sequence[Reason], knowledge: Knowledge) -> str:
    findings = by_finding(missing, knowledge)
    shown = folded(findings[:MOST_MISSING])
    left = len(findings) - MOST_MISSING
    return "; ".join([*shown, _("and {left} more").format(left=left)] if left > 0 else shown)


def _steps(
    report: ReportInput, knowledge: Knowledge, references: References
) -> tuple[StepGroup, ...]:
    decided = {each.step: each for each in report.decisions}

    def line(step_id: str, sources: tuple[str, ...]) -> StepLine:
        says, pathway = knowledge.steps[step_id].says, _pathway(step_id, report)
        marks = references.marks(sources)
        if decision := decided.get(step_id):
            words = _("Taken over") if decision.is_taken else _("Declined")
            return StepLine(says, pathway, marks, words, clean(decision.reason))
        return StepLine(says, pathway, marks, _("Not decided") if report.signature else "")

    steps = report.assessment.next_steps
    groups = [
        StepGroup(
            capital(urgency_words(urgency)),
            tuple(line(step.id, step.sources) for step in steps if step.urgency == urgency),
        )
        for urgency in URGENCIES
    ]
    suggested = {step.id for step in steps}
    # What was decided is never dropped, also where the exam no longer suggests it.
    left = tuple(line(step_id, ()) for step_id in decided if step_id not in suggested)
    return tuple(
        group for group in (*groups, StepGroup(_("No longer suggested"), left)) if group.steps
    )


def _settled(groups: Sequence[Settled]) -> tuple[SettledLine, ...]:
    return tuple(SettledLine(each.by, "; ".join(folded(each.items))) for each in groups)


def _pathway(rule: str, report: ReportInput) -> str:
    """The clinic's own words on a warning or a step, its lines one behind the other."""
    return " / ".join(clean_lines(report.pathways.get(rule, "")))


def _with_reasons(label: str, because: Sequence[Reason], knowledge: Knowledge) -> str:
    why = folded(by_finding(because, knowledge))
    if why and why[0].startswith(label):
        return ", ".join(why)
    return f"{label}: {', '.join(why)}" if why else label


def _medicines(report: ReportInput, knowledge: Knowledge) -> Medicines:
    taken = report.exam.medicines
    if not taken:
        return Medicines(_("Not asked.") if taken is None else _("None taken."), "", "")
    known = [
        f"{clean(text)} ({words})"
        for text, words in medicines_in_words(report.assessment, knowledge)
    ]
    unknown = [clean(line.text) for line in report.assessment.not_recognised]
    return Medicines("", "; ".join(known), "; ".join(unknown))
