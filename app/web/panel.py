"""What the exam adds up to, in the words and the order of the panel beside the sheet."""

from collections.abc import Iterable, Mapping, Sequence

from app.assess.assessment import (
    LISTED,
    URGENCIES,
    Assessment,
    CategoryFound,
    CheckNext,
    Reason,
    WarningRaised,
)
from app.assess.words import (
    fall_level_words,
    finding_words,
    level_words,
    medicines_in_words,
    rule_words,
    side_words,
    urgency_words,
)
from app.exam.layout import WHOLE
from app.exam.record import Exam
from app.exam.vocabulary import Side, vocabulary
from app.knowledge.load import Knowledge
from app.knowledge.mentions import cause_label
from app.knowledge.model import STANDING_WORDS
from app.language.words import N_, _
from app.report.phrases import by_finding, folded
from app.web.panel_view import (
    AskView,
    CategoryView,
    FallsView,
    PanelView,
    SourceView,
    StepsView,
    StepView,
    WarningView,
)
from app.web.sheet import tally
from app.web.sheet_view import MedicineLine

# More than three warnings at once are not read.
MOST_WARNINGS = 3
MOST_ASKED = 4
CALL = N_("Call the physician now")


def panel(
    exam: Exam,
    assessment: Assessment,
    knowledge: Knowledge,
    pathways: Mapping[str, str],
    *,
    for_nurse: bool = False,
) -> PanelView:
    """The panel.

    pathways: the clinic's own words by the id of a warning or a step. for_nurse: the reader has to
    call a physician where there is an emergency.
    """
    raised = [
        _warning(each, knowledge, pathways, for_nurse=for_nurse)
        for each in assessment.warnings
        if each is not assessment.fall_risk
    ]
    emergencies = tuple(each for each in raised if each.urgency == "emergency")
    others = tuple(each for each in raised if each.urgency != "emergency")
    by_level = sorted(assessment.listed, key=lambda found: LISTED.index(found.level))
    categories = tuple(_category(found, knowledge) for found in by_level)
    asked = tuple(_ask(each, knowledge) for each in assessment.check_next)
    is_empty = not exam.cells and exam.medicines is None
    falls = _falls(assessment, knowledge)
    return PanelView(
        alarm=_alarm(emergencies),
        headline=_("Nothing recorded yet") if is_empty else _headline(others, categories),
        is_empty=is_empty,
        emergencies=emergencies,
        warnings=others[:MOST_WARNINGS],
        more_warnings=others[MOST_WARNINGS:],
        categories=categories,
        falls=falls,
        steps=_steps(assessment, knowledge, pathways),
        ask=asked[:MOST_ASKED],
        more_ask=asked[MOST_ASKED:],
        conflicts=tuple(
            f"{conflict.says}{f' ({side_words(conflict.side)})' if conflict.side else ''}"
            for conflict in assessment.conflicts
        ),
        unexplained=_lines(assessment.unexplained, knowledge),
        not_examined=tuple(_not_examined(exam)),
        untestable=tuple(
            f"{finding_words(finding, side)}: {reason}"
            for finding, side, reason in exam.untestable()
        ),
        knowledge=assessment.knowledge,
    )


def medicine_lines(assessment: Assessment, knowledge: Knowledge) -> tuple[MedicineLine, ...]:
    """How each medicine line was read. Near misses are offered as text and never put in."""
    read = [
        MedicineLine(text, words, True) for text, words in medicines_in_words(assessment, knowledge)
    ]
    for missed in assessment.not_recognised:
        near = (
            _(": did you mean {near}?").format(near=_(" or ").join(missed.near))
            if missed.near
            else "."
        )
        read.append(
            MedicineLine(
                missed.text, _("not recognised, not checked{near}").format(near=near), False
            )
        )
    return tuple(read)


def _headline(others: Sequence[WarningView], categories: Sequence[CategoryView]) -> str:
    parts = [f"{each.urgency_short}: {each.label}" for each in others[:1]]
    if more := len(others[1:]):
        parts.append(
            _("1 more warning") if more == 1 else _("{more} more warnings").format(more=more)
        )
    parts += [
        f"{each.label} {each.level_words}{f', {each.side}' if each.side else ''}"
        for each in categories
    ]
    return ". ".join(parts) or _("No pattern in what is recorded so far")


def _alarm(emergencies: Sequence[WarningView]) -> str:
    """All emergencies in one line, which begins with the call where there is one to make."""
    says = [_("EMERGENCY: {label}.").format(label=each.label) for each in emergencies]
    calls = dict.fromkeys(f"{each.call}." for each in emergencies if each.call)
    return " ".join([*calls, *says])


def _category(found: CategoryFound, knowledge: Knowledge) -> CategoryView:
    category = knowledge.categories[found.id]
    return CategoryView(
        id=found.id,
        label=category.label,
        level=found.level,
        level_words=level_words(found.level),
        side=side_words(found.side),
        qualifiers=tuple(category.qualifiers[each].label for each in found.qualifiers),
        says=category.says,
        rule=rule_words(category, knowledge),
        reasons_for=_lines(found.reasons_for, knowledge),
        against=_lines(found.against, knowledge),
        missing=_asked_lines(found.missing, knowledge),
        misleads=category.misleads,
        sources=_sources(found.sources, knowledge),
    )


def _warning(
    raised: WarningRaised, knowledge: Knowledge, pathways: Mapping[str, str], *, for_nurse: bool
) -> WarningView:
    warning = knowledge.warnings[raised.id]
    labels = {each.id: each.label for each in warning.qualifier}
    return WarningView(
        id=raised.id,
        urgency=raised.urgency,
        urgency_words=urgency_words(raised.urgency),
        # A warning is one line; how soon "soon" is stands behind it.
        urgency_short=urgency_words(raised.urgency).partition(",")[0],
        label=warning.label,
        says=warning.says,
        pathway=pathways.get(raised.id, ""),
        call=_(CALL) if for_nurse and raised.urgency == "emergency" else "",
        qualifiers=tuple(labels[each] for each in raised.qualifiers),
        because=_lines(raised.because, knowledge),
        missing=_asked_lines(raised.missing, knowledge),
        sources=_sources(raised.sources, knowledge),
    )


def _falls(assessment: Assessment, knowledge: Knowledge) -> FallsView:
    raised = assessment.fall_risk
    return FallsView(
        level=fall_level_words(raised.level or "open"),
        says=knowledge.fall_risk.says,
        caveat=knowledge.fall_risk.caveat,
        because=_lines(raised.because, knowledge),
        missing=_asked_lines(raised.missing, knowledge),
        hazards=tuple(
            _with_reasons(knowledge.hazards[hazard.id].label, _lines(hazard.because, knowledge))
            for hazard in assessment.hazards
        ),
        sources=_sources(raised.sources, knowledge),
    )


def _steps(
    assessment: Assessment, knowledge: Knowledge, pathways: Mapping[str, str]
) -> tuple[StepsView, ...]:
    groups = []
    for urgency in URGENCIES:
        steps = tuple(
            StepView(
                knowledge.steps[step.id].says,
                ", ".join(cause_label(each, knowledge) for each in step.because),
                pathways.get(step.id, ""),
            )
            for step in assessment.next_steps
            if step.urgency == urgency
        )
        if steps:
            groups.append(StepsView(urgency, urgency_words(urgency), steps))
    return tuple(groups)


def _ask(asked: CheckNext, knowledge: Knowledge) -> AskView:
    side = Side.RIGHT if asked.side == "both" else asked.side
    return AskView(
        asked.finding,
        finding_words(asked.finding, asked.side),
        ", ".join(cause_label(each, knowledge) for each in asked.settles),
        f"c-{asked.finding}-{side}" if side else f"c-{asked.finding}",
    )


def _lines(reasons: Iterable[Reason], knowledge: Knowledge) -> tuple[str, ...]:
    """Reasons in lines, one for each finding, RIGHT before LEFT."""
    return tuple(
        f"{label}: {tail}" if tail else label for label, tail in by_finding(reasons, knowledge)
    )


def _asked_lines(reasons: Iterable[Reason], knowledge: Knowledge) -> tuple[str, ...]:
    """Unknown cells, those of one task or limb together in a line."""
    return tuple(folded(by_finding(reasons, knowledge)))


def _with_reasons(label: str, reasons: tuple[str, ...]) -> str:
    return f"{label} ({'; '.join(reasons)})" if reasons else label


def _sources(sources: Iterable[str], knowledge: Knowledge) -> tuple[SourceView, ...]:
    return tuple(
        SourceView(
            knowledge.sources[source].citation, STANDING_WORDS[knowledge.sources[source].standing]
        )
        for source in sources
    )


def _not_examined(exam: Exam) -> Iterable[str]:
    labels = {station.id: station.label for station in vocabulary().stations}
    for station in WHOLE:
        done, total = tally(exam, station)
        if total > done:
            left = (
                _("{total} of {total2}").format(total=total - done, total2=total)
                if done
                else _("all {total}").format(total=total)
            )
            yield f"{labels[station]}: {left}"
    if exam.medicines is None:
        yield _("Medicines: not asked")
