"""What to consider next, and what to examine next."""

from collections.abc import Iterator, Sequence

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
from app.assess.matters import cells_deciding
from app.assess.residue import Residues
from app.assess.warnings import lacking
from app.assess.world import ExamWorld
from app.exam.record import Cell
from app.exam.vocabulary import Side, vocabulary
from app.knowledge.load import Knowledge
from app.knowledge.model import Step
from app.knowledge.names import tier_name
from app.logic.expression import Expression, Or, Reference
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


def conditions_of(knowledge: Knowledge, rule: str) -> list[Expression]:
    """The conditions on which the level of a category or the urgency of a warning depends.

    Of a warning: that it is so urgent or more, for each of its urgencies, the highest first. None
    for the falls group.
    """
    if rule in knowledge.categories:
        return [Reference(f"{rule}_fits")]
    if rule not in knowledge.warnings:
        return []
    tiers = [Reference(tier_name(rule, tier.urgency)) for tier in knowledge.warnings[rule].tier]
    return [Or(tuple(tiers[:place])) for place in range(1, len(tiers) + 1)]


def check_next(
    residues: Residues,
    categories: tuple[CategoryFound, ...],
    fall_risk: WarningRaised,
    raised: tuple[WarningRaised, ...],
) -> tuple[CheckNext, ...]:
    """Every unexamined finding that could settle or raise something, the most telling first.

    First what could raise an emergency one part of which is true; then by how many open categories
    it bears on; then the falls group; then other warnings; then the order of findings.toml.
    """
    world = residues.world
    emergencies = _Wanted(residues)
    opens = _Wanted(residues)
    falls = _Wanted(residues)
    others = _Wanted(residues)
    urgency = {each.id: each.urgency for each in raised}
    for warning in world.knowledge.warnings.values():
        conditions = conditions_of(world.knowledge, warning.id)
        if urgency.get(warning.id) != "emergency":
            # An emergency is the first of the tiers.
            emergencies.add(warning.id, lacking(world, warning, "emergency"), conditions[:1])
        if warning.id not in urgency:
            others.add(warning.id, lacking(world, warning), conditions)
    for found in categories:
        if found.level == "open":
            opens.add(found.id, found.missing)
    # What the falls group asks for is written beside each of its levels.
    falls.add(fall_risk.id, fall_risk.missing)

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

    def __init__(self, residues: Residues) -> None:
        self.residues = residues
        self.settles: dict[str, dict[str, None]] = {}
        self.sides: dict[str, set[Side | None]] = {}

    def add(
        self,
        asked_by: str,
        reasons: tuple[Reason, ...],
        conditions: Sequence[Expression] = (),
    ) -> None:
        """Add what is unexamined among the reasons, and could change one of the conditions."""
        cells = [cell for reason in reasons if (cell := self._unexamined(reason))]
        if cells and conditions:
            # A warning is raised or not; of a category it counts why it does not fit.
            is_warning = asked_by in self.residues.world.knowledge.warnings
            deciding = cells_deciding(self.residues, conditions, only_if_sure=is_warning)
            cells = [cell for cell in cells if cell in deciding]
        for finding, side in cells:
            self.settles.setdefault(finding, {})[asked_by] = None
            self.sides.setdefault(finding, set()).add(side)

    def _unexamined(self, reason: Reason) -> Cell | None:
        """The cell of a reason, where it is worth asking for.

        What was tried and could not be judged is not asked for again, nor a detail of what is
        known not to be there.
        """
        if reason.finding is None or reason.finding not in vocabulary():
            return None
        exam, finding = self.residues.world.exam, vocabulary()[reason.finding]
        described = finding.detail_of and exam.value(finding.detail_of, reason.side)
        if described == 0 or exam.is_untestable(reason.finding, reason.side):
            return None
        return reason.finding, reason.side


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
