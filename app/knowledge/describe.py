"""Describe the rules in words: patterns, warnings, the falls group and their steps."""

from collections.abc import Iterable, Iterator, Mapping

from app.exam.vocabulary import vocabulary
from app.knowledge.describe_case import describe_case
from app.knowledge.describe_codes import describe_codes
from app.knowledge.described import (
    BranchDescription,
    CategoryDescription,
    CautionDescription,
    Claim,
    FallsDescription,
    HazardDescription,
    QualifierDescription,
    SectionDescription,
    StepDescription,
    StepOf,
    TierDescription,
    WarningDescription,
)
from app.knowledge.linked import Term, Words, capital, join, lower_whole
from app.knowledge.load import Knowledge
from app.knowledge.mentions import label_of, named, used_by
from app.knowledge.model import STANDING_WORDS, Category, CategoryStep, Step, Support, WarningRule
from app.knowledge.model_falls import FallStep
from app.knowledge.outline import Outline, outline
from app.knowledge.table import Answer
from app.knowledge.terms import (
    ANSWER_WORDS,
    FALL_WORDS,
    RAISED_WORDS,
    STATUS_WORDS,
    fall_level_words,
    level_words,
    urgency_words,
)
from app.knowledge.words import condition_words, rule_words, words_of
from app.language.words import N_, Spoken, _

_AT = Spoken(
    {"fits": N_("Where it fits"), "listed": N_("Where it fits, is partly there, or is open")}
)


def describe_category(category: Category, knowledge: Knowledge) -> CategoryDescription:
    """One pattern."""
    conditions = knowledge.conditions
    return CategoryDescription(
        id=category.id,
        label=category.label,
        says=category.says,
        status=STATUS_WORDS[category.status],
        sentence=rule_words(category, knowledge),
        rule=None
        if category.built_from_vocabulary
        else outline(knowledge.requirement(category), knowledge),
        core=tuple(outline(conditions[each], knowledge) for each in category.core),
        cautions=tuple(
            CautionDescription(
                each.says,
                outline(conditions[each.when], knowledge),
                claims(each.support, knowledge),
            )
            for each in category.caution
        ),
        qualifiers=tuple(
            QualifierDescription(
                each.label,
                outline(conditions[each.when], knowledge),
                "; ".join(level_words(level) for level in each.at),
            )
            for each in category.qualifier
        ),
        steps=tuple(_category_step(category, each, knowledge) for each in category.step),
        explains=tuple(_explained(category.explains, knowledge)),
        misleads=category.misleads,
        claims=claims(category.support, knowledge),
        codes=describe_codes(category.id, knowledge),
        cases=tuple(describe_case(each, knowledge) for each in category.case),
        no_cases=_no_cases(ANSWER_WORDS, category.no_case),
        used_by=used_by(knowledge, "categories", category.id),
    )


def describe_warning(warning: WarningRule, knowledge: Knowledge) -> WarningDescription:
    """One warning."""
    return WarningDescription(
        id=warning.id,
        label=warning.label,
        says=warning.says,
        status=STATUS_WORDS[warning.status],
        signs=outline(knowledge.conditions[warning.signs], knowledge),
        context=_outlined(warning.context, knowledge),
        tiers=tuple(
            TierDescription(urgency_words(tier.urgency), _outlined(tier.when, knowledge))
            for tier in warning.tier
        ),
        qualifiers=tuple(
            QualifierDescription(each.label, outline(knowledge.conditions[each.when], knowledge))
            for each in warning.qualifier
        ),
        steps=tuple(named("steps", step, knowledge) for step in warning.steps),
        claims=claims(warning.support, knowledge),
        cases=tuple(describe_case(each, knowledge) for each in warning.case),
        no_cases=_no_cases(RAISED_WORDS, warning.no_case),
        used_by=used_by(knowledge, "warnings", warning.id),
    )


def describe_falls(knowledge: Knowledge) -> FallsDescription:
    """The falls group with its hazards."""
    rule = knowledge.fall_risk
    return FallsDescription(
        label=rule.label,
        says=rule.says,
        caveat=rule.caveat,
        status=STATUS_WORDS[rule.status],
        branches=tuple(
            BranchDescription(
                capital(fall_level_words(branch.level)),
                urgency_words(branch.urgency),
                branch.says,
                _outlined(branch.when, knowledge),
            )
            for branch in rule.branch
        ),
        steps=tuple(_fall_step(step, knowledge) for step in rule.step),
        hazards=tuple(
            HazardDescription(
                each.id,
                each.label,
                outline(knowledge.conditions[each.when], knowledge),
                claims(each.support, knowledge),
            )
            for each in rule.hazard
        ),
        claims=claims(rule.support, knowledge),
        cases=tuple(describe_case(each, knowledge) for each in rule.case),
    )


def describe_step(step: Step, knowledge: Knowledge) -> StepDescription:
    """Something to consider, and everything that it follows from."""
    urgency = (
        urgency_words(step.urgency) if step.urgency != "as cause" else _("as urgent as its cause")
    )
    return StepDescription(
        id=step.id,
        says=step.says,
        urgency=urgency,
        follows=tuple(_follows(step, knowledge)),
        claims=claims(step.support, knowledge),
    )


def describe_intended_use(knowledge: Knowledge) -> tuple[SectionDescription, ...]:
    """What the program is for, section by section."""
    return tuple(
        SectionDescription(
            section.title,
            tuple(each.replace("{version}", knowledge.version) for each in section.text),
            section.points,
            claims(section.support, knowledge),
        )
        for section in knowledge.intended_use.section
    )


def claims(support: Iterable[Support], knowledge: Knowledge) -> tuple[Claim, ...]:
    """What a rule rests on."""
    return tuple(
        Claim(
            each.claim,
            STANDING_WORDS[each.standing],
            named("sources", each.source, knowledge) if each.source else None,
            knowledge.sources[each.source].citation if each.source else "",
            each.where,
        )
        for each in support
    )


def _outlined(sentence: str | None, knowledge: Knowledge) -> Outline | None:
    return None if sentence is None else outline(knowledge.conditions[sentence], knowledge)


def _no_cases(answers: Mapping[str, str], reasons: Mapping[Answer, str]) -> tuple[str, ...]:
    return tuple(f"{answers[answer]}: {reason}" for answer, reason in reasons.items())


def _explained(sentences: tuple[str, ...], knowledge: Knowledge) -> Iterator[str]:
    for sentence in sentences:
        if sentence in vocabulary():
            yield vocabulary()[sentence].label
        else:
            yield capital(condition_words(knowledge.conditions[sentence], knowledge))


def _category_step(category: Category, step: CategoryStep, knowledge: Knowledge) -> StepOf:
    at = _AT[step.at]
    if step.qualifier:
        at += _(", and is described as “{label}”").format(
            label=category.qualifiers[step.qualifier].label
        )
    return StepOf(named("steps", step.id, knowledge), _when(at, step.when, knowledge))


def _fall_step(step: FallStep, knowledge: Knowledge) -> StepOf:
    group = (
        _("Where the group is {level}").format(level=FALL_WORDS[step.level])
        if step.level
        else _("Whatever the group")
    )
    return StepOf(named("steps", step.id, knowledge), _when(group, step.when, knowledge))


def _when(where: str, sentence: str | None, knowledge: Knowledge) -> Words:
    if sentence is None:
        return (Term(where),)
    return join(where, _(", if: "), words_of(knowledge.conditions[sentence], knowledge))


def _follows(step: Step, knowledge: Knowledge) -> Iterator[Words]:
    """Everything that a step follows from, one a line."""
    if step.follows_urgency:
        yield (
            Term(
                _("Every warning of the urgency “{follows_urgency}”").format(
                    follows_urgency=urgency_words(step.follows_urgency)
                )
            ),
        )
    for warning in knowledge.warnings.values():
        if step.id in warning.steps:
            yield join(_("The warning "), _link("warnings", warning.id, knowledge))
    for category in knowledge.categories.values():
        for each in category.step:
            if each.id == step.id:
                where = _category_step(category, each, knowledge).when
                pattern = _link("categories", category.id, knowledge)
                yield join(_("The pattern "), pattern, ". ", where)
    for fall_step in knowledge.fall_risk.step:
        if fall_step.id == step.id:
            where = _fall_step(fall_step, knowledge).when
            yield join(_("The "), _link("falls", "", knowledge), ". ", where)
    if step.follows_hazards:
        yield (Term(_("Any hazard beside the ")), *_link("falls", "", knowledge))
    if step.follows_open:
        yield (Term(_("Any pattern that is open, or an open ")), *_link("falls", "", knowledge))
    for follows in step.follows:
        yield join(_("By itself, if: "), words_of(knowledge.conditions[follows.when], knowledge))


def _link(group: str, thing: str, knowledge: Knowledge) -> Words:
    label = label_of(group, thing, knowledge)
    return (
        Term(lower_whole(label) if group == "falls" else f"{_('“')}{label}{_('”')}", group, thing),
    )
