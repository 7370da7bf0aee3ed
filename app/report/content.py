"""What the note can tell, whole and in short words, before anything is left out."""

from collections.abc import Sequence
from dataclasses import dataclass

from app.assess.assessment import URGENCIES, CategoryFound, WarningRaised
from app.assess.words import fall_level_words, level_words, side_words, urgency_words
from app.exam.record import Exam
from app.exam.vocabulary import SIDES, Finding, Side
from app.knowledge.load import Knowledge
from app.knowledge.terms import ROLE_WORDS, without_consider
from app.language.words import _
from app.report.coverage import Coverage, State, coverage, is_present, signs_to_show, state_of
from app.report.listing import conflict_lines, recorded_items, untestable_groups
from app.report.page import ReportInput, banner
from app.report.phrases import by_finding, capital, clean, day, moment, on_paper_words, quoted, said
from app.report.reviewed import Settled, acknowledged_by, confirmed_by
from app.report.signed import KINDS, SignatureBlock
from app.report.wrapping import few_words

# (label, tail), as app.report.phrases.folded takes them.
Items = Sequence[tuple[str, str]]


@dataclass(frozen=True)
class Warned:
    """One warning with its reasons."""

    urgency: str
    label: str
    because: Items


@dataclass(frozen=True)
class Pattern:
    """One listed category. head: its label, level and side."""

    head: str
    qualifiers: Sequence[str]
    against: Items
    missing: Items


@dataclass(frozen=True)
class Content:
    """Every list of the note. signs: by side, None for the findings without sides.

    amended: heading and text of the newest amendment, of a signed exam that has one.
    taken, declined: the steps that the physician decided on; steps: the others.
    """

    state: str
    amended: tuple[str, str] | None
    earlier_amendments: int
    patient: str
    reason: str
    impression: str
    plan: str
    codes: Sequence[str]
    urgent: Sequence[Warned]
    acknowledged: Sequence[Settled]
    patterns: Sequence[Pattern]
    warnings: Sequence[Warned]
    falls: str
    hazards: Sequence[str]
    signs: dict[Side | None, Items]
    unexplained: Items
    history: Items
    measured: Items
    conflicts: Sequence[str]
    unknown_medicines: Sequence[str]
    medicines_asked: bool
    taken: Sequence[str]
    declined: Sequence[str]
    confirmed: Sequence[Settled]
    steps: Sequence[tuple[str, str]]
    stations: Sequence[Coverage]
    untestable: Sequence[tuple[str, Items]]
    exam: str


def content(report: ReportInput, knowledge: Knowledge) -> Content:
    """Collect what there is to tell."""
    exam, found = report.exam, report.assessment
    warned = [
        (raised.urgency in URGENCIES[:2], _warned(raised, knowledge))
        for raised in found.warnings
        if raised is not found.fall_risk
    ]
    unwritten = _("none was written.") if report.signature else ""
    decided = {each.step for each in report.decisions}
    return Content(
        state=_state(report),
        amended=_amended(report),
        earlier_amendments=len(report.amendments[:-1]),
        patient=_patient(report),
        reason=clean(report.reason, 400),
        impression=clean(report.impression) or unwritten,
        plan=clean(report.plan) or unwritten,
        codes=report.codes,
        urgent=[line for is_urgent, line in warned if is_urgent],
        acknowledged=acknowledged_by(report.acknowledged, found, knowledge),
        patterns=[_pattern(one, knowledge) for one in found.listed],
        warnings=[line for is_urgent, line in warned if not is_urgent],
        falls=fall_level_words(found.fall_risk.level or "open"),
        hazards=[knowledge.hazards[hazard.id].label for hazard in found.hazards],
        signs=_signs(exam),
        unexplained=by_finding(found.unexplained, knowledge, short=True),
        history=recorded_items(exam, ("history",), State.ABNORMAL, State.DESCRIBED, short=True),
        measured=recorded_items(exam, ("measures", "gait"), State.DESCRIBED, short=True),
        conflicts=conflict_lines(report),
        unknown_medicines=[few_words(clean(one.text, 40), 4) for one in found.not_recognised],
        medicines_asked=exam.medicines is not None,
        taken=[_step(each.step, knowledge) for each in report.decisions if each.is_taken],
        declined=[
            f"{_step(each.step, knowledge)}: {quoted(few_words(clean(each.reason, 60), 6))}"
            for each in report.decisions
            if not each.is_taken
        ],
        confirmed=confirmed_by(report.confirmed, exam, short=True),
        steps=[
            (urgency_words(step.urgency), _step(step.id, knowledge))
            for step in sorted(found.next_steps, key=lambda step: URGENCIES.index(step.urgency))
            if step.id not in decided
        ],
        stations=coverage(exam),
        untestable=[
            (few_words(clean(reason, 60), 6), cells) for reason, cells in untestable_groups(exam)
        ],
        exam=_("Exam {exam_id}, knowledge {knowledge}.").format(
            exam_id=clean(report.exam_id, 40), knowledge=found.knowledge
        ),
    )


def _state(report: ReportInput) -> str:
    what = _("Motor exam of {report}.").format(report=_examined(report))
    if report.demo:
        what += _(" DEMONSTRATION, invented data.")
    if report.signature is None:
        return _("DRAFT, not signed. {what}").format(what=what)
    signed = _("by {signature}, {signed_at}").format(
        signature=_signer(report.signature), signed_at=moment(report.signature.signed_at)
    )
    if not report.amendments:
        return _("SIGNED {signed}. {what}").format(signed=signed, what=what)
    return _("AMENDED, see amendment {number} below. Signed {signed}. {what}").format(
        number=report.amendments[-1].number, signed=signed, what=what
    )


def _examined(report: ReportInput) -> str:
    examined, paper = day(report.started_at), report.paper
    if paper is None:
        return examined
    by = few_words(clean(paper.by, 60), 6)
    return on_paper_words(examined, by, day(paper.entered_at))


def _amended(report: ReportInput) -> tuple[str, str] | None:
    if not report.amendments:
        return None
    newest = report.amendments[-1]
    head = _("Amendment {number}, {kind} by {signature}, {signed_at}").format(
        number=newest.number,
        kind=KINDS[newest.kind],
        signature=_signer(newest.signature),
        signed_at=moment(newest.signature.signed_at),
    )
    return head, _("{text} Reason: {reason}").format(
        text=clean(newest.text), reason=clean(newest.reason)
    )


def _signer(signature: SignatureBlock) -> str:
    return f"{few_words(clean(signature.printed_name, 60), 6)}, {ROLE_WORDS[signature.role]}"


def _step(step_id: str, knowledge: Knowledge) -> str:
    return without_consider(knowledge.steps[step_id].says)


def _patient(report: ReportInput) -> str:
    who = banner(report, most=60)
    name = ", ".join(few_words(part, 8) for part in (who.family_name, who.given_name))
    return _("{name}. {born}, {sex}, chart number {chart_number}").format(
        name=name, born=who.born, sex=who.sex, chart_number=who.chart_number
    )


def _warned(raised: WarningRaised, knowledge: Knowledge) -> Warned:
    return Warned(
        capital(urgency_words(raised.urgency)),
        knowledge.warnings[raised.id].label,
        by_finding(raised.because, knowledge, short=True),
    )


def _pattern(found: CategoryFound, knowledge: Knowledge) -> Pattern:
    category = knowledge.categories[found.id]
    parts = [level_words(found.level), side_words(found.side)]
    return Pattern(
        head=f"{category.label}: {'; '.join(part for part in parts if part)}",
        qualifiers=[category.qualifiers[name].label for name in found.qualifiers],
        against=by_finding(found.against, knowledge, short=True),
        missing=by_finding(found.missing, knowledge, short=True),
    )


def _signs(exam: Exam) -> dict[Side | None, Items]:
    columns: dict[Side | None, list[tuple[str, str]]] = {side: [] for side in (*SIDES, None)}
    for finding in signs_to_show(exam):
        for side in finding.sides:
            if _is_told(exam, finding, side):
                columns[side].append((finding.label, _sign_tail(exam, finding, side)))
    return {**columns}


def _is_told(exam: Exam, finding: Finding, side: Side | None) -> bool:
    if finding.detail_of is None:
        return state_of(exam, finding, side) is State.ABNORMAL
    value = exam.value(finding.id, side)
    return value not in (None, False) and is_present(exam, finding.detail_of, side)


def _sign_tail(exam: Exam, finding: Finding, side: Side | None) -> str:
    tail = said(finding, exam.value(finding.id, side), short=True)
    if side is None or finding.detail_of:
        return tail
    match state_of(exam, finding, side.other):
        case State.NOT_EXAMINED:
            other = _("{other} not examined").format(other=side_words(side.other))
        case State.UNTESTABLE:
            other = _("{other} not testable").format(other=side_words(side.other))
        case _:
            return tail
    return f"{tail}, {other}" if tail else other
