"""What the templates about the knowledge may read: one frozen dataclass a page."""

from dataclasses import dataclass

from app.knowledge.describe_help import HelpStation
from app.knowledge.described import (
    CategoryDescription,
    Claim,
    FallsDescription,
    FigureDescription,
    MedicineClassDescription,
    Named,
    NormDescription,
    SectionDescription,
    SignDescription,
    SourceDescription,
    StepDescription,
    ThresholdDescription,
    WarningDescription,
)
from app.knowledge.linked import Words
from app.web.pages import Page, Who


@dataclass(frozen=True, kw_only=True)
class KnowledgePage(Page):
    """What every page about the knowledge says beside its own."""

    version: str


@dataclass(frozen=True)
class IndexLine:
    """One pattern or warning in the list of all."""

    named: Named
    says: str


@dataclass(frozen=True, kw_only=True)
class IndexPage(KnowledgePage):
    """knowledge/index.html."""

    categories: tuple[IndexLine, ...]
    warnings: tuple[IndexLine, ...]
    falls: FallsDescription
    signs: tuple[Named, ...]
    status: str


@dataclass(frozen=True, kw_only=True)
class CategoryPage(KnowledgePage):
    """knowledge/category.html."""

    category: CategoryDescription


@dataclass(frozen=True, kw_only=True)
class WarningPage(KnowledgePage):
    """knowledge/warning.html."""

    warning: WarningDescription


@dataclass(frozen=True, kw_only=True)
class FallsPage(KnowledgePage):
    """knowledge/falls.html."""

    falls: FallsDescription


@dataclass(frozen=True, kw_only=True)
class SignPage(KnowledgePage):
    """knowledge/sign.html."""

    sign: SignDescription


@dataclass(frozen=True, kw_only=True)
class ExaminedPage(KnowledgePage):
    """knowledge/exam.html."""

    stations: tuple[HelpStation, ...]


@dataclass(frozen=True, kw_only=True)
class StepsPage(KnowledgePage):
    """knowledge/steps.html."""

    steps: tuple[StepDescription, ...]


@dataclass(frozen=True, kw_only=True)
class MedicinesPage(KnowledgePage):
    """knowledge/medicines.html."""

    classes: tuple[MedicineClassDescription, ...]


@dataclass(frozen=True, kw_only=True)
class NormsPage(KnowledgePage):
    """knowledge/norms.html."""

    norms: tuple[NormDescription, ...]
    thresholds: tuple[ThresholdDescription, ...]
    no_figure: str
    figures: tuple[FigureDescription, ...]


@dataclass(frozen=True, kw_only=True)
class SourcesPage(KnowledgePage):
    """knowledge/sources.html."""

    sources: tuple[SourceDescription, ...]


@dataclass(frozen=True, kw_only=True)
class AboutPage(KnowledgePage):
    """knowledge/about.html. notice: what the licence of the terms that it uses asks for."""

    sections: tuple[SectionDescription, ...]
    notice: str


# ---- one rule in one exam


@dataclass(frozen=True)
class ConditionView:
    """One condition with its answer. truth: `yes`, `no` or `unknown`; answer: the same in words.

    entries: what was recorded that it rests on; lacking: what could still decide.
    """

    words: Words
    truth: str
    answer: str
    entries: tuple[str, ...]
    lacking: tuple[str, ...]
    items: tuple["ConditionView", ...]


@dataclass(frozen=True)
class PartView:
    """One part of what a rule asks for; without a heading where it is the only one."""

    heading: str
    condition: ConditionView


@dataclass(frozen=True)
class CautionView:
    """A feature that argues against the usual cause, in this exam."""

    says: str
    condition: ConditionView
    claims: tuple[Claim, ...]


@dataclass(frozen=True)
class TierView:
    """One urgency, or one branch of the falls group. condition: None for every other case."""

    level: str
    says: str
    condition: ConditionView | None
    is_reached: bool


@dataclass(frozen=True)
class GoalView:
    """What would change the result: the changes in words, or that no small one would."""

    title: str
    changes: tuple[str, ...]
    more_changes: tuple[str, ...]
    none: str


@dataclass(frozen=True, kw_only=True)
class WhyPage(Page):
    """knowledge/why.html: one rule explained for one exam.

    named: where the rule itself is explained. together: said where the whole is sure though a part
    is not. cautions_*: those that are there, that are not known, and that are not there.
    """

    who: Who
    sheet: str
    examined: str
    version: str
    named: Named
    is_emergency: bool
    result: str
    says: str
    meaning: str
    together: str
    requirement: tuple[PartView, ...]
    cautions_there: tuple[CautionView, ...]
    cautions_unknown: tuple[CautionView, ...]
    cautions_absent: tuple[str, ...]
    tiers: tuple[TierView, ...]
    goals: tuple[GoalView, ...]
    missing: tuple[str, ...]
    untestable: tuple[str, ...]
    misleads: tuple[str, ...]
    claims: tuple[Claim, ...]
    status: str


# ---- why one finding is asked for


@dataclass(frozen=True)
class OutcomeView:
    """Answers that give the same result. is_change: whether that is another one than now."""

    answers: str
    result: str
    is_change: bool


@dataclass(frozen=True)
class EffectView:
    """What a finding could do to one rule.

    side: empty where the finding has none. note: said in place of the answers.
    """

    rule: str
    label: str
    side: str
    now: str
    outcomes: tuple[OutcomeView, ...]
    note: str


@dataclass(frozen=True, kw_only=True)
class AskedPage(Page):
    """knowledge/asked.html: why one finding is asked for. No effects where it is not asked for."""

    who: Who
    exam_id: str
    sheet: str
    place: str
    examined: str
    version: str
    finding: str
    hint: str
    effects: tuple[EffectView, ...]
