"""Judge each category: its level, its side, its qualifiers, and what speaks for and against it."""

from collections.abc import Iterable, Mapping
from functools import lru_cache

from app.assess.assessment import FITS, CategoryFound, Level, Reason
from app.assess.exact import because_exactly, exactly
from app.assess.matters import cells_deciding
from app.assess.residue import Residues
from app.assess.world import ExamWorld, in_order
from app.exam.record import Value
from app.exam.vocabulary import Scale, Side, vocabulary
from app.knowledge.load import Knowledge
from app.knowledge.model import Category, Support
from app.logic.expression import Atom, Expression, Reference, positive_atoms
from app.logic.truth import UNKNOWN, YES, Truth


def judge_category(residues: Residues, category: Category) -> CategoryFound:
    """Judge one category in the exam of the residues."""
    world = residues.world
    level = level_of_exam(world, category)
    if level == "not_supported":
        return CategoryFound(category.id, level)
    core = _conditions(world, category.core)
    return CategoryFound(
        id=category.id,
        level=level,
        side=_side(world, core),
        qualifiers=_qualifiers(world, category, level),
        reasons_for=_for(world, category, level, core),
        against=_against(world, category, level),
        missing=_missing(residues, category, level),
        sources=_sources(world, category),
    )


def level_of_exam(world: ExamWorld, category: Category) -> Level:
    """The level of one category in one exam."""
    requirement = exactly(world, f"{category.id}_fits")
    return level_of(
        requirement,
        core=any(world.holds(sentence) is YES for sentence in category.core),
        cautioned=requirement is YES and exactly(world, f"{category.id}_cautioned") is YES,
    )


def level_of(requirement: Truth, *, core: bool, cautioned: bool) -> Level:
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


def _for(
    world: ExamWorld, category: Category, level: Level, core: list[Expression]
) -> tuple[Reason, ...]:
    """What was recorded that makes the requirement or a core sign true."""
    required = because_exactly(world, f"{category.id}_fits") if level in FITS else ()
    return in_order((*required, *world.because(*core)))


def _against(world: ExamWorld, category: Category, level: Level) -> tuple[Reason, ...]:
    """What was recorded that makes a caution true, whatever the level."""
    held = world.because(*_conditions(world, (each.when for each in category.caution)))
    if not held and level == "fits_with_cautions":
        return because_exactly(world, f"{category.id}_cautioned")
    return held


def _missing(residues: Residues, category: Category, level: Level) -> tuple[Reason, ...]:
    """The unknown cells that could change the level: of the requirement, or a first caution.

    What could not be tested stays among them, so that it can be seen why the level is open.
    """
    match level:
        case "open":
            condition = Reference(f"{category.id}_fits")
        case "fits":
            condition = Reference(f"{category.id}_cautioned")
        case _:
            return ()
    exam = residues.world.exam
    deciding = cells_deciding(residues, [condition], only_if_sure=level == "fits")
    return tuple(
        reason
        for reason in residues.world.unsettled(condition)
        if reason.finding is None
        or (reason.finding, reason.side) in deciding
        or exam.is_untestable(reason.finding, reason.side)
    )


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
    atoms = (
        atom.name
        for expression in core
        for atom in positive_atoms(expression, world.knowledge.definitions)
    )
    return [name for name in dict.fromkeys(atoms) if world.is_paired(name)]


def _weight(finding_id: str, value: Value | None) -> int:
    finding = vocabulary()[finding_id]
    if finding.scale is Scale.GRADE:
        return int(str(value))
    return int(finding.is_abnormal(value))


def explains(world: ExamWorld, category: Category, finding_id: str, side: Side | None) -> bool:
    """Whether a category explains an abnormal finding: by its list, its core or its requirement."""
    if finding_id in category.explains:
        return True
    atoms = _explaining(world.knowledge, category.id).get(finding_id, ())
    return any(world.judge(atom, side) is YES for atom in atoms)


@lru_cache(maxsize=64)
def _explaining(knowledge: Knowledge, category_id: str) -> Mapping[str, tuple[Atom, ...]]:
    """The atoms of each finding that speak for a category."""
    category = knowledge.categories[category_id]
    sentences = (*(s for s in category.explains if s not in vocabulary()), *category.core)
    conditions = [knowledge.conditions[sentence] for sentence in sentences]
    found: dict[str, dict[Atom, None]] = {}
    for condition in (*conditions, knowledge.requirement(category)):
        for atom in positive_atoms(condition, knowledge.definitions):
            found.setdefault(atom.name, {})[atom] = None
    return {name: tuple(atoms) for name, atoms in found.items()}
