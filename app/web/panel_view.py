"""What a template may read of the panel: everything in words."""

from dataclasses import dataclass


@dataclass(frozen=True)
class SourceView:
    """One source, and how far it was checked."""

    citation: str
    standing: str


@dataclass(frozen=True)
class CategoryView:
    """One pattern with its reasons."""

    id: str
    label: str
    level: str
    level_words: str
    side: str
    qualifiers: tuple[str, ...]
    says: str
    rule: str
    reasons_for: tuple[str, ...]
    against: tuple[str, ...]
    missing: tuple[str, ...]
    misleads: tuple[str, ...]
    sources: tuple[SourceView, ...]


@dataclass(frozen=True)
class WarningView:
    """One warning with its reasons. pathway: the clinic's own, in its lines; "" where none is set.

    call: whom the reader is to call first of all, in words; "" for who is called.
    """

    id: str
    urgency: str
    urgency_words: str
    urgency_short: str
    label: str
    says: str
    pathway: str
    call: str
    qualifiers: tuple[str, ...]
    because: tuple[str, ...]
    missing: tuple[str, ...]
    sources: tuple[SourceView, ...]


@dataclass(frozen=True)
class FallsView:
    """The falls group with what it rests on and what stands beside it."""

    level: str
    says: str
    caveat: str
    because: tuple[str, ...]
    missing: tuple[str, ...]
    hazards: tuple[str, ...]
    sources: tuple[SourceView, ...]


@dataclass(frozen=True)
class StepView:
    """One step to consider, what it follows from, and the clinic's own pathway or ""."""

    says: str
    because: str
    pathway: str


@dataclass(frozen=True)
class StepsView:
    """The steps of one urgency."""

    urgency: str
    urgency_words: str
    steps: tuple[StepView, ...]


@dataclass(frozen=True)
class AskView:
    """Something worth examining next. id: the finding's; anchor: its place on the sheet."""

    id: str
    finding: str
    settles: str
    anchor: str


@dataclass(frozen=True)
class PanelView:
    """What the exam adds up to. alarm, headline: the same in one line, the emergencies apart."""

    alarm: str
    headline: str
    is_empty: bool
    emergencies: tuple[WarningView, ...]
    warnings: tuple[WarningView, ...]
    more_warnings: tuple[WarningView, ...]
    categories: tuple[CategoryView, ...]
    falls: FallsView
    steps: tuple[StepsView, ...]
    ask: tuple[AskView, ...]
    more_ask: tuple[AskView, ...]
    conflicts: tuple[str, ...]
    unexplained: tuple[str, ...]
    not_examined: tuple[str, ...]
    untestable: tuple[str, ...]
    knowledge: str
