"""The words for levels, urgencies, sides and states, and the sentence that stands everywhere."""

from collections.abc import Mapping

from app.language.words import N_, Spoken, _

DISCLAIMER = N_(
    "Evenhand supports and does not replace clinical judgement. It is not a diagnosis. "
    "Local pathways and licensed practice come first."
)
STATUS_WORDS: Mapping[str, str] = Spoken(
    {
        "draft": N_("draft, written by engineers and not yet reviewed by a clinician"),
        "reviewed": N_("reviewed by a clinician"),
    }
)
ANSWER_WORDS = Spoken(
    {
        "yes": N_("Requirement met: yes"),
        "no": N_("Requirement met: no"),
        "unknown": N_("Requirement met: not known"),
    }
)
RAISED_WORDS = Spoken(
    {
        "yes": N_("Raised: yes"),
        "no": N_("Raised: no"),
        "unknown": N_("Raised: not known, what is missing is asked for"),
    }
)
SEX_WORDS: Mapping[str | None, str] = Spoken(
    {"female": N_("female"), "male": N_("male"), None: N_("sex not recorded")}
)
ROLE_WORDS: Mapping[str, str] = Spoken(
    {
        "nurse": N_("nurse"),
        "physician": N_("physician"),
        "administrator": N_("administrator"),
        "system": N_("system"),
    }
)
# The falls group where one word is enough.
FALL_WORDS: Mapping[str, str] = Spoken(
    {
        "low": N_("low"),
        "intermediate": N_("intermediate"),
        "high": N_("high"),
        "open": N_("open"),
    }
)

_LEVELS = Spoken(
    {
        "fits": N_("fits the pattern"),
        "fits_with_cautions": N_("fits the pattern, with cautions"),
        "partial": N_("partly there, the pattern is not met"),
        "open": N_("open, not enough examined"),
        "not_supported": N_("nothing points that way"),
    }
)
_FALL_LEVELS = Spoken(
    {
        "low": N_("low by the questions and tests"),
        "intermediate": N_("intermediate"),
        "high": N_("high"),
        "open": N_("open, answers or a timed test are missing"),
    }
)
_URGENCIES = Spoken(
    {
        "emergency": N_("EMERGENCY, now"),
        "same_day": N_("same day"),
        "soon": N_("soon, within about 2 weeks"),
        "routine": N_("routine"),
    }
)
_SIDES = Spoken({"right": N_("RIGHT"), "left": N_("LEFT"), "both": N_("both sides")})


def without_consider(says: str) -> str:
    """A step behind “Consider: …”, where it need not say so again."""
    before, _step, after = _("Consider {step}").partition("{step}")
    return says.removeprefix(before).removesuffix(after)


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
