"""Describe a case that stands beside a rule: what it gives, and what it expects."""

from collections.abc import Iterator, Mapping

from app.exam.record import Exam, Recorded, Untestable
from app.exam.vocabulary import Finding, Scale, Side, vocabulary
from app.knowledge.case import Case, CategoryCase, FallCase, WarningCase
from app.knowledge.cases import exam_of
from app.knowledge.described import CaseDescription
from app.knowledge.linked import lower
from app.knowledge.load import Knowledge
from app.knowledge.mentions import sources_named
from app.knowledge.terms import (
    ANSWER_WORDS,
    RAISED_WORDS,
    SEX_WORDS,
    fall_level_words,
    level_words,
    side_words,
    urgency_words,
)
from app.knowledge.words import unit_words
from app.language.words import _


def describe_case(
    case: CategoryCase | WarningCase | FallCase, knowledge: Knowledge
) -> CaseDescription:
    """A case, with what it gives and what it expects."""
    match case:
        case CategoryCase():
            expects = ANSWER_WORDS[case.expect]
            expects += (
                _(". Result: {level}").format(level=level_words(case.level)) if case.level else ""
            )
        case WarningCase():
            expects = RAISED_WORDS[case.expect]
            expects += (
                _(". How urgent: {urgency}").format(urgency=urgency_words(case.urgency))
                if case.urgency
                else ""
            )
        case _:
            expects = _("Group: {level}").format(level=fall_level_words(case.level))
    name = sources_named(case.name, knowledge)
    return CaseDescription(name, *_given(case), f"{expects}.")


def _given(case: Case) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """What a case gives, a finding a line, and what is not there, told together."""
    lines = [_("Age: {age} years").format(age=case.age)] if case.age is not None else []
    lines += [_("Sex: {sex}").format(sex=SEX_WORDS[case.sex])] if case.sex is not None else []
    absent: list[str] = []
    answered_no: list[str] = []
    for finding, sides in _held(exam_of(case)):
        whole = len(sides) == len(finding.sides) and not finding.detail_of
        if whole and _is_absent(finding, sides):
            absent.append(lower(finding.label))
        elif whole and finding.station == "history" and sides[None] is False:
            answered_no.append(lower(finding.label))
        else:
            lines.append(_on_sides(finding, {side: _value(finding, sides[side]) for side in sides}))
    if case.medicines is not None:
        lines.append(
            _("Medicines: {medicines}").format(medicines=", ".join(case.medicines) or _("none"))
        )
    told = ((_("Looked for and absent"), absent), (_("Answered no"), answered_no))
    return tuple(lines), tuple(f"{what}: {'; '.join(each)}" for what, each in told if each)


def _is_absent(finding: Finding, sides: Mapping[Side | None, Recorded]) -> bool:
    graded = finding.is_sign and finding.scale in (Scale.GRADE, Scale.YESNO)
    return graded and all(value == finding.normal_value() for value in sides.values())


def _held(exam: Exam) -> Iterator[tuple[Finding, dict[Side | None, Recorded]]]:
    """Each finding with what was recorded of it, RIGHT before LEFT."""
    held: dict[str, dict[Side | None, Recorded]] = {}
    for finding_id, side in sorted(exam.cells, key=lambda cell: vocabulary().place(*cell)):
        held.setdefault(finding_id, {})[side] = exam.cells[finding_id, side]
    for finding_id, sides in held.items():
        yield vocabulary()[finding_id], sides


def _value(finding: Finding, recorded: Recorded) -> str:
    if isinstance(recorded, Untestable):
        return _("could not be tested, {reason}").format(reason=recorded.reason)
    if finding.scale is Scale.COUNT:
        return str(recorded)
    return finding.words_of(recorded).replace(finding.unit, unit_words(finding.unit))


def _on_sides(finding: Finding, sides: dict[Side | None, str]) -> str:
    values = list(sides.values())
    if len(sides) == 1 or len(set(values)) == 1:
        named = side_words("both") if len(sides) > 1 else side_words(next(iter(sides)))
        return f"{finding.label}{f', {named}' if named else ''}: {values[0]}"
    return f"{finding.label}: {', '.join(f'{side_words(side)} {sides[side]}' for side in sides)}"
