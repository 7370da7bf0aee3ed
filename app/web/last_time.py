"""Last time's value beside each cell of the sheet: faint, dated, and never an answer of today."""

from fastapi import Request

from app.exam.record import Cell, Untestable
from app.exam.vocabulary import Scale, vocabulary
from app.language.words import N_, _
from app.report.phrases import day, value_words
from app.store.engine import reading
from app.store.exams import ExamRecord
from app.store.last_time import LastTime, last_time
from app.web.allowed import may, someone
from app.web.sheet_view import LastTimeView, LastView
from app.web.wording import STATE_WORDS, local

NOT_SIGNED = N_("not signed")
CANNOT = N_("cannot be tested")


def last_time_for(request: Request, held: ExamRecord) -> LastTime | None:
    """The exam before this one, where whoever is signed in may read it.

    Raises: NotSignedIn, ScreenLocked.
    """
    me = someone(request)
    with reading(request.app.state.engine) as session:
        found = last_time(session, held)
    if found is None or not may(me, "chart", "read", found.record.state):
        return None
    return found


def last_time_view(last: LastTime, exam_id: str) -> LastTimeView:
    """What the head of the sheet says of it."""
    return LastTimeView(
        exam_id=last.record.id,
        when=day(local(last.record.examined_at)),
        state=STATE_WORDS[last.record.state] if last.is_signed else _(NOT_SIGNED),
        is_signed=last.is_signed,
        is_amended=last.record.state == "amended",
        passed_over="" if last.passed_over is None else day(local(last.passed_over)),
        compare=f"/patients/{last.record.patient.id}/compare?then={last.record.id}&now={exam_id}",
    )


def last_view(last: LastTime | None, cell: Cell) -> LastView | None:
    """What stood in a cell last time; None where it was not examined then."""
    recorded = None if last is None else last.record.exam.cells.get(cell)
    if last is None or recorded is None:
        return None
    finding = vocabulary()[cell[0]]
    when = day(local(last.record.examined_at))
    signed = "" if last.is_signed else f", {_(NOT_SIGNED)}"
    if isinstance(recorded, Untestable):
        return LastView(
            _("last{signed}: {CANNOT}").format(signed=signed, CANNOT=_(CANNOT)),
            _("last time, {when}{signed}: {CANNOT}").format(
                when=when, signed=signed, CANNOT=_(CANNOT)
            ),
        )
    # The unit and the words of a grade stand beside the cell already.
    is_number = finding.scale in (Scale.GRADE, Scale.COUNT, Scale.NUMBER)
    words = value_words(finding, recorded)
    short = words.split()[0] if is_number else words
    joint = " " if is_number and not signed else ": "
    return LastView(
        _("last{signed}{joint}{words}").format(signed=signed, joint=joint, words=short),
        _("last time, {when}{signed}: {words}").format(when=when, signed=signed, words=words),
    )
