"""The words for levels, urgencies, sides and states, and the sentence that stands everywhere."""

from collections.abc import Mapping

DISCLAIMER = (
    "Evenhand supports and does not replace clinical judgement. It is not a diagnosis. "
    "Local pathways and licensed practice come first."
)
STATUS_WORDS: Mapping[str, str] = {
    "draft": "draft, written by engineers and not yet reviewed by a clinician",
    "reviewed": "reviewed by a clinician",
}

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
