"""What a physician decides while reviewing an exam; each decision is kept like an entry."""

import json
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from types import MappingProxyType

from sqlmodel import Session, col, select

from app.knowledge.load import knowledge
from app.language.words import N_, _
from app.store.actor import Recorder
from app.store.audit import canonical, note
from app.store.cells import entry_rows
from app.store.entries import to_be_written
from app.store.exams import check_revision, exam_row
from app.store.free_text import BadText, check_lines
from app.store.refusals import BadForm, ReviewCollision, Unreadable
from app.store.signing_tables import ReviewRow

LONGEST_TEXT = 4000
LONGEST_REASON = 500
# It shares one page in large print with everything else.
LONGEST_FOR_PATIENT = 300
_FAULTS = {
    "impression": N_("the impression {fault}"),
    "plan": N_("the plan {fault}"),
    "for_patient": N_("the text for the patient {fault}"),
    "step": N_("the step {fault}"),
    "emergency": N_("the emergency {fault}"),
    "confirmed": N_("the confirmation {fault}"),
    "code": N_("the code {fault}"),
}


@dataclass(frozen=True)
class StepDecision:
    """Whether a next step is taken over; one that is declined has a reason."""

    is_taken: bool
    reason: str = ""


# Kind and item, as ReviewRow explains them.
ReviewKey = tuple[str, str]
# Text for impression, plan and patient, a decision for a step, True for an emergency, a confirmed
# entry and a code.
ReviewValue = str | bool | StepDecision


@dataclass(frozen=True)
class ReviewItem:
    """The newest decision on one item. The value is None where it was taken back."""

    value: ReviewValue | None
    by: str
    role: str
    at: datetime
    revision: int
    account_id: str = ""


@dataclass(frozen=True)
class Review:
    """What stands decided. Impression, plan and for_patient are empty until somebody writes them.

    steps: by the step's id. acknowledged: ids of emergencies. confirmed: numbers of entries.
    codes: of ICD-10-CM, in their own order.
    items: each item that was ever decided, with who and when; those taken back too.
    """

    impression: str
    plan: str
    steps: Mapping[str, StepDecision]
    acknowledged: frozenset[str]
    confirmed: frozenset[int]
    codes: tuple[str, ...]
    for_patient: str
    items: Mapping[ReviewKey, ReviewItem]


def review_of(session: Session, exam_id: str, at_revision: int | None = None) -> Review:
    """The review of an exam as it stands, or as it stood at a revision.

    Raises: NotFound, StaleRevision, Unreadable.
    """
    exam = exam_row(session, exam_id)
    revision = exam.revision if at_revision is None else at_revision
    check_revision(exam, revision)
    return _review(_newest(session, exam_id, revision))


def record_review(
    session: Session,
    exam_id: str,
    changes: Mapping[ReviewKey, ReviewValue | None],
    *,
    at_revision: int,
    recorder: Recorder,
    now: datetime,
) -> int:
    """Write decisions, all of them or none; None, and an empty text, takes one back.

    What stands decided so already is not written again. Returns the revision that the exam has now.
    Raises: BadForm, NotFound, NotOpen, StaleRevision, ReviewCollision.
    """
    exam = to_be_written(session, exam_id, at_revision)
    mine = _checked(session, exam_id, changes)
    items = _newest(session, exam_id, exam.revision)
    differing = {
        key: value
        for key, value in mine.items()
        if value != (items[key].value if key in items else None)
    }
    clashes = {
        key: (items[key], value)
        for key, value in differing.items()
        if key in items and items[key].revision > at_revision
    }
    if clashes:
        raise ReviewCollision(clashes)
    _check_codes(items, differing)
    if not differing:
        return exam.revision
    exam.revision += 1
    rows = tuple(
        ReviewRow(
            exam_id=exam.id,
            revision=exam.revision,
            kind=kind,
            item=item,
            value=None if value is None else value_text(value),
            by=recorder.name,
            role=recorder.role,
            account_id=recorder.account_id or None,
            at=now,
        )
        for (kind, item), value in sorted(differing.items(), key=lambda pair: pair[0])
    )
    session.add_all(rows)
    session.flush()
    note(
        session,
        recorder,
        "review",
        at=now,
        patient_id=exam.patient_id,
        exam_id=exam.id,
        detail={"revision": exam.revision, "decisions": len(rows)},
        rows=rows,
    )
    return exam.revision


def value_text(value: ReviewValue) -> str:
    """A decision as canonical JSON."""
    if isinstance(value, StepDecision):
        return canonical({"reason": value.reason, "taken": value.is_taken})
    return canonical(value)


def _newest(session: Session, exam_id: str, revision: int) -> dict[ReviewKey, ReviewItem]:
    asked = (
        select(ReviewRow)
        .where(ReviewRow.exam_id == exam_id, col(ReviewRow.revision) <= revision)
        .order_by(col(ReviewRow.id))
    )
    return {
        (row.kind, row.item): ReviewItem(
            _value(row), row.by, row.role, row.at, row.revision, row.account_id or ""
        )
        for row in session.exec(asked)
    }


def _value(row: ReviewRow) -> ReviewValue | None:
    try:
        held = None if row.value is None else json.loads(row.value)
        if row.kind == "step" and held is not None:
            return StepDecision(held["taken"], held["reason"])
    except (ValueError, KeyError, TypeError) as fault:
        raise Unreadable(f"the review holds a {row.kind} that cannot be read") from fault
    if held is None or isinstance(held, str | bool):
        return held
    raise Unreadable(f"the review holds a {row.kind} that cannot be read")


def _review(items: Mapping[ReviewKey, ReviewItem]) -> Review:
    def decided(kind: str) -> dict[str, ReviewValue]:
        return {
            item: each.value
            for (of_kind, item), each in items.items()
            if of_kind == kind and each.value is not None
        }

    return Review(
        impression=str(decided("impression").get("", "")),
        plan=str(decided("plan").get("", "")),
        steps=MappingProxyType(
            {item: each for item, each in decided("step").items() if isinstance(each, StepDecision)}
        ),
        acknowledged=frozenset(decided("emergency")),
        confirmed=frozenset(int(number) for number in decided("confirmed")),
        codes=tuple(sorted(decided("code"))),
        for_patient=str(decided("for_patient").get("", "")),
        items=MappingProxyType(dict(items)),
    )


def _checked(
    session: Session, exam_id: str, changes: Mapping[ReviewKey, ReviewValue | None]
) -> dict[ReviewKey, ReviewValue | None]:
    known = {
        "impression": {""},
        "plan": {""},
        "for_patient": {""},
        "step": set(knowledge().steps),
        "emergency": set(knowledge().warnings),
        "confirmed": {str(row.id) for row in entry_rows(session, exam_id)},
        "code": {each.code for each in knowledge().icd.suggested},
    }
    faults: dict[str, str] = {}
    out: dict[ReviewKey, ReviewValue | None] = {}
    for (kind, item), value in changes.items():
        # What was sent can be anything, and a message may repeat only a little of it.
        place = ".".join(filter(None, (kind[:20], item[:40])))
        if item not in known.get(kind, set()):
            faults[place] = _("this exam's review has no such part")
            continue
        try:
            out[kind, item] = None if value is None else _checked_value(kind, value)
        except BadText as fault:
            faults[place] = _(_FAULTS[kind]).format(fault=fault)
    if faults:
        raise BadForm(faults)
    return out


def _check_codes(
    items: Mapping[ReviewKey, ReviewItem], changes: Mapping[ReviewKey, ReviewValue | None]
) -> None:
    """Refuse two codes that the classification keeps apart; what stands already counts as well.

    Raises: BadForm.
    """
    standing = {item: each.value for (kind, item), each in items.items() if kind == "code"}
    standing |= {item: value for (kind, item), value in changes.items() if kind == "code"}
    chosen = sorted(code for code, value in standing.items() if value)
    faults = {
        f"code.{second}": _(
            "the code {second} never stands in one summary with {first} (Excludes1)"
        ).format(second=second, first=first)
        for first, second in knowledge().icd.clashes(chosen)
    }
    if faults:
        raise BadForm(faults)


def _checked_value(kind: str, value: ReviewValue) -> ReviewValue | None:
    match kind, value:
        case (("impression" | "plan"), str(text)):
            return check_lines(text, longest=LONGEST_TEXT) or None
        case "for_patient", str(text):
            return check_lines(text, longest=LONGEST_FOR_PATIENT) or None
        case "step", StepDecision(is_taken, reason):
            reason = check_lines(reason, longest=LONGEST_REASON)
            if not is_taken and not reason:
                raise BadText(_("is declined without a reason"))
            return StepDecision(is_taken, reason)
        case (("emergency" | "confirmed" | "code"), True):
            return True
    raise BadText(_("has a value that it cannot have"))
