"""The words that screen, note and print share, so that one thing has one name everywhere."""

from app.assess.assessment import Assessment, Reason
from app.exam.vocabulary import Side, vocabulary
from app.knowledge.load import Knowledge
from app.knowledge.terms import (
    DISCLAIMER,
    fall_level_words,
    level_words,
    side_words,
    urgency_words,
)
from app.knowledge.words import rule_words
from app.language.words import _


def finding_words(finding_id: str, side: Side | str | None) -> str:
    """A finding with its side."""
    label = vocabulary()[finding_id].label
    return f"{label}, {side_words(side)}" if side else label


def reason_words(reason: Reason, knowledge: Knowledge) -> str:
    """A reason in one line: the finding, its side and what was recorded, or the medicine."""
    if reason.finding is None:
        words = knowledge.medicine_classes[reason.medicine_class or ""]
        return (
            _("{medicine}: {does}").format(medicine=reason.medicine, does=words)
            if reason.medicine
            else _("medicines: {words}").format(words=words)
        )
    if reason.finding in vocabulary():
        named = finding_words(reason.finding, reason.side)
        if reason.value is None:
            return named
        return f"{named}: {vocabulary()[reason.finding].words_of(reason.value)}"
    return f"{reason.finding} {reason.value}".strip()


def medicines_in_words(assessment: Assessment, knowledge: Knowledge) -> tuple[tuple[str, str], ...]:
    """Each recognised line as typed, with the ingredients found in it and what each does."""
    lines: dict[str, list[str]] = {}
    for found in assessment.recognised:
        classes = ", ".join(knowledge.medicine_classes[each] for each in found.classes)
        lines.setdefault(found.text, []).append(
            _("{medicine}: {does}").format(medicine=found.ingredient, does=classes)
        )
    return tuple((text, "; ".join(read)) for text, read in lines.items())


__all__ = [
    "DISCLAIMER",
    "fall_level_words",
    "finding_words",
    "level_words",
    "medicines_in_words",
    "reason_words",
    "rule_words",
    "side_words",
    "urgency_words",
]
