"""What fall_risk.toml holds: the falls group, and what makes a fall more likely or worse."""

from typing import Literal

from app.knowledge.case import FallCase
from app.knowledge.model import Support
from app.knowledge.table import FallLevel, Id, Phrase, Rule, Sentence, Table, Urgency


class Branch(Table):
    """One branch of the falls group; the first that is true gives the level."""

    level: FallLevel
    urgency: Urgency
    says: Phrase
    when: Sentence | None = None
    asks: Sentence | None = None


class FallStep(Rule):
    """A step that follows from the falls group, at a level or under a condition."""

    level: FallLevel | None = None
    when: Sentence | None = None


class HazardRule(Rule):
    """Something that makes a fall more likely or worse."""

    label: Phrase
    when: Sentence
    support: tuple[Support, ...] = ()


class FallRisk(Table):
    """The falls group with its hazards."""

    id: Literal["fall_risk"]
    label: Phrase
    says: Phrase
    caveat: Phrase
    status: Literal["draft", "reviewed"]
    shows: tuple[Id, ...]
    support: tuple[Support, ...]
    branch: tuple[Branch, ...]
    step: tuple[FallStep, ...]
    hazard: tuple[HazardRule, ...]
    case: tuple[FallCase, ...] = ()
