"""Which codes are offered for the summary of an exam; whoever signs chooses among them."""

from dataclasses import dataclass

from app.assess.assess import world_of
from app.assess.assessment import Reason
from app.exam.record import Exam
from app.knowledge.load import Knowledge
from app.logic.truth import YES


@dataclass(frozen=True)
class OfferedCode:
    """A code with its title, verbatim. because: what was recorded that asks for it."""

    code: str
    title: str
    because: tuple[Reason, ...]


def offered_codes(exam: Exam, knowledge: Knowledge) -> tuple[OfferedCode, ...]:
    """The codes that an exam asks for, in the order of the knowledge.

    What is unknown asks for none. Of two that the classification keeps apart (Excludes1) only the
    first is offered.
    """
    world, icd = world_of(exam, knowledge), knowledge.icd
    offered: dict[str, OfferedCode] = {}
    for each in icd.suggested:
        condition = knowledge.conditions[each.when]
        if world.truth(condition, each.side) is YES and not icd.clashes((*offered, each.code)):
            because = world.because(condition, side=each.side)
            offered[each.code] = OfferedCode(each.code, icd.title[each.code], because)
    return tuple(offered.values())
