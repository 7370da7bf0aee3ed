"""The answers to a finding that rules can tell apart."""

from decimal import Decimal
from functools import lru_cache

from app.exam.measures import QUANTITIES
from app.exam.record import Value
from app.exam.vocabulary import GRADES, Scale, vocabulary
from app.knowledge.load import Knowledge
from app.logic.expression import Atom, walk

# What a calculation works with: no single answer decides.
CALCULATED = frozenset(finding for each in QUANTITIES.values() for finding in each.inputs)


@lru_cache(maxsize=512)
def answers_to(knowledge: Knowledge, finding_id: str) -> tuple[Value, ...]:
    """The answers to a finding, in order; of a number enough to lie on every side of each mark.

    A mark is a threshold with which some rule compares the number.
    """
    finding = vocabulary()[finding_id]
    if finding.scale is Scale.GRADE:
        return GRADES
    if finding.scale is Scale.YESNO:
        return (False, True)
    if finding.scale is Scale.CHOICE:
        return finding.values
    marks = marks_of(knowledge, finding_id)
    ends = [end for end in (finding.minimum, finding.maximum) if end is not None]
    step = Decimal(1) if finding.scale is Scale.COUNT else Decimal("0.01")
    tried = sorted({*ends, *(mark + by for mark in marks for by in (-step, 0, step))})
    inside = [each for each in tried if min(ends) <= each <= max(ends)]
    return tuple(int(each) if finding.scale is Scale.COUNT else each for each in inside)


@lru_cache(maxsize=512)
def marks_of(knowledge: Knowledge, finding_id: str) -> tuple[Decimal, ...]:
    """The thresholds with which some rule compares a number, in order."""
    conditions = [each.expression for each in knowledge.definitions.values()]
    atoms = (part for each in (*conditions, *knowledge.conditions.values()) for part in walk(each))
    found = {
        Decimal(knowledge.thresholds[part.operands[0]].value)
        for part in atoms
        if isinstance(part, Atom) and part.name == finding_id and _is_marked(knowledge, part)
    }
    return tuple(sorted(found))


def _is_marked(knowledge: Knowledge, atom: Atom) -> bool:
    # What is compared with a norm has no mark of its own: that goes by age and sex.
    return bool(atom.operands) and atom.operands[0] in knowledge.thresholds
