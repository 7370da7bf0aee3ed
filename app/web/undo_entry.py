"""One entry taken back on the sheet: the cells show what stood in them before."""

from datetime import UTC, datetime

from fastapi import APIRouter, Request
from starlette.responses import Response

from app.assess.assess import assess
from app.exam.vocabulary import vocabulary
from app.knowledge.load import knowledge
from app.language.words import _
from app.store.cells import CellRecord, MedicinesRecord
from app.store.engine import reading, writing
from app.store.exams import exam_record
from app.store.refusals import Collision, MedicinesCollision, NotOpen
from app.store.undo import findings_at, undo
from app.web.alerting import keep_alert
from app.web.allowed import someone
from app.web.answers import show
from app.web.exam_page import Reader, saved_page
from app.web.exams import CLOSED_MEANWHILE
from app.web.forms import FormFields, revision_in
from app.web.meanwhile import recorder_words
from app.web.pages import SaveStatus
from app.web.sections import MEDICINES, permit, section_of
from app.web.wording import local

router = APIRouter()


@router.post("/exams/{exam_id}/undo")
def undo_entry(request: Request, exam_id: str, form: FormFields, part: str = "") -> Response:
    """Take back what the person wrote under the revision `of`, and answer as to an entry."""
    me = someone(request)
    of, since, now = revision_in(form, "of"), revision_in(form), datetime.now(UTC)
    with reading(request.app.state.engine) as session:
        changed = findings_at(session, exam_id, of)
    assessment = None
    try:
        permit(request, exam_id, {_section(finding) for finding in changed})
        with writing(request.app.state.engine) as session:
            held = undo(session, exam_id, of, at_revision=since, recorder=me.recorder, now=now)
            assessment = assess(held.exam, knowledge())
            keep_alert(session, exam_id, assessment, me, now)
    except (Collision, NotOpen) as refused:
        with reading(request.app.state.engine) as session:
            held = exam_record(session, exam_id)
        status = SaveStatus(_("NOT TAKEN BACK"), is_saved=False, detail=_why(refused))
    else:
        status = SaveStatus(_("taken back, saved {now}").format(now=f"{local(now):%H:%M}"))
    reader = Reader.of(request, part, held.state)
    page = saved_page(held, reader, status, since=since, assessment=assessment)
    return show(request, "saved.html", page, status=200 if status.is_saved else 409)


def _section(finding: str) -> str:
    return section_of(finding) if finding in vocabulary() else MEDICINES


def _why(refused: Collision | NotOpen) -> str:
    if isinstance(refused, NotOpen):
        return _(CLOSED_MEANWHILE)
    theirs: list[CellRecord | MedicinesRecord] = [held for held, _by in refused.cells.values()]
    if isinstance(refused, MedicinesCollision):
        theirs.append(refused.theirs)
    by = dict.fromkeys(map(recorder_words, theirs))
    return _("Recorded anew since, by {by}.").format(by=", ".join(by))
