"""What each rule gives in an exam, kept as long as nothing is recorded that it reads."""

from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from threading import Lock

from app.assess.assessment import CategoryFound, Reason, WarningRaised
from app.assess.categories import judge_category
from app.assess.matters import cells_deciding
from app.assess.residue import Residues
from app.assess.touched import Touched, touched_by
from app.assess.warnings import judge_warning, lacking
from app.assess.world import ExamWorld
from app.exam.record import Cell, Exam
from app.exam.vocabulary import vocabulary
from app.knowledge.load import Knowledge
from app.knowledge.names import tier_name
from app.logic.expression import Expression, Or, Reference

# Of each rule: enough for the exams that are under way, and a few megabytes for all rules together.
MOST_KEPT = 128


@dataclass(frozen=True)
class Judged:
    """What a rule gives, and the unexamined cells that it asks for.

    category, warning: one of them; of a warning that is not raised neither. asks_urgently: what
    could raise an emergency one part of which is true.
    """

    category: CategoryFound | None = None
    warning: WarningRaised | None = None
    asks: tuple[Cell, ...] = ()
    asks_urgently: tuple[Cell, ...] = ()


def judge(world: ExamWorld) -> Mapping[str, Judged]:
    """Every category and every warning, by its id."""
    residues = Residues(world)
    return {rule: kept.of(residues) for rule, kept in _rules(world.knowledge).items()}


class Kept:
    """What one rule gave for what was recorded where it reads."""

    def __init__(self, knowledge: Knowledge, rule: str) -> None:
        self.rule = rule
        self.touched: Touched = touched_by(knowledge, rule)
        self.found: dict[Hashable, Judged] = {}
        self._lock = Lock()

    def of(self, residues: Residues) -> Judged:
        """What it gives in the exam of the residues."""
        recorded = self.touched.recorded(residues.world)
        found = self.found.get(recorded)
        if found is None:
            found = judge_rule(residues, self.rule)
            with self._lock:
                if len(self.found) >= MOST_KEPT:
                    self.found.clear()
                self.found[recorded] = found
        return found


def forget() -> None:
    """Keep nothing of what was judged so far."""
    _rules.cache_clear()


@lru_cache(maxsize=4)
def _rules(knowledge: Knowledge) -> dict[str, Kept]:
    return {rule: Kept(knowledge, rule) for rule in (*knowledge.categories, *knowledge.warnings)}


def judge_rule(residues: Residues, rule: str) -> Judged:
    """What a category or a warning gives, worked out."""
    known = residues.world.knowledge
    if rule in known.categories:
        found = judge_category(residues, known.categories[rule])
        missing = found.missing if found.level == "open" else ()
        return Judged(category=found, asks=unexamined(residues.world.exam, missing))
    warning, conditions = known.warnings[rule], conditions_of(known, rule)
    raised = judge_warning(residues.world, warning)
    asks: tuple[Cell, ...] = ()
    asks_urgently: tuple[Cell, ...] = ()
    if raised is None:
        asks = _wanted(residues, lacking(residues.world, warning), conditions)
    if raised is None or raised.urgency != "emergency":
        # An emergency is the first of the tiers.
        lacks = lacking(residues.world, warning, "emergency")
        asks_urgently = _wanted(residues, lacks, conditions[:1])
    return Judged(warning=raised, asks=asks, asks_urgently=asks_urgently)


def _wanted(
    residues: Residues, reasons: tuple[Reason, ...], conditions: list[Expression]
) -> tuple[Cell, ...]:
    """What is worth asking for of what a warning lacks, and could change one of its conditions."""
    cells = unexamined(residues.world.exam, reasons)
    if not cells:
        return ()
    # A warning is raised or not; of a category it would count why it does not fit.
    deciding = cells_deciding(residues, conditions, only_if_sure=True)
    return tuple(cell for cell in cells if cell in deciding)


def unexamined(exam: Exam, reasons: Sequence[Reason]) -> tuple[Cell, ...]:
    """The cells of reasons that are worth asking for.

    What was tried and could not be judged is not asked for again, nor a detail of what is known not
    to be there.
    """
    return tuple(cell for reason in reasons if (cell := _unexamined(exam, reason)))


def _unexamined(exam: Exam, reason: Reason) -> Cell | None:
    if reason.finding is None or reason.finding not in vocabulary():
        return None
    whole = vocabulary()[reason.finding].detail_of
    is_of_nothing = whole and exam.value(whole, reason.side) == 0
    if is_of_nothing or exam.is_untestable(reason.finding, reason.side):
        return None
    return reason.finding, reason.side


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
