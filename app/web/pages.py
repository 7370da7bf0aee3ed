"""What each template may read: one frozen dataclass a page, made of words and flags only."""

from dataclasses import dataclass

from app.language.words import _
from app.report.fhir.terms import CONSULT_NOTE
from app.web.panel_view import PanelView
from app.web.sheet_view import (
    CellView,
    CountView,
    ExamState,
    HereView,
    LastTimeView,
    MeasuredView,
    MedicinesView,
    Message,
    StationView,
)


@dataclass(frozen=True)
class Site:
    """What every page may read of the installation.

    provider: what the clinic's identity provider is called; "" without one. document_type: of the
    FHIR documents that leave.
    """

    clinic: str
    demo: bool
    plain_http: bool = False
    provider: str = ""
    document_type: str = CONSULT_NOTE


@dataclass(frozen=True)
class MeView:
    """What every page may read of who is signed in.

    home: where their work begins. idle_seconds: without use for so long the screen locks;
    warning_seconds: so long before it the page says so. has_provider: they go on by the identity
    provider's word and not by a password. practises, counts, administers: whether the cases to
    practise with, the counts and the administration are theirs; may_open_charts, emergency_until:
    whether emergency access is, and until when they have it.
    """

    name: str
    role: str
    sign_in_name: str
    home: str
    form_token: str
    idle_seconds: int
    warning_seconds: int
    has_provider: bool = False
    practises: bool = False
    counts: bool = False
    administers: bool = False
    may_open_charts: bool = False
    emergency_until: str = ""


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
        return _("Error: {title}").format(title=self.title) if self.faults else self.title

    @property
    def refused(self) -> str:
        """What became of a form with faults."""
        return _("Nothing was saved.")


@dataclass(frozen=True)
class Who:
    """A person as every page about them names them: two identifiers and the sex."""

    id: str
    name: str
    born: str
    sex: str
    chart_number: str


@dataclass(frozen=True)
class ExamLine:
    """One exam in a list. here: who else has it open just now, "" where nobody or where unasked."""

    id: str
    who: Who
    state: str
    reason: str
    started: str
    progress: str
    here: str = ""


@dataclass(frozen=True)
class Field:
    """One field of a form, with what was typed and what is wrong with it."""

    value: str = ""
    fault: str = ""


EMPTY = Field()


@dataclass(frozen=True)
class PaperFields:
    """What is asked of an exam that was done on paper. days: how long ago it may be."""

    examined_on: Field
    examined_time: Field
    examined_by: Field
    days: int

    @property
    def is_open(self) -> bool:
        """Whether any of it is filled in, and so must be seen."""
        fields = (self.examined_on, self.examined_time, self.examined_by)
        return any(each.value or each.fault for each in fields)


@dataclass(frozen=True, kw_only=True)
class NewPatientPage(Page):
    """patient_new.html."""

    chart_number: Field
    family_name: Field
    given_name: Field
    birth_date: Field
    sex: Field
    reason: Field
    paper: PaperFields
    # Where the chart number is taken: the person who has it.
    taken_by: Who | None = None


@dataclass(frozen=True, kw_only=True)
class PatientPage(Page):
    """patient.html. may_start: whether the reader may start another exam."""

    who: Who
    exams: tuple[ExamLine, ...]
    may_start: bool
    reason: Field
    paper: PaperFields


@dataclass(frozen=True)
class SaveStatus:
    """What the line in the head of the sheet says of the last write. detail: heard, not seen."""

    says: str
    is_saved: bool = True
    detail: str = ""


@dataclass(frozen=True)
class Ways:
    """Where somebody may go on from the sheet."""

    hand_over: bool = False
    take_back: bool = False
    review: bool = False


NO_WAYS = Ways()


@dataclass(frozen=True, kw_only=True)
class ExamPage(Page):
    """exam.html: the sheet. part: "nurse" for the nurse's part, else the whole.

    may_write: whether the reader may write any of it. reasons: why a cell often cannot be tested,
    offered where a reason is typed. unsaved: what was typed into a sheet that takes nothing more,
    in lines to be copied. last: the exam before, None where there is none.
    """

    exam_id: str
    part: str
    revision: int
    who: Who
    state: ExamState
    reason: str
    started: str
    status: SaveStatus
    stations: tuple[StationView, ...]
    medicines: MedicinesView
    may_write: bool
    reasons: tuple[str, ...]
    unsaved: tuple[str, ...]
    path: str
    panel: PanelView
    ways: Ways = NO_WAYS
    last: LastTimeView | None = None


@dataclass(frozen=True, kw_only=True)
class SavedPage(Page):
    """saved.html: the answer to one entry, put into the sheet that is open.

    made: the revision of the entry, by which it can be taken back; 0 where there is none.
    status: None where nothing was sent, as in the answer to what others did.
    cells: those that changed at the server and not by this entry; medicines_changed: the same of
    the medicines. messages: what the cells that were sent say back, by their dom id; None takes a
    message away. counts: of stations in which something changed. measured: below each row that
    may say any of it, also where that is nothing now.
    """

    exam_id: str
    part: str
    revision: int
    made: int
    state: ExamState
    status: SaveStatus | None
    cells: tuple[CellView, ...]
    messages: tuple[tuple[str, Message | None], ...]
    counts: tuple[CountView, ...]
    measured: tuple[MeasuredView, ...]
    medicines: MedicinesView
    medicines_changed: bool
    panel: PanelView


@dataclass(frozen=True, kw_only=True)
class UpdatesPage(Page):
    """updates.html: what others did since the sheet was shown.

    changes: None where nothing was recorded. here: None where the same people are at the same
    places.
    """

    changes: SavedPage | None
    here: HereView | None


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
