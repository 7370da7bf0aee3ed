"""Judge each category: its level, its side, its qualifiers, and what speaks for and against it."""

from collections.abc import Iterable

from app.assess.assessment import CategoryFound, Level, Reason
from app.assess.world import ExamWorld
from app.exam.record import Value
from app.exam.vocabulary import Scale, Side, vocabulary
from app.knowledge.model import Category, Support
from app.logic.expression import Expression, positive_atoms
from app.logic.truth import UNKNOWN, YES, Truth


def judge_category(world: ExamWorld, category: Category) -> CategoryFound:
    """Judge one category in one exam."""
    requirement = world.knowledge.requirement(category)
    core = _conditions(world, category.core)
    cautions = _conditions(world, (caution.when for caution in category.caution))
    level = level_of(
        world.truth(requirement),
        any(world.truth(each) is YES for each in core),
        any(world.truth(each) is YES for each in cautions),
    )
    if level == "not_supported":
        return CategoryFound(category.id, level)
    return CategoryFound(
        id=category.id,
        level=level,
        side=_side(world, core),
        qualifiers=_qualifiers(world, category, level),
        reasons_for=world.because(requirement, *core),
        against=world.because(*cautions),
        missing=_missing(world, level, requirement, cautions),
        sources=_sources(world, category),
    )


def level_of(requirement: Truth, core: bool, cautioned: bool) -> Level:
    """The level of a category, from its requirement, its core signs and its cautions."""
    if requirement is YES:
        return "fits_with_cautions" if cautioned else "fits"
    if not core:
        return "not_supported"
    return "open" if requirement is UNKNOWN else "partial"


def sources_of(support: Iterable[Support]) -> tuple[str, ...]:
    """The sources that some support names, each once."""
    return tuple(dict.fromkeys(each.source for each in support if each.source))


def _conditions(world: ExamWorld, sentences: Iterable[str]) -> list[Expression]:
    return [world.knowledge.conditions[sentence] for sentence in sentences]


def _missing(
    world: ExamWorld, level: Level, requirement: Expression, cautions: list[Expression]
) -> tuple[Reason, ...]:
    """The unknown cells that could change the level: of the requirement, or a first caution."""
    if level == "open":
        return world.unsettled(requirement)
    return world.unsettled(*cautions) if level == "fits" else ()


def _qualifiers(world: ExamWorld, category: Category, level: Level) -> tuple[str, ...]:
    return tuple(
        qualifier.id
        for qualifier in category.qualifier
        if (not qualifier.at or level in qualifier.at) and world.holds(qualifier.when) is YES
    )


def _sources(world: ExamWorld, category: Category) -> tuple[str, ...]:
    held = [
        support
        for caution in category.caution
        if world.holds(caution.when) is YES
        for support in caution.support
    ]
    return sources_of((*category.support, *held))


def _side(world: ExamWorld, core: list[Expression]) -> str | None:
    """The side with the larger sum of the core findings that are known on both sides."""
    sums = {Side.RIGHT: 0, Side.LEFT: 0}
    for finding_id in _paired_findings(world, core):
        values = {side: world.exam.value(finding_id, side) for side in sums}
        if any(value is None for value in values.values()):
            continue
        for side, value in values.items():
            sums[side] += _weight(finding_id, value)
    right, left = sums[Side.RIGHT], sums[Side.LEFT]
    if right == left:
        return "both" if right > 0 else None
    return Side.RIGHT if right > left else Side.LEFT


def _paired_findings(world: ExamWorld, core: list[Expression]) -> list[str]:
    named: dict[str, None] = {}
    for expression in core:
        for atom in positive_atoms(expression, world.knowledge.definitions):
            if world.is_paired(atom.name):
                named[atom.name] = None
    return list(named)


def _weight(finding_id: str, value: Value | None) -> int:
    finding = vocabulary()[finding_id]
    if finding.scale is Scale.GRADE:
        return int(str(value))
    return int(finding.is_abnormal(value))


def explains(world: ExamWorld, category: Category, finding_id: str, side: Side | None) -> bool:
    """Whether a category explains an abnormal finding: by its list, its core or its requirement."""
    if finding_id in category.explains:
        return True
    listed = [s for s in category.explains if s not in vocabulary()]
    conditions = _conditions(world, (*listed, *category.core))
    conditions.append(world.knowledge.requirement(category))
    return any(
        atom.name == finding_id and world.judge(atom, side) is YES
        for condition in conditions
        for atom in positive_atoms(condition, world.knowledge.definitions)
    )
