"""Several exams of one patient: any two compared, and the course over all of them."""

from collections.abc import Sequence
from dataclasses import dataclass

from fastapi import APIRouter, Request
from sqlmodel import Session
from starlette.responses import Response

from app.assess.assess import assess
from app.assess.assessment import Assessment
from app.assess.compared import is_measured
from app.knowledge.course import NO_FIGURE
from app.knowledge.load import knowledge
from app.language.words import N_, _
from app.report.course import Visit, course, in_words
from app.report.phrases import day
from app.report.signed import SIGNED_STATES
from app.store.engine import reading
from app.store.exams import ExamRecord, WorklistRow, exam_record, exams_of
from app.store.patients import PatientCard, patient
from app.store.refusals import NotFound
from app.store.signatures import signatures
from app.web.allowed import may, require
from app.web.answers import show
from app.web.compare_pages import ComparePage, CoursePage, ExamChoice, ExamHead
from app.web.compare_view import concluded, differences
from app.web.last_time import NOT_SIGNED
from app.web.noted import noted
from app.web.pages import Fault
from app.web.signed_exam import assessed_when_signed
from app.web.wording import STATE_WORDS, exam_time, local, today, who

router = APIRouter()

TWICE = N_("Choose two different exams.")


@dataclass(frozen=True)
class Judged:
    """An exam with what it adds up to: as it was signed, or as it does now."""

    held: ExamRecord
    assessment: Assessment

    @property
    def is_signed(self) -> bool:
        """Whether the assessment is the one that was signed."""
        return self.held.state in SIGNED_STATES


@router.get("/patients/{patient_id}/compare")
def show_compare(request: Request, patient_id: str, then: str = "", now: str = "") -> Response:
    """Two exams; where none were chosen, the two newest signed ones, or the two newest."""
    me = require(request, "chart", "read")
    with reading(request.app.state.engine) as session:
        card = patient(session, patient_id)
        rows = [row for row in exams_of(session, patient_id) if may(me, "chart", "read", row.state)]
        chosen = _chosen(rows, then, now)
        judged = [] if chosen is None else [_judged(session, row.exam_id) for row in chosen]
    for each in judged:
        noted(request, me, "read", patient_id=patient_id, exam_id=each.held.id, page="comparison")
    if not judged:
        noted(request, me, "read", patient_id=patient_id)
    page = _compare_page(card, rows, judged, is_twice=bool(then) and then == now)
    return show(request, "compare.html", page, status=422 if page.faults else 200)


@router.get("/patients/{patient_id}/course")
def show_course(request: Request, patient_id: str) -> Response:
    """Measured values and graded signs over all exams in which anything was recorded."""
    me = require(request, "chart", "read")
    with reading(request.app.state.engine) as session:
        card = patient(session, patient_id)
        rows = [
            row
            for row in reversed(exams_of(session, patient_id))
            if row.entry_count and may(me, "chart", "read", row.state)
        ]
        exams = [exam_record(session, row.exam_id) for row in rows]
    noted(request, me, "read", patient_id=patient_id, page="course")
    visits = [
        Visit(each.exam, local(each.examined_at), each.state in SIGNED_STATES) for each in exams
    ]
    plots = course(visits, knowledge()) if len(visits) > 1 else ()
    page = CoursePage(
        title=_("Course"),
        who=who(card, today()),
        exams=len(visits),
        has_unsigned=any(not each.is_signed for each in visits),
        graded=tuple(each for each in plots if not is_measured(each.name)),
        measured=tuple(each for each in plots if is_measured(each.name)),
        told=in_words(visits) if len(visits) > 1 else (),
        columns=tuple((day(each.started_at), each.is_signed) for each in visits),
    )
    return show(request, "course.html", page)


def _chosen(
    rows: Sequence[WorklistRow], then: str, now: str
) -> tuple[WorklistRow, WorklistRow] | None:
    """Both exams, the earlier first; None where there are not two.

    rows: newest first. then, now: ids as the address has them, in any order.
    Raises: NotFound, where one of them is no exam of this patient.
    """
    by_id = {row.exam_id: row for row in rows}
    asked = [each for each in (then, now) if each]
    if any(each not in by_id for each in asked):
        raise NotFound(_("there is no such exam of this patient"))
    if len(set(asked)) < len(asked):
        return None
    named = [by_id[each] for each in asked]
    recorded = [row for row in rows if row.entry_count and row not in named]
    # Beside one that was chosen: an earlier one, and a signed one before others.
    recorded.sort(
        key=lambda row: (
            any(row.examined_at > each.examined_at for each in named),
            row.state not in SIGNED_STATES,
        )
    )
    both = [*named, *recorded][:2]
    if len(both) < 2:
        return None
    earlier, later = sorted(both, key=lambda row: (row.examined_at, row.exam_id))
    return earlier, later


def _judged(session: Session, exam_id: str) -> Judged:
    held = exam_record(session, exam_id)
    if held.state not in SIGNED_STATES:
        return Judged(held, assess(held.exam, knowledge()))
    return Judged(held, assessed_when_signed(held, signatures(session, exam_id)))


def _compare_page(
    card: PatientCard, rows: Sequence[WorklistRow], judged: Sequence[Judged], *, is_twice: bool
) -> ComparePage:
    known = knowledge()
    then, now = judged if judged else (None, None)
    versions = [each.assessment.knowledge for each in judged]
    return ComparePage(
        title=_("Compare two exams"),
        faults=(Fault("now", _(TWICE)),) if is_twice else (),
        who=who(card, today()),
        choices=tuple(_choice(row) for row in rows),
        then=_head(then) if then else None,
        now=_head(now) if now else None,
        other_knowledge=other_knowledge(versions),
        concluded=concluded(then.assessment, now.assessment, known) if then and now else (),
        parts=differences(then.held.exam, now.held.exam, known) if then and now else (),
        no_figure=_(NO_FIGURE),
    )


def _choice(row: WorklistRow) -> ExamChoice:
    return ExamChoice(row.exam_id, f"{exam_time(row)}, {_state(row.state)}")


def _state(state: str) -> str:
    words = STATE_WORDS[state]
    return words if state in SIGNED_STATES else f"{words}, {_(NOT_SIGNED)}"


def _head(judged: Judged) -> ExamHead:
    held, version = judged.held, judged.assessment.knowledge
    return ExamHead(
        id=held.id,
        when=exam_time(held),
        state=_state(held.state),
        is_signed=judged.is_signed,
        is_amended=held.state == "amended",
        basis=(
            _("assessed when it was signed, under knowledge {version}")
            if judged.is_signed
            else _("assessed now, under knowledge {version}")
        ).format(version=version),
    )


def other_knowledge(versions: Sequence[str]) -> str:
    """What is said where both exams were assessed under different knowledge; "" elsewhere."""
    if len(set(versions)) < 2:
        return ""
    return _(
        "The earlier exam was assessed under knowledge version {versions}, the later "
        "one under {versions2}. A pattern or warning can read otherwise for that "
        "reason alone."
    ).format(versions=versions[0], versions2=versions[1])
