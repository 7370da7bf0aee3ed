"""Judge each warning, and the falls group with its hazards."""

from app.assess.assessment import Hazard, Reason, WarningRaised
from app.assess.categories import sources_of
from app.assess.exact import because_exactly, exactly
from app.assess.world import ExamWorld
from app.knowledge.model import WarningRule
from app.knowledge.model_falls import Branch
from app.knowledge.names import tier_name
from app.logic.expression import Expression
from app.logic.truth import NO, UNKNOWN, YES


def judge_warning(world: ExamWorld, warning: WarningRule) -> WarningRaised | None:
    """One warning at the first of its tiers that holds; None where none does."""
    for place, tier in enumerate(warning.tier):
        name = tier_name(warning.id, tier.urgency)
        if exactly(world, name) is YES:
            above = [each.when for each in warning.tier[:place]]
            return WarningRaised(
                id=warning.id,
                urgency=tier.urgency,
                qualifiers=_qualifiers(world, warning),
                because=because_exactly(world, name),
                missing=world.unsettled(*_read(world, *above)),
                sources=sources_of(warning.support),
            )
    return None


def _qualifiers(world: ExamWorld, warning: WarningRule) -> tuple[str, ...]:
    return tuple(each.id for each in warning.qualifier if world.holds(each.when) is YES)


def lacking(
    world: ExamWorld, warning: WarningRule, urgency: str | None = None
) -> tuple[Reason, ...]:
    """What a warning lacks where one of its two parts is true and the other unknown.

    The parts are its signs and its context; a warning without a context has none but what its
    tiers ask for. urgency: look at the tiers of this urgency only.
    """
    found: tuple[Reason, ...] = ()
    for tier in warning.tier:
        context = warning.context or tier.when
        if urgency not in (None, tier.urgency) or context is None:
            continue
        signs, around, urgent = (world.holds(each) for each in (warning.signs, context, tier.when))
        asked = [tier.when] if urgent is UNKNOWN else []
        if signs is YES and around is UNKNOWN:
            asked.append(context)
        elif around is YES and signs is UNKNOWN:
            asked.append(warning.signs)
        elif not (signs is YES and around is YES):
            continue
        if urgent is not NO:
            found += world.unsettled(*_read(world, *asked))
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


def _read(world: ExamWorld, *sentences: str | None) -> list[Expression]:
    return [world.knowledge.conditions[each] for each in sentences if each is not None]
