"""What to consider next, and what to examine next."""

from collections.abc import Iterator

from app.assess.assessment import (
    FITS,
    URGENCIES,
    CategoryFound,
    CheckNext,
    Hazard,
    NextStep,
    Reason,
    WarningRaised,
)
from app.assess.categories import sources_of
from app.assess.warnings import lacking
from app.assess.world import ExamWorld
from app.exam.vocabulary import Side, vocabulary
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


def check_next(
    world: ExamWorld,
    categories: tuple[CategoryFound, ...],
    fall_risk: WarningRaised,
    raised: tuple[WarningRaised, ...],
) -> tuple[CheckNext, ...]:
    """Every unexamined finding that could settle or raise something, the most telling first.

    First what could raise an emergency one part of which is true; then by how many open categories
    it bears on; then the falls group; then other warnings; then the order of findings.toml.
    """
    emergencies = _Wanted()
    opens = _Wanted()
    falls = _Wanted()
    others = _Wanted()
    urgency = {each.id: each.urgency for each in raised}
    for warning in world.knowledge.warnings.values():
        if urgency.get(warning.id) != "emergency":
            emergencies.add(world, warning.id, lacking(world, warning, "emergency"))
        if warning.id not in urgency:
            others.add(world, warning.id, lacking(world, warning))
    for found in categories:
        if found.level == "open":
            opens.add(world, found.id, found.missing)
    falls.add(world, fall_risk.id, fall_risk.missing)

    groups = (emergencies, opens, falls, others)
    wanted = {finding: None for group in groups for finding in group.settles}

    def rank(finding: str) -> tuple[bool, int, bool, bool, tuple[int, int]]:
        return (
            finding not in emergencies.settles,
            -len(opens.settles.get(finding, ())),
            finding not in falls.settles,
            finding not in others.settles,
            vocabulary().place(finding),
        )

    return tuple(
        CheckNext(finding, _sides(finding, groups), _settles(world, finding, groups))
        for finding in sorted(wanted, key=rank)
    )


class _Wanted:
    """Unexamined cells that something asks for, by finding: what they settle, on which sides."""

    def __init__(self) -> None:
        self.settles: dict[str, dict[str, None]] = {}
        self.sides: dict[str, set[Side | None]] = {}

    def add(self, world: ExamWorld, asked_by: str, reasons: tuple[Reason, ...]) -> None:
        for reason in reasons:
            if reason.finding is None or reason.finding not in vocabulary():
                continue
            # What was tried and could not be judged is not asked for again, nor a detail of what
            # is known not to be there.
            finding = vocabulary()[reason.finding]
            described = finding.detail_of and world.exam.value(finding.detail_of, reason.side)
            if described != 0 and not world.exam.is_untestable(reason.finding, reason.side):
                self.settles.setdefault(reason.finding, {})[asked_by] = None
                self.sides.setdefault(reason.finding, set()).add(reason.side)


def _sides(finding: str, groups: tuple[_Wanted, ...]) -> str | None:
    sides = {side for group in groups for side in group.sides.get(finding, ())}
    return "both" if len(sides) > 1 else next(iter(sides))


def _settles(world: ExamWorld, finding: str, groups: tuple[_Wanted, ...]) -> tuple[str, ...]:
    named = {each for group in groups for each in group.settles.get(finding, ())}
    order = (
        *world.knowledge.categories,
        *world.knowledge.warnings,
        world.knowledge.fall_risk.id,
    )
    return tuple(each for each in order if each in named)
