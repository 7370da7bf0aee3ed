"""What each template may read: one frozen dataclass a page, made of words and flags only."""

from dataclasses import dataclass

from app.web.panel_view import PanelView
from app.web.sheet_view import CellView, CountView, MedicinesView, Message, StationView


@dataclass(frozen=True)
class Site:
    """What every page may read of the installation."""

    clinic: str
    demo: bool


@dataclass(frozen=True)
class Fault:
    """One line of the summary at the top of a page that could not be accepted.

    anchor: the id of the field that it is about.
    """

    anchor: str
    says: str


@dataclass(frozen=True, kw_only=True)
class Page:
    """What the frame around every page reads."""

    title: str
    faults: tuple[Fault, ...] = ()

    @property
    def full_title(self) -> str:
        """The title as the browser's tab shows it; a refused form is heard first of all."""
        return f"Error: {self.title}" if self.faults else self.title


@dataclass(frozen=True)
class Who:
    """A person as every page about them names them: two identifiers and the sex."""

    id: str
    name: str
    born: str
    sex: str
    chart_number: str


@dataclass(frozen=True)
class RecorderFields:
    """ "Recording as": what is known, what was typed, and what is wrong with it."""

    is_known: bool
    name: str = ""
    role: str = ""
    name_fault: str = ""
    role_fault: str = ""


@dataclass(frozen=True)
class ExamLine:
    """One exam in a list."""

    id: str
    who: Who
    state: str
    reason: str
    started: str
    progress: str


@dataclass(frozen=True)
class ExamGroup:
    """The exams that are in one state."""

    title: str
    exams: tuple[ExamLine, ...]


@dataclass(frozen=True, kw_only=True)
class WorklistPage(Page):
    """worklist.html. found: None where nobody searched."""

    groups: tuple[ExamGroup, ...]
    searched: str = ""
    found: tuple[Who, ...] | None = None
    search_fault: str = ""


@dataclass(frozen=True)
class Field:
    """One field of a form, with what was typed and what is wrong with it."""

    value: str = ""
    fault: str = ""


@dataclass(frozen=True, kw_only=True)
class NewPatientPage(Page):
    """patient_new.html."""

    chart_number: Field
    family_name: Field
    given_name: Field
    birth_date: Field
    sex: Field
    reason: Field
    recorder: RecorderFields
    # Where the chart number is taken: the person who has it.
    taken_by: Who | None = None


@dataclass(frozen=True, kw_only=True)
class PatientPage(Page):
    """patient.html."""

    who: Who
    exams: tuple[ExamLine, ...]
    reason: Field
    recorder: RecorderFields


@dataclass(frozen=True)
class SaveStatus:
    """What the line in the head of the sheet says of the last write. detail: heard, not seen."""

    says: str
    is_saved: bool = True
    detail: str = ""


@dataclass(frozen=True, kw_only=True)
class ExamPage(Page):
    """exam.html: the sheet. part: "nurse" for the nurse's part, else the whole."""

    exam_id: str
    part: str
    revision: int
    who: Who
    state: str
    reason: str
    started: str
    recorder: RecorderFields
    status: SaveStatus
    stations: tuple[StationView, ...]
    medicines: MedicinesView
    path: str
    panel: PanelView


@dataclass(frozen=True, kw_only=True)
class SavedPage(Page):
    """saved.html: the answer to one entry, put into the sheet that is open.

    cells: those that changed at the server and not by this entry; medicines_changed: the same of
    the medicines. messages: what the cells that were sent say back, by their dom id; None takes a
    message away. recorder: where the entry said for the first time who records.
    """

    exam_id: str
    part: str
    revision: int
    status: SaveStatus
    recorder: RecorderFields | None
    cells: tuple[CellView, ...]
    messages: tuple[tuple[str, Message | None], ...]
    counts: tuple[CountView, ...]
    medicines: MedicinesView
    medicines_changed: bool
    panel: PanelView


@dataclass(frozen=True, kw_only=True)
class NotePage(Page):
    """note.html."""

    exam_id: str
    who: Who
    note: str


@dataclass(frozen=True, kw_only=True)
class ErrorPage(Page):
    """error.html."""

    status: int
    says: str
    more: tuple[str, ...] = ()
