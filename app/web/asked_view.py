"""From what a finding is asked for to the page that shows it: everything in words."""

from collections.abc import Iterator
from dataclasses import replace
from decimal import Decimal
from itertools import groupby

from app.assess.answers import marks_of
from app.assess.asked import Effect, effects_of
from app.assess.results import NOT_RAISED
from app.assess.words import fall_level_words, level_words, side_words, urgency_words
from app.exam.record import Value
from app.exam.vocabulary import Finding, Scale, vocabulary
from app.knowledge.load import Knowledge
from app.language.words import N_, _
from app.report.phrases import value_words
from app.store.exams import ExamRecord
from app.web.knowledge_pages import AskedPage, EffectView, OutcomeView
from app.web.sheet import sheet_path
from app.web.wording import exam_time, local, who

_CALCULATED = N_("It is a number that the rule calculates with, together with others.")
_TOGETHER = N_(
    "With everything else as it is recorded no answer changes this by itself. It counts together "
    "with others that are not examined yet."
)


def asked_page(held: ExamRecord, finding_id: str, known: Knowledge) -> AskedPage:
    """Why one finding is asked for, and what each answer would do."""
    finding = vocabulary()[finding_id]
    examined = local(held.examined_at)
    effects = effects_of(held.exam, known, finding_id)
    side = f"-{effects[0].side}" if effects and effects[0].side else ""
    return AskedPage(
        title=_("Why next: {label}").format(label=finding.label),
        who=who(held.patient, examined.date()),
        exam_id=held.id,
        sheet=sheet_path(held.id, ""),
        place=f"c-{finding_id}{side}",
        examined=_("{held}, as recorded up to now").format(held=exam_time(held)),
        version=known.version,
        finding=finding.label,
        hint=finding.hint,
        effects=tuple(_effects(effects, finding, known)),
    )


def _effects(
    effects: tuple[Effect, ...], finding: Finding, known: Knowledge
) -> Iterator[EffectView]:
    """One block for each rule, or one for each side where the sides differ."""
    for _rule, group in groupby(effects, key=lambda effect: effect.rule):
        views = [_effect(each, finding, known) for each in group]
        if len({replace(view, side="") for view in views}) == 1 < len(views):
            views = [replace(views[0], side=_("RIGHT or LEFT"))]
        yield from views


def _effect(effect: Effect, finding: Finding, known: Knowledge) -> EffectView:
    note = "" if effect.is_by_itself else _(_TOGETHER)
    return EffectView(
        rule=effect.rule,
        label=_label(effect.rule, known),
        side=side_words(effect.side),
        now=_result(effect.rule, effect.now, known),
        outcomes=tuple(
            OutcomeView(
                answers=_answers(outcome.answers, finding, known),
                result=_result(effect.rule, outcome.result, known),
                is_change=outcome.result != effect.now,
            )
            for outcome in effect.outcomes
            if not note
        ),
        note=note if effect.outcomes else _(_CALCULATED),
    )


def _label(rule: str, known: Knowledge) -> str:
    if rule in known.categories:
        return known.categories[rule].label
    return known.warnings[rule].label if rule in known.warnings else known.fall_risk.label


def _result(rule: str, result: str, known: Knowledge) -> str:
    if rule in known.categories:
        return level_words(result)
    if rule in known.warnings:
        return (
            _("not raised")
            if result == NOT_RAISED
            else _("raised: {result}").format(result=urgency_words(result))
        )
    return fall_level_words(result)


def _answers(answers: tuple[Value, ...], finding: Finding, known: Knowledge) -> str:
    """Answers that come out alike; numbers as the range in which they lie."""
    first, last = answers[0], answers[-1]
    if finding.scale not in (Scale.COUNT, Scale.NUMBER):
        return ", ".join(value_words(finding, each) for each in answers)
    if (first, last) == (finding.minimum, finding.maximum):
        return _("any answer")
    if first == last:
        return value_words(finding, first)
    marks = marks_of(known, finding.id)
    below = [mark for mark in marks if mark < Decimal(str(first))]
    above = [mark for mark in marks if mark > Decimal(str(last))]
    whole = finding.scale is Scale.COUNT
    parts = []
    if first != finding.minimum:
        is_bound = whole or first in marks or not below
        said = value_words(finding, first if is_bound else below[-1])
        parts.append(
            _("{said} or more").format(said=said)
            if is_bound
            else _("more than {said}").format(said=said)
        )
    if last != finding.maximum:
        is_bound = whole or last in marks or not above
        said = value_words(finding, last if is_bound else above[0])
        parts.append(
            _("up to {said}").format(said=said) if is_bound else _("under {said}").format(said=said)
        )
    return ", ".join(parts)
