"""Put one exam together: from what was recorded to everything that it adds up to."""

from collections.abc import Iterator
from functools import lru_cache
from typing import Any

from app.assess.assessment import (
    URGENCIES,
    Assessment,
    CategoryFound,
    Conflict,
    Reason,
    WarningRaised,
)
from app.assess.categories import explains
from app.assess.check_next import check_next
from app.assess.judged import judge
from app.assess.medicines import Formulary
from app.assess.steps import next_steps
from app.assess.warnings import judge_fall_risk, judge_hazards
from app.assess.world import ExamWorld
from app.exam.measures import QUANTITIES
from app.exam.record import Exam
from app.exam.vocabulary import SIDES, Side, vocabulary
from app.knowledge.load import Knowledge
from app.knowledge.model import Kind
from app.knowledge.names import kind_value
from app.logic.truth import YES


def assess(exam: Exam, knowledge: Knowledge) -> Assessment:
    """Assess one exam. Pure: the same exam and knowledge give the same assessment."""
    world = world_of(exam, knowledge)
    judged = judge(world)
    categories = tuple(each.category for each in judged.values() if each.category)
    raised = (each.warning for each in judged.values() if each.warning)
    fall_risk = judge_fall_risk(world)
    warnings = _by_urgency((*raised, fall_risk))
    hazards = judge_hazards(world)
    return Assessment(
        knowledge=knowledge.version,
        derived=dict(_derived(world)),
        categories=categories,
        warnings=warnings,
        next_steps=next_steps(world, categories, warnings, hazards),
        check_next=check_next(world, judged, fall_risk),
        hazards=hazards,
        unexplained=_unexplained(world, categories),
        conflicts=_conflicts(world),
        recognised=world.medicines.recognised,
        not_recognised=world.medicines.not_recognised,
    )


def world_of(exam: Exam, knowledge: Knowledge) -> ExamWorld:
    """One exam as the world that answers conditions, its medicines recognised."""
    return ExamWorld(exam, knowledge, _formulary(knowledge).check(exam.medicines))


@lru_cache(maxsize=4)
def _formulary(knowledge: Knowledge) -> Formulary:
    # Knowledge compares by identity, so the look-up is built once for each loaded knowledge.
    return Formulary(knowledge.medicines)


def _by_urgency(warnings: tuple[WarningRaised, ...]) -> tuple[WarningRaised, ...]:
    return tuple(sorted(warnings, key=lambda raised: URGENCIES.index(raised.urgency)))


def _derived(world: ExamWorld) -> Iterator[tuple[str, Any]]:
    for sign in world.knowledge.signs.values():
        if not sign.shown:
            continue
        if sign.sides == "pair":
            yield sign.id, {side: world.named(sign.id, side).known for side in SIDES}
        else:
            yield sign.id, world.named(sign.id).known
    for kind in world.knowledge.kinds.values():
        if kind.shown:
            yield kind.id, {side: _kind(world, kind, side) for side in SIDES}
    speed = QUANTITIES["walking_speed_m_per_s"]
    yield speed.id, speed.of(world.exam)


def _kind(world: ExamWorld, kind: Kind, side: Side) -> str | None:
    for value in kind.values:
        if world.named(kind_value(kind.id, value.id), side) is YES:
            return value.id
    return None


def _unexplained(world: ExamWorld, found: tuple[CategoryFound, ...]) -> tuple[Reason, ...]:
    listed = [world.knowledge.categories[f.id] for f in found if f.level != "not_supported"]
    return tuple(
        Reason(finding_id, side, value)
        for finding_id, side, value in world.exam.known()
        if vocabulary()[finding_id].is_sign
        and vocabulary()[finding_id].is_abnormal(value)
        and not any(explains(world, category, finding_id, side) for category in listed)
    )


def _conflicts(world: ExamWorld) -> tuple[Conflict, ...]:
    return tuple(
        Conflict(rule.findings, side, rule.says)
        for rule in world.knowledge.conflicts
        for side in (SIDES if rule.paired else (None,))
        if world.holds(rule.when, side) is YES
    )
