"""From what the form of the review holds to decisions, with what is wrong with them."""

from collections.abc import Mapping

from app.knowledge.load import knowledge
from app.language.words import N_, _
from app.store.review import ReviewKey, ReviewValue, StepDecision
from app.web.reviewing import Points

NO_REASON = N_("Say why it is declined")


def read_decisions(
    form: Mapping[str, str], shown: Points
) -> tuple[dict[ReviewKey, ReviewValue | None], dict[str, str]]:
    """The decisions that a form holds, and a fault for each field that holds none yet.

    shown: what the form was made from. A part that the form does not have is not decided by it; an
    empty tick is a decision only where the form had one to tick.
    """
    decisions: dict[ReviewKey, ReviewValue | None] = {}
    faults: dict[str, str] = {}
    for kind in ("impression", "plan", "for_patient"):
        if kind in form:
            decisions[kind, ""] = form[kind]
    for emergency in shown.emergencies:
        name = emergency.raised.id
        decisions["emergency", name] = True if f"emergency.{name}" in form else None
    for each in shown.to_confirm:
        number = str(each.held.entry_id)
        decisions["confirmed", number] = True if f"confirmed.{number}" in form else None
    # Folded away while the impression is to be written first, and then decided by nothing.
    if "codes" in form:
        for offered in shown.codes:
            decisions["code", offered.code] = True if f"code.{offered.code}" in form else None
        ticked = [each.code for each in shown.codes if f"code.{each.code}" in form]
        for first, second in knowledge().icd.clashes(ticked):
            # Which of the two is meant is for the physician to say; until then neither changes.
            faults[f"code.{second}"] = _(
                "{second} never stands beside {first}: take one of them away"
            ).format(second=second, first=first)
            for code in (first, second):
                decisions.pop(("code", code), None)
    for suggestion in shown.suggestions:
        name = suggestion.step.id
        chosen, reason = form.get(f"step.{name}"), form.get(f"reason.{name}", "").strip()
        if chosen == "taken":
            decisions["step", name] = StepDecision(True)
        elif chosen == "none":
            decisions["step", name] = None
        elif chosen == "declined" and reason:
            decisions["step", name] = StepDecision(False, reason)
        elif chosen == "declined":
            faults[f"reason.{name}"] = _(NO_REASON)
    return decisions, faults
