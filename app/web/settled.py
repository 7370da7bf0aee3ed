"""What a physician settled in the review, as the report takes it."""

from typing import Any

from app.assess.assessment import Assessment
from app.report.reviewed import Acknowledged, By, Confirmed
from app.report.signed import Decision
from app.store.exams import ExamRecord
from app.store.review import Review, ReviewKey
from app.web.wording import local


def settled(held: ExamRecord, review: Review, assessment: Assessment) -> dict[str, Any]:
    """The fields of a ReportInput that stem from the review."""
    return {
        "impression": review.impression,
        "plan": review.plan,
        "for_patient": review.for_patient,
        "decisions": _decisions(review, assessment),
        "acknowledged": tuple(
            Acknowledged(name, _by(review, (kind, name)))
            for (kind, name) in review.items
            if kind == "emergency" and name in review.acknowledged
        ),
        "codes": review.codes,
        "confirmed": tuple(
            # What was confirmed and recorded otherwise later stands no more.
            Confirmed(cell, _by(review, ("confirmed", str(each.entry_id))))
            for cell, each in held.cells.items()
            if each.entry_id in review.confirmed and each.value is not None
        ),
    }


def _decisions(review: Review, assessment: Assessment) -> tuple[Decision, ...]:
    """In the order of the next steps; those that no longer follow are signed too, and come last."""
    order = [step.id for step in assessment.next_steps]
    left = sorted(review.steps.keys() - set(order))
    return tuple(
        Decision(step, review.steps[step].is_taken, review.steps[step].reason)
        for step in (*order, *left)
        if step in review.steps
    )


def _by(review: Review, key: ReviewKey) -> By:
    item = review.items[key]
    return By(item.by, item.role, local(item.at))
