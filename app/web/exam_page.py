"""From an exam as it is kept to the sheet, and to the answer to one entry."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace

from app.assess.assess import assess
from app.assess.assessment import Assessment
from app.assess.words import finding_words
from app.exam.record import Cell, Exam, Recorded, Untestable
from app.exam.vocabulary import vocabulary
from app.knowledge.load import knowledge
from app.report.phrases import day, value_words
from app.store.cells import CellRecord, MedicinesRecord
from app.store.exams import ExamRecord
from app.store.refusals import Collision, MedicinesCollision
from app.web.pages import ExamPage, Fault, RecorderFields, SavedPage, SaveStatus
from app.web.panel import medicine_lines, panel
from app.web.sheet import (
    Shown,
    Typed,
    cells,
    counts,
    dom_of,
    sheet_path,
    stations,
    stations_in,
    typed_of,
)
from app.web.sheet_view import CountView, MedicinesView, Message
from app.web.wording import STATE_WORDS, local, who

MEDICINES_DOM = "medicines"
RECORDER_DOM = "recorder"


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
    record: ExamRecord, part: str, recorder: RecorderFields, answer: Answer | None = None
) -> ExamPage:
    """The whole sheet."""
    answer = answer or Answer()
    assessment = assess(record.exam, knowledge())
    shown = Shown(record, answer.typed, answer.messages)
    started = local(record.started_at)
    person = who(record.patient, started.date())
    return ExamPage(
        title=f"Exam of {day(started)}",
        faults=_summary(answer, recorder),
        exam_id=record.id,
        part=part,
        path=sheet_path(record.id, part),
        revision=record.revision,
        who=person,
        state=STATE_WORDS[record.state],
        reason=record.reason,
        started=f"{day(started)} {started:%H:%M}",
        recorder=recorder,
        status=SaveStatus("NOT SAVED", is_saved=False)
        if answer.is_refused
        else SaveStatus(last_saved(record)),
        stations=stations(shown, part),
        medicines=_medicines(record.exam, assessment, answer),
        panel=panel(record.exam, assessment, knowledge()),
    )


def saved_page(
    record: ExamRecord,
    part: str,
    recorder: RecorderFields | None,
    status: SaveStatus,
    *,
    since: int,
    sent: Iterable[Cell] = (),
    sent_medicines: bool = False,
    answer: Answer | None = None,
) -> SavedPage:
    """The answer to one entry.

    since: the revision that the page shows; what others changed after it goes along.
    sent, sent_medicines: the cells, or the medicines, that were sent; they keep what was typed.
    """
    answer = answer or Answer()
    assessment = assess(record.exam, knowledge())
    own = set(sent)
    here = stations_in(part)
    changed = [
        cell
        for cell, held in record.cells.items()
        if held.revision > since and cell not in own and vocabulary()[cell[0]].station in here
    ]
    medicines = record.medicines_record
    return SavedPage(
        title="Saved",
        exam_id=record.id,
        part=part,
        revision=record.revision,
        status=status,
        recorder=recorder,
        cells=cells(Shown(record), changed),
        messages=tuple((dom_of(cell), answer.messages.get(cell)) for cell in own),
        counts=counts(record.exam, part),
        medicines=_medicines(record.exam, assessment, answer),
        medicines_changed=not sent_medicines
        and medicines is not None
        and medicines.revision > since,
        panel=panel(record.exam, assessment, knowledge()),
    )


def last_saved(record: ExamRecord) -> str:
    """When something was last written to the exam."""
    times = [held.at for held in record.cells.values()]
    if record.medicines_record:
        times.append(record.medicines_record.at)
    return f"saved {local(max(times)):%H:%M}" if times else "nothing recorded yet"


def clash_answer(collision: Collision, sent: Answer) -> Answer:
    """What was sent, with both values of everything that somebody else wrote meanwhile."""
    if isinstance(collision, MedicinesCollision):
        theirs = "; ".join(collision.theirs.lines or ()) or "none"
        says = (
            f"{_by(collision.theirs)} recorded meanwhile: {theirs}. Yours stand in the field and "
            "are not saved."
        )
        return replace(sent, medicines_message=Message(says, is_collision=True))
    messages = {
        cell: _clash(cell, theirs, mine) for cell, (theirs, mine) in collision.cells.items()
    }
    return replace(sent, messages=messages)


def _clash(cell: Cell, theirs: CellRecord, mine: Recorded | None) -> Message:
    shown = typed_of(theirs.value)
    their_words, own_words = recorded_words(cell, theirs.value), recorded_words(cell, mine)
    return Message(
        f"{_by(theirs)} recorded {their_words}. Yours, {own_words}, is not saved.",
        is_collision=True,
        theirs=their_words,
        mine=own_words,
        their_value=shown.value,
        their_why=shown.why,
    )


def recorded_words(cell: Cell, recorded: Recorded | None) -> str:
    """What stands in a cell, in words."""
    if recorded is None:
        return "“not examined”"
    if isinstance(recorded, Untestable):
        return f"“cannot be tested: {recorded.reason}”"
    return f"“{value_words(vocabulary()[cell[0]], recorded)}”"


def _by(held: CellRecord | MedicinesRecord) -> str:
    return f"{held.by} ({held.role}, {local(held.at):%H:%M})"


def _medicines(exam: Exam, assessment: Assessment, answer: Answer) -> MedicinesView:
    held = exam.medicines
    text, is_none = answer.medicines or ("\n".join(held or ()), held == ())
    if held is None:
        words = "not asked yet"
    else:
        words = f"{len(held)} recorded" if held else "takes none"
    return MedicinesView(
        text=text,
        is_none=is_none,
        lines=medicine_lines(assessment, knowledge()),
        count=CountView(MEDICINES_DOM, words, held is not None),
        message=answer.medicines_message,
    )


def _summary(answer: Answer, recorder: RecorderFields) -> tuple[Fault, ...]:
    faults = [
        Fault(RECORDER_DOM, says) for says in (recorder.name_fault, recorder.role_fault) if says
    ]
    faults += [Fault("sheet", says) for says in answer.general]
    places = {cell: vocabulary().place(*cell) for cell in answer.messages}
    for cell in sorted(places, key=places.__getitem__):
        says = f"{finding_words(*cell)}: {answer.messages[cell].says}"
        faults.append(Fault(dom_of(cell), says))
    if answer.medicines_message:
        faults.append(Fault(MEDICINES_DOM, f"Medicines: {answer.medicines_message.says}"))
    return tuple(faults)
