"""Judge each warning, and the falls group with its hazards."""

from app.assess.assessment import Hazard, Reason, WarningRaised
from app.assess.categories import sources_of
from app.assess.world import ExamWorld
from app.knowledge.model import Branch, Tier, WarningRule
from app.logic.expression import Expression
from app.logic.truth import UNKNOWN, YES


def judge_warning(world: ExamWorld, warning: WarningRule) -> WarningRaised | None:
    """One warning, where its signs, its context and one of its tiers hold."""
    if world.holds(warning.signs) is not YES or world.holds(warning.context) is not YES:
        return None
    tier = next((each for each in warning.tier if world.holds(each.when) is YES), None)
    if tier is None:
        return None
    held = (warning.signs, warning.context, tier.when)
    return WarningRaised(
        id=warning.id,
        urgency=tier.urgency,
        qualifiers=tuple(each.id for each in warning.qualifier if world.holds(each.when) is YES),
        because=world.because(*_read(world, *held)),
        missing=world.unsettled(*_read(world, *_higher(warning, tier))),
        sources=sources_of(warning.support),
    )


def lacking(
    world: ExamWorld, warning: WarningRule, urgency: str | None = None
) -> tuple[Reason, ...]:
    """What a warning lacks where one part of it is true and the other unknown.

    urgency: look at the tiers of this urgency only; what raises the warning there counts.
    """
    tiers = [each for each in warning.tier if urgency in (None, each.urgency)]
    found: tuple[Reason, ...] = ()
    for tier in tiers:
        context = _read(world, warning.context, tier.when)
        signs = _read(world, warning.signs)
        if not context:
            continue
        truths = [world.truth(each) for each in context]
        whole = YES if all(each is YES for each in truths) else None
        if whole is YES and world.holds(warning.signs) is UNKNOWN:
            found += world.unsettled(*signs)
        elif (
            world.holds(warning.signs) is YES
            and UNKNOWN in truths
            and not any(each is not YES and each is not UNKNOWN for each in truths)
        ):
            found += world.unsettled(*context)
    return found


def judge_fall_risk(world: ExamWorld) -> WarningRaised:
    """The falls group: the first branch that is true gives the level."""
    rule = world.knowledge.fall_risk
    branch = next(each for each in rule.branch if world.holds(each.when) is YES)
    return WarningRaised(
        id=rule.id,
        urgency=branch.urgency,
        level=branch.level,
        because=_answers(world, branch),
        missing=world.unsettled(*_read(world, branch.asks)),
        sources=sources_of(rule.support),
    )


def judge_hazards(world: ExamWorld) -> tuple[Hazard, ...]:
    """Every hazard that holds, in the order of the knowledge."""
    return tuple(
        Hazard(rule.id, world.because(*_read(world, rule.when)))
        for rule in world.knowledge.hazards.values()
        if world.holds(rule.when) is YES
    )


def _answers(world: ExamWorld, branch: Branch) -> tuple[Reason, ...]:
    """What the level rests on: the marks of a high one, else every answer and test recorded."""
    if branch.level == "high":
        return world.because(*_read(world, branch.when))
    return tuple(
        Reason(finding_id, None, value)
        for finding_id in world.knowledge.fall_risk.shows
        if (value := world.exam.value(finding_id)) is not None
    )


def _higher(warning: WarningRule, tier: Tier) -> list[str | None]:
    """The conditions of the tiers above the one that holds."""
    return [each.when for each in warning.tier[: warning.tier.index(tier)]]


def _read(world: ExamWorld, *sentences: str | None) -> list[Expression]:
    return [world.knowledge.conditions[each] for each in sentences if each is not None]
