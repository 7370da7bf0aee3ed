"""What the reasoning concludes, as frozen values, and their JSON."""

import json
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from fractions import Fraction
from typing import Any

from app.exam.record import Value
from app.exam.vocabulary import Side
from app.exam.writing import plain

Level = str  # fits, fits_with_cautions, partial, open, not_supported
FITS = ("fits", "fits_with_cautions")
LISTED = (*FITS, "partial", "open")
URGENCIES = ("emergency", "same_day", "soon", "routine")


@dataclass(frozen=True)
class Reason:
    """One recorded fact behind a conclusion: a finding's value, or a medicine of a class.

    A reason in a `missing` list names a cell that is unknown and has the value None.
    """

    finding: str | None = None
    side: Side | None = None
    value: Value | None = None
    medicine: str | None = None
    medicine_class: str | None = None

    def as_json(self) -> dict[str, Any]:
        """The reason as the contract writes it."""
        if self.finding is None:
            named = {} if self.medicine is None else {"medicine": self.medicine}
            return named | {"class": self.medicine_class}
        out: dict[str, Any] = {"finding": self.finding, "side": self.side}
        if self.value is not None:
            out["value"] = plain(self.value)
        return out


@dataclass(frozen=True)
class CategoryFound:
    """One category with its level and what speaks for and against it.

    missing: unknown cells that could still change the level.
    """

    id: str
    level: Level
    side: str | None = None
    qualifiers: tuple[str, ...] = ()
    reasons_for: tuple[Reason, ...] = ()
    against: tuple[Reason, ...] = ()
    missing: tuple[Reason, ...] = ()
    sources: tuple[str, ...] = ()


@dataclass(frozen=True)
class WarningRaised:
    """One warning. `level` is set for fall_risk alone: low, intermediate, high or open."""

    id: str
    urgency: str
    level: str | None = None
    qualifiers: tuple[str, ...] = ()
    because: tuple[Reason, ...] = ()
    missing: tuple[Reason, ...] = ()
    sources: tuple[str, ...] = ()


@dataclass(frozen=True)
class NextStep:
    """Something to consider; `because` names the categories and warnings that it follows from."""

    id: str
    urgency: str
    because: tuple[str, ...] = ()
    sources: tuple[str, ...] = ()


@dataclass(frozen=True)
class CheckNext:
    """An unexamined finding that is worth examining, and what it could settle or raise.

    side: the side that is missing, "both", or None for a single finding.
    """

    finding: str
    side: str | None
    settles: tuple[str, ...]


@dataclass(frozen=True)
class Hazard:
    """Something seen that makes a fall more likely or worse."""

    id: str
    because: tuple[Reason, ...]


@dataclass(frozen=True)
class Conflict:
    """Recorded values that contradict each other; they are used as recorded."""

    findings: tuple[str, ...]
    side: Side | None
    says: str


@dataclass(frozen=True)
class Recognised:
    """A medicine line in which an ingredient was recognised."""

    text: str
    ingredient: str
    classes: tuple[str, ...]


@dataclass(frozen=True)
class NotRecognised:
    """A medicine line that was not recognised and not checked, with near misses to choose from."""

    text: str
    near: tuple[str, ...]


@dataclass(frozen=True)
class Assessment:
    """Everything that one exam gives under one version of the knowledge.

    derived: sign name to its value, or to {"right", "left"}; None is unknown.
    categories: every category in the order of the knowledge, not_supported ones too.
    """

    knowledge: str
    derived: Mapping[str, Any] = field(default_factory=dict)
    categories: tuple[CategoryFound, ...] = ()
    warnings: tuple[WarningRaised, ...] = ()
    next_steps: tuple[NextStep, ...] = ()
    check_next: tuple[CheckNext, ...] = ()
    hazards: tuple[Hazard, ...] = ()
    unexplained: tuple[Reason, ...] = ()
    conflicts: tuple[Conflict, ...] = ()
    recognised: tuple[Recognised, ...] = ()
    not_recognised: tuple[NotRecognised, ...] = ()

    @property
    def listed(self) -> tuple[CategoryFound, ...]:
        """The categories that something points to, in the order of the knowledge."""
        return tuple(found for found in self.categories if found.level in LISTED)

    @property
    def fall_risk(self) -> WarningRaised:
        """The falls group, which every assessment has."""
        return next(raised for raised in self.warnings if raised.id == "fall_risk")

    def as_json(self, *, every_category: bool = False) -> dict[str, Any]:
        """The assessment in the form of the contract; not_supported categories only on request."""
        shown = self.categories if every_category else self.listed
        return {
            "knowledge": self.knowledge,
            "derived": {name: _plain_sign(value) for name, value in self.derived.items()},
            "categories": [
                {
                    "id": found.id,
                    "level": found.level,
                    "side": found.side,
                    "qualifiers": list(found.qualifiers),
                    "for": [reason.as_json() for reason in found.reasons_for],
                    "against": [reason.as_json() for reason in found.against],
                    "missing": [reason.as_json() for reason in found.missing],
                    "sources": list(found.sources),
                }
                for found in shown
            ],
            "warnings": [_warning_as_json(raised) for raised in self.warnings],
            "next_steps": [
                {
                    "id": step.id,
                    "urgency": step.urgency,
                    "because": list(step.because),
                    "sources": list(step.sources),
                }
                for step in self.next_steps
            ],
            "check_next": [
                {"finding": ask.finding, "side": ask.side, "settles": list(ask.settles)}
                for ask in self.check_next
            ],
            "hazards": [
                {"id": hazard.id, "because": [reason.as_json() for reason in hazard.because]}
                for hazard in self.hazards
            ],
            "unexplained": [reason.as_json() for reason in self.unexplained],
            "conflicts": [
                {"findings": list(conflict.findings), "side": conflict.side, "says": conflict.says}
                for conflict in self.conflicts
            ],
            "medicines": {
                "recognised": [
                    {"text": m.text, "ingredient": m.ingredient, "classes": list(m.classes)}
                    for m in self.recognised
                ],
                "not_recognised": [
                    {"text": m.text, "near": list(m.near)} for m in self.not_recognised
                ],
            },
        }


def as_text(assessment: Assessment, *, every_category: bool = False, indent: int | None = 2) -> str:
    """The assessment as JSON text, the same bytes for the same assessment."""
    document = assessment.as_json(every_category=every_category)
    separators = None if indent else (",", ":")
    return json.dumps(document, indent=indent, separators=separators, ensure_ascii=False)


def faults_as_text(faults: Iterable[str]) -> str:
    """What stands in the place of an assessment where the exam cannot be read."""
    return json.dumps({"error": list(faults)}, ensure_ascii=False, separators=(",", ":"))


def _warning_as_json(raised: WarningRaised) -> dict[str, Any]:
    out: dict[str, Any] = {"id": raised.id}
    if raised.level is not None:
        out["level"] = raised.level
    out["urgency"] = raised.urgency
    out["qualifiers"] = list(raised.qualifiers)
    out["because"] = [reason.as_json() for reason in raised.because]
    out["missing"] = [reason.as_json() for reason in raised.missing]
    out["sources"] = list(raised.sources)
    return out


def _plain_sign(value: Any) -> Any:
    if isinstance(value, Mapping):
        return {side: _plain_sign(held) for side, held in value.items()}
    return float(value) if isinstance(value, Fraction) else value
