"""What the templates of the worklist may read."""

import hashlib
from dataclasses import dataclass

from app.web.pages import ExamLine, Page, Who


@dataclass(frozen=True)
class ExamGroup:
    """The exams that are in one state: those of today, and those of earlier days.

    more: how many more of earlier days there are that are not listed.
    """

    state: str
    title: str
    today: tuple[ExamLine, ...]
    earlier: tuple[ExamLine, ...]
    more: int

    @property
    def count(self) -> int:
        """How many exams are in this state, listed or not."""
        return len(self.today) + len(self.earlier) + self.more


@dataclass(frozen=True)
class AlertLine:
    """An emergency that no physician has seen. pathway: the clinic's own words, may be empty.

    Who has the exam open is not in it: it changes often, and what is new here is read out loud.
    """

    exam_id: str
    who: Who
    says: str
    since: str
    pathway: str


@dataclass(frozen=True)
class AlertsView:
    """The emergencies that no physician has seen, the longest waiting first."""

    lines: tuple[AlertLine, ...]

    @property
    def mark(self) -> str:
        """Tells these alerts from others, without a name in it."""
        return _mark(self.lines)


@dataclass(frozen=True)
class GroupsView:
    """The exams by state."""

    groups: tuple[ExamGroup, ...]

    @property
    def mark(self) -> str:
        """Tells these lines from others, without a name in it."""
        return _mark(self.groups)


def _mark(shown: object) -> str:
    # What a page shows would otherwise stand in the address of its next question.
    return hashlib.sha256(repr(shown).encode()).hexdigest()[:16]


@dataclass(frozen=True, kw_only=True)
class WorklistUpdatesPage(Page):
    """worklist_updates.html: what is new on the worklist; None where nothing is."""

    alerts: AlertsView | None
    groups: GroupsView | None


@dataclass(frozen=True, kw_only=True)
class WorklistPage(Page):
    """worklist.html. may_add: whether they may add a patient. found: None where nobody searched."""

    alerts: AlertsView
    groups: GroupsView
    may_add: bool
    searched: str = ""
    found: tuple[Who, ...] | None = None
    search_fault: str = ""
