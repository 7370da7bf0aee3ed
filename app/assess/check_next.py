"""What to examine next: what could still settle or raise something, the most telling first."""

from collections.abc import Iterable, Mapping

from app.assess.assessment import CheckNext, WarningRaised
from app.assess.judged import Judged, unexamined
from app.assess.world import ExamWorld
from app.exam.record import Cell
from app.exam.vocabulary import Side, vocabulary


def check_next(
    world: ExamWorld, judged: Mapping[str, Judged], fall_risk: WarningRaised
) -> tuple[CheckNext, ...]:
    """Every unexamined finding that could settle or raise something, the most telling first.

    First what could raise an emergency one part of which is true; then by how many open categories
    it bears on; then the falls group; then other warnings; then the order of findings.toml.
    """
    emergencies, opens, falls, others = groups = (_Wanted(), _Wanted(), _Wanted(), _Wanted())
    for rule, each in judged.items():
        emergencies.add(rule, each.asks_urgently)
        (opens if rule in world.knowledge.categories else others).add(rule, each.asks)
    # What the falls group asks for is written beside each of its levels.
    falls.add(fall_risk.id, unexamined(world.exam, fall_risk.missing))
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

    def add(self, asked_by: str, cells: Iterable[Cell]) -> None:
        """Add what a rule asks for."""
        for finding, side in cells:
            self.settles.setdefault(finding, {})[asked_by] = None
            self.sides.setdefault(finding, set()).add(side)


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
