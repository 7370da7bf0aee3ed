"""From an exam as it is kept to the sheet, and to the answer to one entry."""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field, replace
from functools import partial

from fastapi import Request

from app.assess.assess import assess
from app.assess.assessment import Assessment
from app.assess.words import finding_words
from app.exam.record import Cell, Exam
from app.exam.vocabulary import vocabulary
from app.knowledge.load import knowledge
from app.language.words import N_, _
from app.report.phrases import day
from app.store.actor import Actor
from app.store.exams import ExamRecord
from app.store.last_time import LastTime
from app.store.refusals import Collision, MedicinesCollision
from app.web.allowed import someone
from app.web.identity import visit_of
from app.web.last_time import last_time_for, last_time_view
from app.web.meanwhile import clash, medicines_clash, medicines_news, news, state_view
from app.web.measured import measured_views
from app.web.pages import NO_WAYS, ExamPage, Fault, SavedPage, SaveStatus, Ways
from app.web.panel import medicine_lines, panel
from app.web.panel_view import PanelView
from app.web.sections import MEDICINES, writable
from app.web.sheet import (
    Shown,
    Typed,
    cells,
    count,
    dom_of,
    part_for,
    sheet_path,
    stations,
    stations_in,
)
from app.web.sheet_view import CountView, ExamState, MedicinesView, Message
from app.web.wording import exam_time, local, who

MEDICINES_DOM = "medicines"
# Offered while a reason is typed; common practice.
OFFERED_REASONS = (
    N_("pain"), N_("too weak"), N_("plaster or splint"), N_("limb missing"),
    N_("cannot follow the request"), N_("too tired"), N_("not safe today"), N_("declined"),
)  # fmt: skip


@dataclass(frozen=True)
class Reader:
    """Who reads a sheet, and what they may see and do there.

    part: of the sheet that they see; writes: the parts that they may write. pathways: of their
    clinic. last_time: finds the exam before one, where they may read it.
    """

    me: Actor
    part: str
    writes: frozenset[str]
    pathways: Mapping[str, str]
    last_time: Callable[[ExamRecord], LastTime | None]

    @classmethod
    def of(cls, request: Request, part: str, state: str) -> "Reader":
        """Whoever is signed in. part: as the address has it; state: that of the exam.

        Raises: NotSignedIn, ScreenLocked.
        """
        me = someone(request)
        pathways = visit_of(request).settings.pathways
        last = partial(last_time_for, request)
        return cls(me.actor, part_for(part, me.role), writable(me, state), pathways, last)


@dataclass(frozen=True)
class Answer:
    """What a form of the sheet gets back beside the exam itself: typed text, faults, collisions.

    medicines: the text that was typed and whether "none" was ticked, where it was refused.
    """

    typed: Mapping[Cell, Typed] = field(default_factory=dict)
    messages: Mapping[Cell, Message] = field(default_factory=dict)
    medicines: tuple[str, bool] | None = None
    medicines_message: Message | None = None
    general: tuple[str, ...] = ()

    @property
    def is_refused(self) -> bool:
        """Whether anything is wrong."""
        return bool(self.messages or self.medicines_message or self.general)


def exam_page(
    record: ExamRecord,
    reader: Reader,
    answer: Answer | None = None,
    state: ExamState | None = None,
    ways: Ways = NO_WAYS,
) -> ExamPage:
    """The whole sheet."""
    answer = answer or Answer()
    assessment = assess(record.exam, knowledge())
    part, writes = reader.part, reader.writes
    last = reader.last_time(record)
    shown = Shown(
        record, answer.typed, answer.messages, measured_views(record.exam), writes=writes, last=last
    )
    examined = local(record.examined_at)
    person = who(record.patient, examined.date())
    return ExamPage(
        title=_("Exam of {examined}").format(examined=day(examined)),
        faults=_summary(answer),
        exam_id=record.id,
        part=part,
        path=sheet_path(record.id, part),
        revision=record.revision,
        who=person,
        state=state or state_view(record.state),
        reason=record.reason,
        started=exam_time(record),
        status=SaveStatus(_("NOT SAVED"), is_saved=False)
        if answer.is_refused
        else SaveStatus(last_saved(record)),
        stations=stations(shown, part),
        medicines=_medicines(record.exam, assessment, answer, writes),
        may_write=bool(writes),
        reasons=tuple(map(_, OFFERED_REASONS)),
        unsaved=() if writes else _unsaved(answer),
        panel=_panel(record.exam, assessment, reader),
        ways=ways,
        last=last_time_view(last, record.id) if last else None,
    )


def saved_page(
    record: ExamRecord,
    reader: Reader,
    status: SaveStatus | None,
    *,
    since: int,
    sent: Iterable[Cell] = (),
    sent_medicines: bool = False,
    answer: Answer | None = None,
    state: ExamState | None = None,
    assessment: Assessment | None = None,
    made: int = 0,
) -> SavedPage:
    """The answer to one entry, or to the question what others did; then it has no status.

    since: the revision that the page shows; what others changed after it goes along.
    sent, sent_medicines: the cells, or the medicines, that were sent; they keep what was typed.
    assessment: what the exam adds up to, where that is known already. made: the revision that the
    entry made, 0 where it made none.
    """
    answer = answer or Answer()
    assessment = assessment or assess(record.exam, knowledge())
    own = set(sent)
    me, part, writes = reader.me, reader.part, reader.writes
    here = stations_in(part)
    changed = [
        cell
        for cell, held in record.cells.items()
        if held.revision > since and cell not in own and vocabulary()[cell[0]].station in here
    ]
    told = {cell: each for cell in changed if (each := news(cell, record.cells[cell], me))}
    # Only a cell that is drawn anew needs it; most entries draw none.
    last = reader.last_time(record) if changed else None
    medicines = record.medicines_record
    medicines_changed = not sent_medicines and medicines is not None and medicines.revision > since
    medicines_shown = _medicines(record.exam, assessment, answer, writes)
    if medicines_changed:
        medicines_shown = replace(medicines_shown, news=medicines_news(medicines, me))
    return SavedPage(
        title=_("Saved"),
        exam_id=record.id,
        part=part,
        revision=record.revision,
        made=made,
        status=status,
        state=state or state_view(record.state),
        cells=cells(Shown(record, news=told, writes=writes, last=last), changed),
        messages=tuple((dom_of(cell), answer.messages.get(cell)) for cell in own),
        counts=_moved_counts(record, part, since),
        measured=tuple(measured_views(record.exam).values()),
        medicines=medicines_shown,
        medicines_changed=medicines_changed,
        panel=_panel(record.exam, assessment, reader),
    )


def _moved_counts(record: ExamRecord, part: str, since: int) -> tuple[CountView, ...]:
    """How far the stations are in which anything was recorded after this revision."""
    newer = [cell for cell, held in record.cells.items() if held.revision > since]
    moved = {vocabulary()[finding].station for finding, _ in newer}
    return tuple(count(record.exam, each) for each in stations_in(part) if each in moved)


def last_saved(record: ExamRecord) -> str:
    """When something was last written to the exam."""
    times = [held.at for held in record.cells.values()]
    if record.medicines_record:
        times.append(record.medicines_record.at)
    return (
        _("saved {times}").format(times=f"{local(max(times)):%H:%M}")
        if times
        else _("nothing recorded yet")
    )


def clash_answer(collision: Collision, sent: Answer) -> Answer:
    """What was sent, with both values of everything that somebody else wrote meanwhile."""
    if isinstance(collision, MedicinesCollision):
        return replace(sent, medicines_message=medicines_clash(collision))
    messages = {cell: clash(cell, theirs, mine) for cell, (theirs, mine) in collision.cells.items()}
    return replace(sent, messages=messages)


def _panel(exam: Exam, assessment: Assessment, reader: Reader) -> PanelView:
    is_nurse = reader.me.role == "nurse"
    return panel(exam, assessment, knowledge(), reader.pathways, for_nurse=is_nurse)


def _medicines(
    exam: Exam, assessment: Assessment, answer: Answer, writes: frozenset[str]
) -> MedicinesView:
    held = exam.medicines
    text, is_none = answer.medicines or ("\n".join(held or ()), held == ())
    if held is None:
        words = _("not asked yet")
    else:
        words = _("{held} recorded").format(held=len(held)) if held else _("takes none")
    return MedicinesView(
        text=text,
        is_none=is_none,
        lines=medicine_lines(assessment, knowledge()),
        count=CountView(MEDICINES_DOM, words, held is not None),
        is_read_only=MEDICINES not in writes,
        message=answer.medicines_message,
    )


def _unsaved(answer: Answer) -> tuple[str, ...]:
    """What was typed, in lines."""
    lines = [
        f"{finding_words(*cell)}: {'; '.join(filter(None, (typed.value, typed.why)))}"
        for cell, typed in answer.typed.items()
    ]
    if answer.medicines and answer.medicines[0].strip():
        lines.append(
            _("Medicines: {splitlines}").format(
                splitlines="; ".join(answer.medicines[0].splitlines())
            )
        )
    return tuple(lines)


def _summary(answer: Answer) -> tuple[Fault, ...]:
    faults = [Fault("sheet", says) for says in answer.general]
    places = {cell: vocabulary().place(*cell) for cell in answer.messages}
    for cell in sorted(places, key=places.__getitem__):
        says = f"{finding_words(*cell)}: {answer.messages[cell].says}"
        faults.append(Fault(dom_of(cell), says))
    if answer.medicines_message:
        faults.append(
            Fault(MEDICINES_DOM, _("Medicines: {says}").format(says=answer.medicines_message.says))
        )
    return tuple(faults)
