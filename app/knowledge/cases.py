"""Read cases as exams, and check that every rule has those that it needs."""

from collections.abc import Mapping
from typing import Any, get_args

from app.exam.faults import BadExam, BadValue
from app.exam.reading import read_exam, read_untestable, read_value
from app.exam.record import Exam
from app.exam.vocabulary import SIDES, Side, vocabulary
from app.knowledge.case import Case, CategoryCase, WarningCase
from app.knowledge.files import BadKnowledge
from app.knowledge.model import Category, WarningRule
from app.knowledge.model_falls import FallRisk
from app.knowledge.table import ANSWERS, Answer, FallLevel

_LEVELS: Mapping[str, tuple[str, ...]] = {
    "yes": ("fits", "fits_with_cautions"),
    "no": ("partial", "not_supported"),
    "unknown": ("open", "not_supported"),
}


def exam_of(case: Case) -> Exam:
    """The exam that a case describes; what it does not say is unknown.

    Raises: BadExam, where the loader has not checked the case.
    """
    findings: dict[str, Any] = {}
    for key, value in case.given.items():
        finding_id, _, side = key.partition(" ")
        if side:
            findings.setdefault(finding_id, {})[side] = value
        else:
            findings[finding_id] = value
    medicines = None if case.medicines is None else list(case.medicines)
    patient = {"age": case.age, "sex": case.sex}
    return read_exam({"patient": patient, "findings": findings, "medicines": medicines})


def check_cases(
    categories: Mapping[str, Category], warnings: Mapping[str, WarningRule], falls: FallRisk
) -> None:
    """Check the cases of every rule.

    Raises: BadKnowledge.
    """
    for category in categories.values():
        file = f"categories/{category.id}.toml"
        _check(file, category.id, category.case)
        _check_answers(file, category.id, category.case, category.no_case)
    for warning in warnings.values():
        file = f"warnings/{warning.id}.toml"
        _check(file, warning.id, warning.case)
        _check_answers(file, warning.id, warning.case, warning.no_case)
    _check("fall_risk.toml", falls.id, falls.case)
    for level in get_args(FallLevel):
        if not any(case.level == level for case in falls.case):
            raise BadKnowledge(f"fall_risk.toml: {falls.id}: case: none has the level {level}")


def _check(file: str, rule: str, cases: tuple[Case, ...]) -> None:
    for place, case in enumerate(cases):
        here = f"{file}: {rule}: case “{case.name}”"
        if case.name in [other.name for other in cases[:place]]:
            raise BadKnowledge(f"{here}: two cases have this name; give one another name")
        for key, value in case.given.items():
            _check_cell(f"{here}: {key}", key, value)
        _check_conclusion(here, case)
        try:
            exam_of(case)
        except BadExam as error:
            raise BadKnowledge(f"{here}: {'; '.join(error.faults)}") from None


def _check_cell(here: str, key: str, value: object) -> None:
    finding_id, _, side = key.partition(" ")
    finding = vocabulary().get(finding_id)
    if finding is None:
        raise BadKnowledge(f"{here}: {finding_id} is not a finding")
    if finding.paired and side not in tuple(Side):
        right, left = SIDES
        written = f"write “{finding_id} {right}” or “{finding_id} {left}”"
        raise BadKnowledge(f"{here}: {finding_id} is recorded on each side: {written}")
    if side and not finding.paired:
        raise BadKnowledge(f"{here}: {finding_id} has no side: write “{finding_id}”")
    try:
        if isinstance(value, dict):
            read_untestable(value)
        else:
            read_value(finding, value)
    except BadValue as fault:
        raise BadKnowledge(f"{here}: {fault}") from None


def _check_conclusion(here: str, case: Case) -> None:
    """A case may not say of one rule what can never be true together."""
    if isinstance(case, CategoryCase) and case.level not in (None, *_LEVELS[case.expect]):
        right = " or ".join(_LEVELS[case.expect])
        raise BadKnowledge(f"{here}: level {case.level}: expect {case.expect} gives {right}")
    if isinstance(case, WarningCase) and case.urgency is not None and case.expect != "yes":
        raise BadKnowledge(f"{here}: urgency: leave it out, or expect yes")


def _check_answers(
    file: str,
    rule: str,
    cases: tuple[CategoryCase, ...] | tuple[WarningCase, ...],
    no_case: Mapping[Answer, str],
) -> None:
    for answer in ANSWERS:
        has = any(case.expect == answer for case in cases)
        if has and answer in no_case:
            problem = f"no_case: {answer}: there is a case that expects it; take the reason out"
            raise BadKnowledge(f"{file}: {rule}: {problem}")
        if not has and answer not in no_case:
            problem = (
                f"case: none expects {answer}; add one, or say under no_case why there is none"
            )
            raise BadKnowledge(f"{file}: {rule}: {problem}")
