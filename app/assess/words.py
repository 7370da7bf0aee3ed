"""The words that screen, note and print share, so that one thing has one name everywhere."""

from app.assess.assessment import Reason
from app.exam.vocabulary import Side, vocabulary
from app.knowledge.load import Knowledge
from app.knowledge.words import rule_words

DISCLAIMER = (
    "Evenhand supports and does not replace clinical judgement. It is not a diagnosis. "
    "Local pathways and licensed practice come first."
)

_LEVELS = {
    "fits": "fits the pattern",
    "fits_with_cautions": "fits the pattern, with cautions",
    "partial": "partly there, the pattern is not met",
    "open": "open, not enough examined",
    "not_supported": "nothing points that way",
}
_FALL_LEVELS = {
    "low": "low by the questions and tests",
    "intermediate": "intermediate",
    "high": "high",
    "open": "open, answers or a timed test are missing",
}
_URGENCIES = {
    "emergency": "EMERGENCY, now",
    "same_day": "same day",
    "soon": "soon, within about 2 weeks",
    "routine": "routine",
}
_SIDES = {"right": "RIGHT", "left": "LEFT", "both": "both sides"}


def level_words(level: str) -> str:
    """A category's level in words."""
    return _LEVELS[level]


def fall_level_words(level: str) -> str:
    """The falls group in words."""
    return _FALL_LEVELS[level]


def urgency_words(urgency: str) -> str:
    """An urgency in words."""
    return _URGENCIES[urgency]


def side_words(side: str | None) -> str:
    """The patient's side in words, in full; nothing where there is no side."""
    return _SIDES[side] if side else ""


def finding_words(finding_id: str, side: Side | str | None) -> str:
    """A finding with its side."""
    label = vocabulary()[finding_id].label
    return f"{label}, {side_words(side)}" if side else label


def reason_words(reason: Reason, knowledge: Knowledge) -> str:
    """A reason in one line: the finding, its side and what was recorded, or the medicine."""
    if reason.finding is None:
        words = knowledge.medicine_classes[reason.medicine_class or ""]
        return f"{reason.medicine}: {words}" if reason.medicine else f"medicines: {words}"
    if reason.finding in vocabulary():
        named = finding_words(reason.finding, reason.side)
        if reason.value is None:
            return named
        return f"{named}: {vocabulary()[reason.finding].words_of(reason.value)}"
    return f"{reason.finding} {reason.value}".strip()


__all__ = [
    "DISCLAIMER",
    "fall_level_words",
    "finding_words",
    "level_words",
    "reason_words",
    "rule_words",
    "side_words",
    "urgency_words",
]
