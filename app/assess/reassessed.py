"""What a signed exam would conclude under the knowledge in force, beside what was signed."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from app.assess.assessment import URGENCIES, Assessment
from app.assess.results import NOT_RAISED
from app.exam.record import Exam

NOT_SUPPORTED = "not_supported"
PRESENT, ABSENT = "present", "absent"
# What is concluded where nothing is said of it.
_NOTHING: Mapping[str, str] = {
    "warning": NOT_RAISED,
    "category": NOT_SUPPORTED,
    "hazard": ABSENT,
    "fall_risk": "open",
}
# After a warning that is raised now, or more urgent: emergencies first.
_LESS_URGENT, _LEVEL, _HAZARD = len(URGENCIES), len(URGENCIES) + 1, len(URGENCIES) + 2
# By kind and id; kind: warning, category, fall_risk or hazard.
Concluded = Mapping[tuple[str, str], str]


@dataclass(frozen=True)
class AsSigned:
    """A signed exam with what was concluded then. signed_on: the day, "" where it is not told."""

    exam_id: str
    signed_on: str
    knowledge: str
    exam: Exam
    concluded: Concluded


@dataclass(frozen=True)
class Change:
    """One conclusion that reads differently. kind: warning, category, fall_risk or hazard."""

    kind: str
    id: str
    signed: str
    now: str

    @property
    def rank(self) -> int:
        """How much it matters, 0 first: a new emergency, other new warnings by their urgency,
        warnings that are less urgent or gone, levels, hazards.
        """
        if self.kind == "warning":
            now, signed = _urgency(self.now), _urgency(self.signed)
            return now if now < signed else _LESS_URGENT
        return _HAZARD if self.kind == "hazard" else _LEVEL


def concluded(assessment: Assessment) -> Concluded:
    """What an assessment concludes, without what it does not."""
    return {
        **{("category", each.id): each.level for each in assessment.listed},
        **{
            ("warning", each.id): each.urgency for each in assessment.warnings if each.level is None
        },
        ("fall_risk", "fall_risk"): str(assessment.fall_risk.level),
        **{("hazard", each.id): PRESENT for each in assessment.hazards},
    }


def changes(signed: Concluded, now: Concluded) -> tuple[Change, ...]:
    """What reads differently, what matters most first.

    What one of the two does not speak of, since its knowledge does not have it, was not concluded.
    """
    return tuple(sorted(_changes(signed, now), key=lambda each: each.rank))


def _changes(signed: Concluded, now: Concluded) -> Iterator[Change]:
    for kind, name in dict.fromkeys((*now, *signed)):
        nothing = _NOTHING[kind]
        before, after = signed.get((kind, name), nothing), now.get((kind, name), nothing)
        if before != after:
            yield Change(kind, name, before, after)


def _urgency(urgency: str) -> int:
    return URGENCIES.index(urgency) if urgency in URGENCIES else len(URGENCIES)
