"""What one rule gives in one exam."""

from app.assess.exact import exactly
from app.assess.levels import levels
from app.assess.world import ExamWorld
from app.knowledge.names import tier_name
from app.logic.truth import YES

NOT_RAISED = "not_raised"


def result_of(world: ExamWorld, rule: str) -> str:
    """The level of a category or of the falls group, or the urgency of a warning."""
    known = world.knowledge
    if rule in known.categories:
        return levels(world)[rule]
    if rule in known.warnings:
        for tier in known.warnings[rule].tier:
            if exactly(world, tier_name(rule, tier.urgency)) is YES:
                return tier.urgency
        return NOT_RAISED
    return next(each.level for each in known.fall_risk.branch if world.holds(each.when) is YES)
