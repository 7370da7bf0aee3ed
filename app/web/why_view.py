"""From an explanation to the page that shows it: everything in words."""

from collections.abc import Iterable
from typing import Any

from app.assess.assessment import Reason
from app.assess.changes import Altered, Change
from app.assess.explain import (
    Caution,
    Condition,
    Explanation,
    Goal,
    Tier,
    explain_category,
    explain_falls,
    explain_warning,
)
from app.assess.results import NOT_RAISED
from app.assess.words import fall_level_words, finding_words, level_words, urgency_words
from app.exam.vocabulary import vocabulary
from app.knowledge.describe import claims
from app.knowledge.linked import capital, lower_whole
from app.knowledge.load import Knowledge
from app.knowledge.mentions import label_of, named
from app.knowledge.model import Category, WarningRule
from app.knowledge.terms import STATUS_WORDS
from app.language.words import N_, Spoken, _
from app.logic.truth import UNKNOWN, YES
from app.report.phrases import by_finding, folded, value_words
from app.store.exams import ExamRecord
from app.web.knowledge_pages import (
    CautionView,
    ConditionView,
    GoalView,
    PartView,
    TierView,
    WhyPage,
)
from app.web.sheet import sheet_path
from app.web.wording import exam_time, local, who

# More changes than this are folded away.
MOST_CHANGES = 6
# What the parts of a warning are; a pattern has one part alone.
_PARTS = (N_("These signs"), N_("Together with"))
_ANSWERS = Spoken({"yes": N_("yes"), "no": N_("no"), "unknown": N_("not known")})
_MEANING = Spoken(
    {
        "categories": N_(
            "A pattern is a way in which signs go together. It is not a disease and not a "
            "diagnosis: several causes may give the same pattern, and more than one may be there."
        ),
        "warnings": N_(
            "A warning says what should not be missed. It does not say what the patient has, "
            "and its absence is no all-clear."
        ),
        "falls": N_("The group is for planning care. It predicts nothing."),
    }
)
_GOALS = {
    "fits": (N_("It would fit"), N_("No change of one or two findings would make it fit.")),
    "no_caution": (
        N_("It would fit without a caution"),
        N_("No change of one or two findings would take every caution away."),
    ),
    "no_longer": (
        N_("It would no longer fit"),
        N_("No change of one or two findings would make it not fit any more."),
    ),
    "raised": (
        N_("It would be raised"),
        N_("No change of one or two findings would raise it."),
    ),
    "not_raised": (
        N_("It would no longer be raised"),
        N_("No change of one or two findings would take it away."),
    ),
}


def why_category(held: ExamRecord, part: str, category: Category, known: Knowledge) -> WhyPage:
    """One pattern."""
    told = explain_category(held.exam, known, category)
    return _page(
        held,
        part,
        told,
        known,
        group="categories",
        result=level_words(told.level),
        says=category.says if told.truth is YES else "",
        cautions_there=tuple(
            _caution(each, known) for each in told.cautions if each.condition.truth is YES
        ),
        cautions_unknown=tuple(
            _caution(each, known) for each in told.cautions if each.condition.truth is UNKNOWN
        ),
        cautions_absent=tuple(
            each.says for each in told.cautions if each.condition.truth.known is False
        ),
        misleads=category.misleads,
        claims=claims(category.support, known),
        status=STATUS_WORDS[category.status],
    )


def why_warning(held: ExamRecord, part: str, warning: WarningRule, known: Knowledge) -> WhyPage:
    """One warning."""
    told = explain_warning(held.exam, known, warning)
    raised = told.level != NOT_RAISED
    not_raised = (
        _("not raised") if told.truth is not UNKNOWN else _("not raised, not enough is known")
    )
    return _page(
        held,
        part,
        told,
        known,
        group="warnings",
        result=_("raised: {level}").format(level=urgency_words(told.level))
        if raised
        else not_raised,
        says=warning.says if raised else "",
        is_emergency=told.level == "emergency",
        claims=claims(warning.support, known),
        status=STATUS_WORDS[warning.status],
    )


def why_falls(held: ExamRecord, part: str, known: Knowledge) -> WhyPage:
    """The falls group."""
    told = explain_falls(held.exam, known)
    return _page(
        held,
        part,
        told,
        known,
        group="falls",
        result=fall_level_words(told.level),
        says=f"{known.fall_risk.says} {known.fall_risk.caveat}",
        claims=claims(known.fall_risk.support, known),
        status=STATUS_WORDS[known.fall_risk.status],
    )


def _page(
    held: ExamRecord, part: str, told: Explanation, known: Knowledge, *, group: str, **more: Any
) -> WhyPage:
    examined = local(held.examined_at)
    rule = named(group, told.rule if group != "falls" else "", known)
    parts = told.requirement or tuple(t.condition for t in told.tiers if t.condition)
    unsure = told.truth is YES and any(each.truth is UNKNOWN for each in told.requirement)
    defaults: dict[str, Any] = {
        "is_emergency": False,
        "cautions_there": (),
        "cautions_unknown": (),
        "cautions_absent": (),
        "misleads": (),
    }
    return WhyPage(
        title=_("Why: {label}").format(label=rule.label),
        who=who(held.patient, examined.date()),
        sheet=sheet_path(held.id, part),
        examined=_("{held}, as recorded up to now").format(held=exam_time(held)),
        version=known.version,
        named=rule,
        meaning=_MEANING[group],
        together=_(
            "Taken together the conditions hold, whatever the missing findings turn out to be."
        )
        if unsure
        else "",
        requirement=tuple(
            PartView(_(heading) if len(told.requirement) > 1 else "", _condition(each, known))
            for heading, each in zip(_PARTS, told.requirement, strict=False)
        ),
        tiers=tuple(_tier(each, known, is_fall=group == "falls") for each in told.tiers)
        if any(each.condition for each in told.tiers)
        else (),
        goals=tuple(_goal(each, known) for each in told.goals),
        missing=_missing(parts, known),
        untestable=tuple(
            f"{finding_words(finding, side)}: {reason}"
            for finding, side, reason in held.exam.untestable()
        ),
        **defaults | more,
    )


def _missing(parts: Iterable[Condition], known: Knowledge) -> tuple[str, ...]:
    lacking = dict.fromkeys(reason for each in parts for reason in each.lacking)
    return tuple(capital(line) for line in folded(by_finding(lacking, known)))


def _condition(told: Condition, known: Knowledge) -> ConditionView:
    shows = not told.items
    lacking = folded(by_finding(told.lacking, known)) if told.truth is UNKNOWN else []
    if len(lacking) == 1 and lacking[0].lower() in told.text.lower():
        # It would only say the condition again.
        lacking = []
    return ConditionView(
        words=told.words,
        truth=told.truth.value,
        answer=_ANSWERS[told.truth.value],
        entries=_lines(told.entries, known) if shows else (),
        lacking=tuple(lacking) if shows else (),
        items=tuple(_condition(each, known) for each in told.items),
    )


def _caution(told: Caution, known: Knowledge) -> CautionView:
    return CautionView(told.says, _condition(told.condition, known), claims(told.support, known))


def _tier(told: Tier, known: Knowledge, *, is_fall: bool) -> TierView:
    level = fall_level_words(told.level) if is_fall else urgency_words(told.level)
    condition = _condition(told.condition, known) if told.condition else None
    return TierView(capital(level), told.says, condition, told.is_reached)


def _lines(reasons: Iterable[Reason], known: Knowledge) -> tuple[str, ...]:
    return tuple(
        f"{label}: {tail}" if tail else label for label, tail in by_finding(reasons, known)
    )


def _goal(goal: Goal, known: Knowledge) -> GoalView:
    title, none = (_(words) for words in _GOALS[goal.reach])
    lines = tuple(capital(_change(each, known)) for each in goal.changes)
    return GoalView(title, lines[:MOST_CHANGES], lines[MOST_CHANGES:], "" if lines else none)


def _change(change: Change, known: Knowledge) -> str:
    return _(" and ").join(_altered(each, known) for each in change.altered)


def _altered(each: Altered, known: Knowledge) -> str:
    """One thing that would be otherwise: `without Chorea, LEFT: 2 definite`."""
    if each.is_medicine:
        medicine = lower_whole(label_of("medicines", each.name, known))
        if each.becomes:
            return _("with {medicine}").format(medicine=medicine)
        taken = f" ({', '.join(each.medicines)})" if each.medicines else ""
        return _("without {medicine}{taken}").format(medicine=medicine, taken=taken)
    finding = vocabulary()[each.name]
    label = finding_words(each.name, each.side)
    new = value_words(finding, each.becomes)
    if each.was is None:
        unknown = _("could not be tested") if each.is_untestable else _("not recorded")
        return _("with “{label}: {new}” ({unknown})").format(label=label, new=new, unknown=unknown)
    was = value_words(finding, each.was)
    if each.becomes == finding.normal_value():
        return _("without “{label}: {was}”").format(label=label, was=was)
    return _("with “{label}: {new}” instead of “{was}”").format(label=label, new=new, was=was)
