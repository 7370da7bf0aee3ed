"""What to consider next."""

from collections.abc import Iterator

from app.assess.assessment import (
    FITS,
    URGENCIES,
    CategoryFound,
    Hazard,
    NextStep,
    WarningRaised,
)
from app.assess.categories import sources_of
from app.assess.world import ExamWorld
from app.knowledge.model import Step
from app.logic.truth import YES


def next_steps(
    world: ExamWorld,
    categories: tuple[CategoryFound, ...],
    warnings: tuple[WarningRaised, ...],
    hazards: tuple[Hazard, ...],
) -> tuple[NextStep, ...]:
    """Every step that follows, in the order of the knowledge."""
    causes: dict[str, dict[str, None]] = {step: {} for step in world.knowledge.steps}
    for step, cause in (
        *_from_categories(world, categories),
        *_from_warnings(world, warnings),
        *_from_falls(world, warnings),
        *_by_themselves(world, categories, warnings, hazards),
    ):
        causes[step][cause] = None
    urgency = {raised.id: raised.urgency for raised in warnings}
    return tuple(
        NextStep(
            id=step.id,
            urgency=_urgency(step, causes[step.id], urgency),
            because=tuple(causes[step.id]),
            sources=sources_of(step.support),
        )
        for step in world.knowledge.steps.values()
        if causes[step.id]
    )


def _urgency(step: Step, causes: dict[str, None], of_warnings: dict[str, str]) -> str:
    if step.urgency != "as cause":
        return step.urgency
    of_causes = (of_warnings[cause] for cause in causes if cause in of_warnings)
    return min(of_causes, key=URGENCIES.index, default="routine")


def _from_categories(
    world: ExamWorld, categories: tuple[CategoryFound, ...]
) -> Iterator[tuple[str, str]]:
    for found in categories:
        if found.level == "not_supported":
            continue
        for step in world.knowledge.categories[found.id].step:
            fitting = step.at == "listed" or found.level in FITS
            named = step.qualifier is None or step.qualifier in found.qualifiers
            if fitting and named and world.holds(step.when) is YES:
                yield step.id, found.id


def _from_warnings(
    world: ExamWorld, warnings: tuple[WarningRaised, ...]
) -> Iterator[tuple[str, str]]:
    for raised in warnings:
        if raised.id in world.knowledge.warnings:
            for step in world.knowledge.warnings[raised.id].steps:
                yield step, raised.id


def _from_falls(world: ExamWorld, warnings: tuple[WarningRaised, ...]) -> Iterator[tuple[str, str]]:
    rule = world.knowledge.fall_risk
    level = next(raised.level for raised in warnings if raised.id == rule.id)
    for step in rule.step:
        if step.level in (None, level) and world.holds(step.when) is YES:
            yield step.id, rule.id


def _by_themselves(
    world: ExamWorld,
    categories: tuple[CategoryFound, ...],
    warnings: tuple[WarningRaised, ...],
    hazards: tuple[Hazard, ...],
) -> Iterator[tuple[str, str]]:
    """What follows from an urgency, a hazard, something open, or a condition of the step's own."""
    not_fitting = {found.id for found in categories if found.level not in FITS}
    for step in world.knowledge.steps.values():
        if step.follows_urgency:
            for raised in warnings:
                if raised.urgency == step.follows_urgency:
                    yield step.id, raised.id
        if step.follows_hazards and hazards:
            yield step.id, world.knowledge.fall_risk.id
        if step.follows_open:
            levels = {each.id: each.level for each in categories}
            levels |= {each.id: each.level or "" for each in warnings}
            for name, level in levels.items():
                if level == "open":
                    yield step.id, name
        for follows in step.follows:
            if world.holds(follows.when) is YES:
                for cause in follows.because:
                    if cause not in not_fitting:
                        yield step.id, cause
