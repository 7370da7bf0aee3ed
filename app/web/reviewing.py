"""What a physician has to settle before signing: read off the exam, its assessment, its review."""

import re
import unicodedata
from collections.abc import Iterator
from dataclasses import dataclass

from app.assess.assessment import Assessment, NextStep, Reason, WarningRaised
from app.assess.codes import offered_codes
from app.exam.record import Cell
from app.exam.vocabulary import Side, vocabulary
from app.knowledge.load import knowledge
from app.knowledge.terms import side_words
from app.language.words import _
from app.report.coverage import is_present
from app.store.cells import CellRecord
from app.store.exams import ExamRecord
from app.store.patients import PatientCard
from app.store.review import Review, StepDecision

# What is this urgent is never passed over in silence.
MUST_BE_DECIDED = ("emergency", "same_day")


@dataclass(frozen=True)
class Emergency:
    """An emergency that was raised, and whether the physician has acknowledged it."""

    raised: WarningRaised
    is_acknowledged: bool


@dataclass(frozen=True)
class ToConfirm:
    """A nurse's entry that holds up a conclusion. holds_up: ids of categories and emergencies."""

    cell: Cell
    held: CellRecord
    holds_up: tuple[str, ...]
    is_confirmed: bool


@dataclass(frozen=True)
class Suggestion:
    """A next step with what was decided; None where nothing was decided yet."""

    step: NextStep
    decision: StepDecision | None

    @property
    def must_be_decided(self) -> bool:
        """Whether a signature waits for the decision."""
        return self.step.urgency in MUST_BE_DECIDED


@dataclass(frozen=True)
class Code:
    """A code for the summary. is_offered: no where nothing asks any more for what was chosen."""

    code: str
    because: tuple[Reason, ...]
    is_offered: bool
    is_chosen: bool


@dataclass(frozen=True)
class Lack:
    """One thing that a signature waits for. anchor: the id of its place on the page."""

    anchor: str
    says: str


@dataclass(frozen=True)
class Points:
    """Everything that is to be settled, and how far it is."""

    emergencies: tuple[Emergency, ...]
    to_confirm: tuple[ToConfirm, ...]
    suggestions: tuple[Suggestion, ...]
    codes: tuple[Code, ...]
    side_query: str
    lacking: tuple[Lack, ...]


def points(held: ExamRecord, assessment: Assessment, review: Review) -> Points:
    """What is to be settled in an exam at one revision."""
    emergencies = tuple(
        Emergency(raised, raised.id in review.acknowledged)
        for raised in assessment.warnings
        if raised.urgency == "emergency"
    )
    to_confirm = tuple(_to_confirm(held, assessment, review))
    suggestions = tuple(
        Suggestion(step, review.steps.get(step.id)) for step in assessment.next_steps
    )
    return Points(
        emergencies=emergencies,
        to_confirm=to_confirm,
        suggestions=suggestions,
        codes=_codes(held, review),
        side_query=side_query(held, f"{review.impression}\n{review.plan}"),
        lacking=tuple(_lacking(emergencies, to_confirm, suggestions, review)),
    )


def _to_confirm(held: ExamRecord, assessment: Assessment, review: Review) -> Iterator[ToConfirm]:
    """The nurse's entries behind what is listed and behind emergencies, in the exam's order."""
    holds_up: dict[Cell, dict[str, None]] = {}
    conclusions: list[tuple[str, tuple[Reason, ...]]] = [
        (found.id, found.reasons_for) for found in assessment.listed
    ]
    conclusions += [
        (raised.id, raised.because)
        for raised in assessment.warnings
        if raised.urgency == "emergency"
    ]
    for name, reasons in conclusions:
        for reason in reasons:
            if reason.finding is not None:
                holds_up.setdefault((reason.finding, reason.side), {})[name] = None
    for cell, kept in held.cells.items():
        if cell in holds_up and kept.role == "nurse" and kept.value is not None:
            yield ToConfirm(cell, kept, tuple(holds_up[cell]), kept.entry_id in review.confirmed)


def _codes(held: ExamRecord, review: Review) -> tuple[Code, ...]:
    """Those that the exam asks for, then those that were chosen when it still did."""
    offered = offered_codes(held.exam, knowledge())
    asked = {each.code for each in offered}
    return (
        *(Code(each.code, each.because, True, each.code in review.codes) for each in offered),
        *(Code(code, (), False, True) for code in review.codes if code not in asked),
    )


def _lacking(
    emergencies: tuple[Emergency, ...],
    to_confirm: tuple[ToConfirm, ...],
    suggestions: tuple[Suggestion, ...],
    review: Review,
) -> Iterator[Lack]:
    for emergency in emergencies:
        if not emergency.is_acknowledged:
            yield Lack(f"emergency-{emergency.raised.id}", _("Acknowledge the emergency"))
    open_ones = sum(not each.is_confirmed for each in to_confirm)
    if open_ones:
        findings = (
            _("1 finding")
            if open_ones == 1
            else _("{open_ones} findings").format(open_ones=open_ones)
        )
        yield Lack(
            "to-confirm", _("Confirm {findings} that a nurse recorded").format(findings=findings)
        )
    if not review.impression:
        yield Lack("impression", _("Write the impression in your own words"))
    if not review.plan:
        yield Lack("plan", _("Write the plan in your own words"))
    for suggestion in suggestions:
        if suggestion.must_be_decided and suggestion.decision is None:
            yield Lack(
                f"step-{suggestion.step.id}", _("Take over or decline this urgent suggestion")
            )


# ---- sides in free text

# In every language that is spoken here, whichever is in use.
_RIGHT = re.compile(r"\b(?:right|rechts(?:seitig\w*)?|rechte[mnrs]?)\b", re.IGNORECASE)
_LEFT = re.compile(r"\b(?:left|links(?:seitig\w*)?|linke[mnrs]?)\b", re.IGNORECASE)
# Words in which a side is no side.
_NO_SIDE = re.compile(
    r"\b(?:all\s*right|right\s+(?:away|now|after|before)|(?:was|is|were|are|been|being)\s+left\b"
    r"|left\s+(?:to|out|off|over|alone|open|the|it)\b|alright|recht(?:s|e[mnrs]?)?\s+(?:Zeit|so))",
    re.IGNORECASE,
)
_SHORT = re.compile(r"(?<![\w.])([RL])\s*[<>]\s*[RL](?![\w.])")


def sides_named(text: str) -> frozenset[Side]:
    """The sides of the body that a text speaks of."""
    plain = _NO_SIDE.sub(" ", text)
    named = set()
    if _RIGHT.search(plain):
        named.add(Side.RIGHT)
    if _LEFT.search(plain):
        named.add(Side.LEFT)
    if _SHORT.search(plain):
        named |= {Side.RIGHT, Side.LEFT}
    return frozenset(named)


def side_query(held: ExamRecord, text: str) -> str:
    """A soft question where a text names only the side on which nothing abnormal was recorded."""
    named = sides_named(text)
    abnormal = {
        side
        for finding in vocabulary().values()
        if finding.is_sign
        for side in finding.sides
        if side is not None and is_present(held.exam, finding.id, side)
    }
    if len(named) != 1 or len(abnormal) != 1 or named == abnormal:
        return ""
    (said,), (seen,) = named, abnormal
    return _(
        "Your text names the {side} side; every abnormal sign that has a side is "
        "recorded on the {other}. Is the side right?"
    ).format(side=side_words(said), other=side_words(seen))


# ---- the right person


def is_right_person(patient: PatientCard, initials: str, birth_year: str) -> bool:
    """Whether the initials and the birth year are this patient's.

    Initials count in any order and case, without accents: one of each name, or one of each word.
    """
    names = (patient.given_name, patient.family_name)
    short = [name[0] for name in map(_letters, names) if name]
    long = [word[0] for name in names for word in map(_letters, re.split(r"[\s-]+", name)) if word]
    year = birth_year.strip()
    return (
        sorted(_letters(initials)) in (sorted(short), sorted(long))
        and year.isdecimal()
        and int(year) == patient.birth_date.year
    )


def _letters(text: str) -> list[str]:
    folded = unicodedata.normalize("NFKD", text).casefold()
    return [letter for letter in folded if letter.isalnum()]
