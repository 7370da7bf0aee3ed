"""What a physician settled in the review: emergencies acknowledged, nurses' findings confirmed."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from app.assess.assessment import Assessment
from app.assess.words import side_words
from app.exam.record import Cell, Exam
from app.exam.vocabulary import Finding, Side, vocabulary
from app.knowledge.load import Knowledge
from app.knowledge.terms import ROLE_WORDS
from app.language.words import _
from app.report.phrases import clean, moment, said


@dataclass(frozen=True)
class By:
    """Who settled something, and when. at: with its offset.

    Raises: ValueError where the time has no offset.
    """

    name: str
    role: str
    at: datetime

    def __post_init__(self) -> None:
        if self.at.utcoffset() is None:
            raise ValueError("at: a time without its offset")

    @property
    def words(self) -> str:
        """Name, role and time, to the minute."""
        return _("{name}, {role}, at {at}").format(
            name=clean(self.name, 60), role=ROLE_WORDS[self.role], at=moment(self.at)
        )


@dataclass(frozen=True)
class Acknowledged:
    """An emergency that was acknowledged. warning: its id."""

    warning: str
    by: By


@dataclass(frozen=True)
class Confirmed:
    """A finding that a nurse recorded and a physician confirmed, as it stands in its cell."""

    cell: Cell
    by: By


@dataclass(frozen=True)
class Settled:
    """What one person settled in one minute. items: (label, tail), as `folded` takes them."""

    by: str
    items: Sequence[tuple[str, str]]


def acknowledged_by(
    acknowledged: Sequence[Acknowledged], found: Assessment, knowledge: Knowledge
) -> tuple[Settled, ...]:
    """The emergencies; it is said of one that the exam no longer raises."""
    raised = {each.id for each in found.warnings if each.urgency == "emergency"}
    groups: dict[str, list[tuple[str, str]]] = {}
    for each in acknowledged:
        label = knowledge.warnings[each.warning].label
        tail = "" if each.warning in raised else _("no longer raised")
        groups.setdefault(each.by.words, []).append((label, tail))
    return tuple(Settled(by, items) for by, items in groups.items())


def confirmed_by(
    confirmed: Sequence[Confirmed], exam: Exam, *, short: bool = False
) -> tuple[Settled, ...]:
    """The findings with their values, both sides of one together, RIGHT first."""
    groups: dict[str, dict[str, list[Side | None]]] = {}
    for each in confirmed:
        finding, side = each.cell
        groups.setdefault(each.by.words, {}).setdefault(finding, []).append(side)
    return tuple(
        Settled(
            by, [_item(vocabulary()[name], sides, exam, short) for name, sides in group.items()]
        )
        for by, group in groups.items()
    )


def _item(
    finding: Finding, sides: Sequence[Side | None], exam: Exam, short: bool
) -> tuple[str, str]:
    tails = [
        f"{side_words(side)} {_value(finding, side, exam, short)}".strip()
        for side in sorted(sides, key=lambda side: side is Side.LEFT)
    ]
    return finding.label, ", ".join(tails)


def _value(finding: Finding, side: Side | None, exam: Exam, short: bool) -> str:
    if exam.is_untestable(finding.id, side):
        return _("not testable")
    return said(finding, exam.value(finding.id, side), short=short)
