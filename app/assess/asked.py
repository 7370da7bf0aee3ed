"""Why a finding is asked for: what each answer would make of each rule that it could settle."""

from dataclasses import dataclass
from itertools import groupby

from app.assess.answers import CALCULATED, answers_to
from app.assess.assess import assess, world_of
from app.assess.judged import conditions_of
from app.assess.matters import cells_deciding
from app.assess.residue import Residues
from app.assess.results import result_of
from app.assess.world import ExamWorld
from app.exam.record import Cell, Exam, Value
from app.exam.vocabulary import SIDES, Side
from app.knowledge.load import Knowledge


@dataclass(frozen=True)
class Outcome:
    """Answers that follow each other on the scale and give the same result."""

    answers: tuple[Value, ...]
    result: str


@dataclass(frozen=True)
class Effect:
    """What one cell could do to one rule, with everything else as it is recorded.

    now: the result without it. outcomes: none where an answer only counts in a calculation.
    """

    rule: str
    side: Side | None
    now: str
    outcomes: tuple[Outcome, ...]

    @property
    def is_by_itself(self) -> bool:
        """Whether some answer changes the result with no further finding."""
        return any(outcome.result != self.now for outcome in self.outcomes)


def effects_of(exam: Exam, knowledge: Knowledge, finding_id: str) -> tuple[Effect, ...]:
    """What a finding is asked for, rule by rule, right before left; none where it is not asked."""
    asked = next(
        (each for each in assess(exam, knowledge).check_next if each.finding == finding_id), None
    )
    if asked is None:
        return ()
    world = world_of(exam, knowledge)
    sides = SIDES if asked.side == "both" else (Side(asked.side) if asked.side else None,)
    return tuple(
        Effect(rule, side, result_of(world, rule), _outcomes(world, rule, finding_id, side))
        for rule in asked.settles
        for side in sides
        if _could_change(world, rule, (finding_id, side))
    )


def _could_change(world: ExamWorld, rule: str, cell: Cell) -> bool:
    conditions = conditions_of(world.knowledge, rule)
    is_warning = rule in world.knowledge.warnings
    # A finding may be asked for on one side for one rule, and on the other for another.
    return not conditions or cell in cells_deciding(
        Residues(world), conditions, only_if_sure=is_warning
    )


def _outcomes(
    world: ExamWorld, rule: str, finding_id: str, side: Side | None
) -> tuple[Outcome, ...]:
    if finding_id in CALCULATED:
        return ()
    tried = [
        (answer, result_of(world.supposing({(finding_id, side): answer}), rule))
        for answer in answers_to(world.knowledge, finding_id)
    ]
    return tuple(
        Outcome(tuple(answer for answer, _ in alike), result)
        for result, alike in groupby(tried, key=lambda each: each[1])
    )
