"""Explain one rule in one exam: each condition with its answer, and what would change that."""

from dataclasses import dataclass

from app.assess.assess import world_of
from app.assess.assessment import FITS, Reason
from app.assess.categories import level_of_exam
from app.assess.changes import IS_YES, NOT_YES, Change, smallest_changes
from app.assess.exact import exactly
from app.assess.results import NOT_RAISED, result_of
from app.assess.world import ExamWorld
from app.exam.record import Exam
from app.knowledge.linked import Term, Words, capital, capital_words, plain
from app.knowledge.load import Knowledge
from app.knowledge.model import Category, Support, WarningRule
from app.knowledge.outline import split
from app.knowledge.words import words_of
from app.logic.expression import Expression, Reference
from app.logic.truth import YES, Truth


@dataclass(frozen=True)
class Condition:
    """One condition of a rule in one exam.

    entries: what was recorded that the answer rests on. lacking: what could still change it.
    items: the conditions that it is made of, where it is no single statement.
    """

    words: Words
    truth: Truth
    entries: tuple[Reason, ...]
    lacking: tuple[Reason, ...]
    items: tuple["Condition", ...] = ()

    @property
    def text(self) -> str:
        """Its words as text."""
        return plain(self.words)


@dataclass(frozen=True)
class Caution:
    """One feature that argues against the usual cause, and whether it is there."""

    says: str
    condition: Condition
    support: tuple[Support, ...]


@dataclass(frozen=True)
class Tier:
    """One urgency of a warning, or one branch of the falls group, and whether it holds.

    condition: None where it holds in every other case. is_reached: whether it is what counts.
    """

    level: str
    condition: Condition | None
    is_reached: bool
    says: str = ""


@dataclass(frozen=True)
class Goal:
    """What would be another result, and every smallest change that gives it; all of one size.

    reach: `fits`, `no_caution`, `no_longer`, `raised` or `not_raised`.
    """

    reach: str
    changes: tuple[Change, ...]


@dataclass(frozen=True)
class Explanation:
    """One rule in one exam: its conditions, its cautions, and what would change its result.

    truth: of the requirement as a whole, also where that is sure though a part of it is unknown.
    """

    rule: str
    level: str
    truth: Truth
    requirement: tuple[Condition, ...]
    cautions: tuple[Caution, ...] = ()
    tiers: tuple[Tier, ...] = ()
    goals: tuple[Goal, ...] = ()


def explain_category(exam: Exam, knowledge: Knowledge, category: Category) -> Explanation:
    """Explain the level of one category."""
    world = world_of(exam, knowledge)
    level = level_of_exam(world, category)
    fits, cautioned = (Reference(f"{category.id}_{what}") for what in ("fits", "cautioned"))

    def level_in(changed: ExamWorld) -> str:
        return level_of_exam(changed, category)

    goals = []
    if level not in FITS:
        found = smallest_changes(world, fits, IS_YES, level_in, lambda other: other in FITS)
        goals.append(Goal("fits", found))
    else:
        if level == "fits_with_cautions":
            found = smallest_changes(world, cautioned, NOT_YES, level_in, lambda it: it == "fits")
            goals.append(Goal("no_caution", found))
        found = smallest_changes(world, fits, NOT_YES, level_in, lambda other: other not in FITS)
        goals.append(Goal("no_longer", found))
    return Explanation(
        rule=category.id,
        level=level,
        truth=exactly(world, fits.name),
        requirement=()
        if category.built_from_vocabulary
        else (_condition(world, knowledge.requirement(category)),),
        cautions=tuple(
            Caution(each.says, _condition(world, knowledge.conditions[each.when]), each.support)
            for each in category.caution
        ),
        goals=tuple(goals),
    )


def explain_warning(exam: Exam, knowledge: Knowledge, warning: WarningRule) -> Explanation:
    """Explain one warning: its signs, its context, and what makes it as urgent as it is."""
    world = world_of(exam, knowledge)
    raised = Reference(f"{warning.id}_raised")

    def urgency_in(changed: ExamWorld) -> str:
        return result_of(changed, warning.id)

    level = urgency_in(world)
    is_raised = level != NOT_RAISED
    changes = smallest_changes(
        world,
        raised,
        NOT_YES if is_raised else IS_YES,
        urgency_in,
        lambda other: (other != NOT_RAISED) is not is_raised,
    )
    parts = [warning.signs, warning.context]
    return Explanation(
        rule=warning.id,
        level=level,
        truth=YES if is_raised else world.named(raised.name),
        requirement=tuple(
            _condition(world, knowledge.conditions[part]) for part in parts if part is not None
        ),
        tiers=tuple(
            Tier(tier.urgency, _optional(world, tier.when), tier.urgency == level)
            for tier in warning.tier
        ),
        goals=(Goal("not_raised" if is_raised else "raised", changes),),
    )


def explain_falls(exam: Exam, knowledge: Knowledge) -> Explanation:
    """Explain the falls group: its branches, of which the first that holds counts."""
    world = world_of(exam, knowledge)
    rule = knowledge.fall_risk
    reached = next(each for each in rule.branch if world.holds(each.when) is YES)
    return Explanation(
        rule=rule.id,
        level=reached.level,
        truth=YES,
        requirement=(),
        tiers=tuple(
            Tier(each.level, _optional(world, each.when), each is reached, each.says)
            for each in rule.branch
        ),
    )


def _optional(world: ExamWorld, sentence: str | None) -> Condition | None:
    return None if sentence is None else _condition(world, world.knowledge.conditions[sentence])


def _condition(world: ExamWorld, expression: Expression) -> Condition:
    joined, members = split(expression)
    return Condition(
        words=(Term(f"{capital(joined)}:"),)
        if members
        else capital_words(words_of(expression, world.knowledge)),
        truth=world.truth(expression),
        entries=world.grounds(expression),
        lacking=world.unsettled(expression),
        items=tuple(_condition(world, member) for member in members),
    )
