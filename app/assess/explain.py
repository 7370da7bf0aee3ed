"""Explain one rule in one exam: each condition with its answer, and what would change the level."""

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import combinations, product

from app.assess.assess import world_of
from app.assess.assessment import Reason
from app.assess.categories import level_of_exam
from app.assess.world import ExamWorld
from app.exam.record import Cell, Exam, Value
from app.exam.vocabulary import GRADES, Finding, Scale, Side, vocabulary
from app.knowledge.load import Knowledge
from app.knowledge.model import Category, Support, WarningRule
from app.knowledge.names import tier_name
from app.knowledge.words import condition_words
from app.logic.expression import And, Expression, Reference
from app.logic.truth import Truth

# A change of more findings than this is no help at the bedside.
MOST_CHANGED = 2


@dataclass(frozen=True)
class Condition:
    """One condition of a rule in one exam.

    entries: what was recorded that the answer rests on. lacking: what could still change it.
    """

    words: str
    truth: Truth
    entries: tuple[Reason, ...]
    lacking: tuple[Reason, ...]
    support: tuple[Support, ...] = ()


@dataclass(frozen=True)
class Change:
    """A smallest set of findings that would change the level.

    without: recorded findings that would have to be absent. with_: what would have to be found.
    """

    level: str
    without: tuple[Reason, ...] = ()
    with_: tuple[Reason, ...] = ()


@dataclass(frozen=True)
class Explanation:
    """One rule in one exam: its requirement, its cautions, and what would change its level."""

    rule: str
    level: str
    requirement: tuple[Condition, ...]
    cautions: tuple[Condition, ...] = ()
    changes: tuple[Change, ...] = ()


def explain_category(exam: Exam, knowledge: Knowledge, category: Category) -> Explanation:
    """Explain the level of one category."""
    world = world_of(exam, knowledge)
    level = level_of_exam(world, category)
    return Explanation(
        rule=category.id,
        level=level,
        requirement=tuple(
            _condition(world, part) for part in _parts(knowledge.requirement(category))
        ),
        cautions=tuple(
            _condition(world, knowledge.conditions[each.when], each.says, each.support)
            for each in category.caution
        ),
        changes=tuple(_changes(world, category, level)),
    )


def explain_warning(exam: Exam, knowledge: Knowledge, warning: WarningRule) -> Explanation:
    """Explain one warning: its signs, its context, and what makes it as urgent as it is."""
    world = world_of(exam, knowledge)
    raised = [
        tier.urgency
        for tier in warning.tier
        if world.truth(Reference(tier_name(warning.id, tier.urgency))) is Truth.YES
    ]
    sentences = [warning.signs, warning.context, *(tier.when for tier in warning.tier)]
    return Explanation(
        rule=warning.id,
        level=raised[0] if raised else "not_raised",
        requirement=tuple(
            _condition(world, knowledge.conditions[sentence])
            for sentence in dict.fromkeys(sentences)
            if sentence is not None
        ),
    )


def _parts(expression: Expression) -> tuple[Expression, ...]:
    return expression.members if isinstance(expression, And) else (expression,)


def _condition(
    world: ExamWorld, expression: Expression, words: str = "", support: tuple[Support, ...] = ()
) -> Condition:
    return Condition(
        words=words or condition_words(expression, world.knowledge),
        truth=world.truth(expression),
        entries=world.grounds(expression),
        lacking=world.unsettled(expression),
        support=support,
    )


def _changes(world: ExamWorld, category: Category, level: str) -> Iterator[Change]:
    """Every smallest change of one size that gives another level, tried from one finding up."""
    found = False
    for size in range(1, MOST_CHANGED + 1):
        for cells, values in _tried(world, category, size):
            changed = world.supposing(dict(zip(cells, values, strict=True)))
            other = level_of_exam(changed, category)
            if other != level:
                found = True
                yield _change(world, other, cells, values)
        if found:
            return


def _tried(
    world: ExamWorld, category: Category, size: int
) -> Iterator[tuple[tuple[Cell, ...], tuple[Value, ...]]]:
    """Sets of findings to change: what was found is made normal, what is unknown abnormal."""
    choices: dict[Cell, tuple[Value, ...]] = {}
    fits, cautioned = Reference(f"{category.id}_fits"), Reference(f"{category.id}_cautioned")
    held = (*world.grounds(fits, cautioned), *world.because(fits, cautioned))
    for finding, side, value in _cells(held):
        normal = finding.normal_value()
        if normal is not None and normal != value:
            choices[finding.id, side] = (normal,)
    for finding, side, _ in _cells(world.unsettled(fits)):
        choices[finding.id, side] = _abnormal(finding)
    for cells in combinations(choices, size):
        yield from ((cells, values) for values in product(*(choices[cell] for cell in cells)))


def _cells(reasons: tuple[Reason, ...]) -> Iterator[tuple[Finding, Side | None, Value | None]]:
    for reason in reasons:
        if reason.finding is not None and reason.finding in vocabulary():
            yield vocabulary()[reason.finding], reason.side, reason.value


def _abnormal(finding: Finding) -> tuple[Value, ...]:
    match finding.scale:
        case Scale.GRADE:
            return GRADES[2:3]
        case Scale.YESNO:
            return (True,)
        case Scale.CHOICE:
            return finding.values[1:] if finding.has_normal else finding.values
        case _:
            return ()


def _change(
    world: ExamWorld, level: str, cells: tuple[Cell, ...], values: tuple[Value, ...]
) -> Change:
    recorded = {cell: world.exam.value(*cell) for cell in cells}
    return Change(
        level=level,
        without=tuple(
            Reason(*cell, value) for cell, value in recorded.items() if value is not None
        ),
        with_=tuple(
            Reason(*cell, value)
            for cell, value in zip(cells, values, strict=True)
            if recorded[cell] is None
        ),
    )
