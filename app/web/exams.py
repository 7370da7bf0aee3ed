"""The exam sheet: shown whole, and saved whole as a form."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from typing import Any

from fastapi import APIRouter, Request
from starlette.responses import Response

from app.assess.assess import assess
from app.assess.assessment import Assessment
from app.exam.faults import BadValue
from app.exam.record import Cell, Recorded
from app.exam.vocabulary import vocabulary
from app.knowledge.load import knowledge
from app.language.words import N_, _
from app.report.signed import SIGNED_STATES
from app.store.engine import reading, writing
from app.store.entries import (
    mark_rest_normal,
    record,
    record_medicines,
    to_be_written,
    written_before,
)
from app.store.exams import ExamRecord, exam_record
from app.store.refusals import Collision, NotOpen
from app.store.tables import MEDICINES as MEDICINES_CELL
from app.web.alerting import keep_alert, see_alert
from app.web.allowed import may, require, someone
from app.web.answers import see_other, show
from app.web.entered import read_medicines, read_sheet
from app.web.exam_page import Answer, Reader, clash_answer, exam_page
from app.web.forms import FormFields, revision_in
from app.web.identity import SignedIn
from app.web.noted import noted
from app.web.pages import Ways
from app.web.sections import MEDICINES, permit, sections_of, sections_of_rest
from app.web.sheet import part_for, sheet_path
from app.web.sheet_view import Message
from app.web.signed_exam import signed_exam

router = APIRouter()

# Stations whose core cells have a normal value that a person can give in one act.
WITH_NORMAL = ("rest", "posture", "reach", "repeat", "tone", "gait")

CLOSED_MEANWHILE = N_(
    "The exam was signed meanwhile and takes no more entries. Nothing was recorded."
)


@dataclass(frozen=True)
class Write:
    """Everything that one form writes, in one transaction.

    medicines: whether they are written; lines: what they are then.
    """

    changes: Mapping[Cell, Recorded | None]
    at_revision: int
    medicines: bool = False
    lines: tuple[str, ...] | None = None
    normal: str = ""


@router.get("/exams/{exam_id}")
def show_exam(request: Request, exam_id: str, part: str = "") -> Response:
    """The sheet."""
    someone(request)
    with reading(request.app.state.engine) as session:
        held = exam_record(session, exam_id)
    me = require(request, "chart", "read", held.state)
    noted(request, me, "read", patient_id=held.patient.id, exam_id=held.id)
    if held.state in SIGNED_STATES:
        return signed_exam(request, held, me)
    see_alert(request, exam_id, me)
    page = exam_page(held, Reader.of(request, part, held.state), ways=ways_on(me, held.state))
    if page.last:
        noted(request, me, "read", patient_id=held.patient.id, exam_id=page.last.exam_id)
    return show(request, "exam.html", page)


@router.post("/exams/{exam_id}")
def save_sheet(request: Request, exam_id: str, form: FormFields, part: str = "") -> Response:
    """Save what changed in the whole form, all or nothing."""
    me = someone(request)
    with reading(request.app.state.engine) as session:
        base = exam_record(session, exam_id, at_revision=revision_in(form))
    write, answer = _read_sheet(form, base)
    try:
        permit(request, exam_id, _sections(write, answer))
        if answer.is_refused:
            return sheet_answer(request, base, part, answer, 422)
        written = written_exam(request, exam_id, write, me)[0]
    except Collision as collision:
        answer = clash_answer(collision, answer)
    except NotOpen:
        answer = replace(answer, general=(_(CLOSED_MEANWHILE),))
    else:
        place = f"#{write.normal}" if write.normal else ""
        return see_other(sheet_path(written.id, part_for(part, me.role)) + place)
    with reading(request.app.state.engine) as session:
        held = exam_record(session, exam_id)
    return sheet_answer(request, held, part, answer, 409)


def ways_on(me: SignedIn, state: str) -> Ways:
    """Where this person may go on from the sheet while the exam is in this state."""
    may_move = may(me, "handover", "write", state)
    return Ways(
        hand_over=may_move and state == "open",
        take_back=may_move and state == "ready",
        review=may(me, "review", "read", state),
    )


def _sections(write: Write, answer: Answer) -> frozenset[str]:
    """The parts that a whole form wants to write, also where what it holds is wrong."""
    sections = sections_of(finding for finding, _ in answer.typed)
    if write.medicines or answer.medicines_message:
        sections |= {MEDICINES}
    return sections | sections_of_rest(write.normal) if write.normal in WITH_NORMAL else sections


def sheet_answer(
    request: Request, held: ExamRecord, part: str, answer: Answer, status: int
) -> Response:
    """The whole sheet again, with what was refused."""
    reader, ways = Reader.of(request, part, held.state), ways_on(someone(request), held.state)
    page = exam_page(held, reader, answer, ways=ways)
    return show(request, "exam.html", page, status=status)


def _read_sheet(form: Mapping[str, str], base: ExamRecord) -> tuple[Write, Answer]:
    """What a whole form wants to write, and what must be shown with it if it is refused."""
    entered = read_sheet(form, base.exam.cells)
    messages = {cell: Message(says) for cell, says in entered.faults.items()}
    general = [
        _("{name} is not a finding of this exam").format(name=name) for name in entered.unknown
    ]
    normal = form.get("normal", "")
    if normal and normal not in WITH_NORMAL:
        general.append(_("Only a station of the examination can be marked normal"))
    lines, fault = base.exam.medicines, None
    if "medicines" in form:
        try:
            lines = read_medicines(form)
        except BadValue as bad:
            fault = Message(str(bad))
    write = Write(
        entered.changes, base.revision, lines != base.exam.medicines, lines, normal=normal
    )
    return write, Answer(entered.typed, messages, typed_medicines(form), fault, tuple(general))


def typed_medicines(form: Mapping[str, str]) -> tuple[str, bool] | None:
    """The medicines as they stand in a form, and whether none are taken; None where it has none."""
    return (form["medicines"], "no_medicines" in form) if "medicines" in form else None


def written_exam(
    request: Request, exam_id: str, write: Write, me: SignedIn
) -> tuple[ExamRecord, Assessment, int]:
    """Write all of it or nothing; the exam and what it adds up to now, only after the commit.

    The last is the revision that was made, now or by the same write when its answer was lost; 0
    where everything stood there already.
    Raises: Collision and the other refusals of the store.
    """
    stamp: dict[str, Any] = {
        "at_revision": write.at_revision, "recorder": me.recorder, "now": datetime.now(UTC)
    }  # fmt: skip
    with writing(request.app.state.engine) as session:
        before = to_be_written(session, exam_id, write.at_revision).revision
        written = record(session, exam_id, write.changes, **stamp)
        if write.medicines:
            written = record_medicines(session, exam_id, write.lines, **stamp)
        if write.normal:
            written = mark_rest_normal(session, exam_id, write.normal, **stamp)
        assessment = assess(written.exam, knowledge())
        keep_alert(session, exam_id, assessment, me, datetime.now(UTC))
        made = written.revision
        if made == before:
            after = write.at_revision
            made = written_before(session, exam_id, _cells(write), me.recorder, after=after)
    return written, assessment, made


def _cells(write: Write) -> set[Cell]:
    """The cells that a write is about."""
    cells = set(write.changes)
    if write.medicines:
        cells.add((MEDICINES_CELL, None))
    if write.normal:
        cells |= {
            (finding.id, side)
            for finding in vocabulary().at(write.normal)
            for side in finding.sides
        }
    return cells
