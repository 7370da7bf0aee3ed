"""What the templates of reviewing, signing and amending may read."""

from dataclasses import dataclass

from app.report.grid import GridStation
from app.web.pages import EMPTY, Field, Page, SaveStatus, Who
from app.web.panel_view import PanelView


@dataclass(frozen=True)
class EmergencyView:
    """An emergency to be acknowledged. pathway: the clinic's own words, "" where it has none."""

    id: str
    label: str
    says: str
    because: tuple[str, ...]
    pathway: str
    is_acknowledged: bool


@dataclass(frozen=True)
class ConfirmView:
    """A nurse's entry to be confirmed. entry: its number."""

    entry: int
    words: str
    by: str
    holds_up: str
    is_confirmed: bool


@dataclass(frozen=True)
class SuggestionView:
    """A next step. decision: taken, declined, or "" where nothing was decided."""

    id: str
    says: str
    urgency_words: str
    because: str
    pathway: str
    must_be_decided: bool
    decision: str
    reason: Field


@dataclass(frozen=True)
class CodeView:
    """A code for the summary. because: in words, "" where nothing asks for it any more."""

    code: str
    title: str
    because: str
    is_chosen: bool
    fault: str


@dataclass(frozen=True)
class LackView:
    """One thing that a signature waits for, with the id of its place."""

    anchor: str
    says: str


@dataclass(frozen=True)
class NewsView:
    """What changed since the page was loaded; it has to be seen before signing."""

    lines: tuple[str, ...]
    path: str


@dataclass(frozen=True)
class EnteredView:
    """Everything that was recorded, and everything that was not."""

    stations: tuple[GridStation, ...]
    medicines: str
    bulk: tuple[str, ...]
    conflicts: tuple[str, ...]
    not_examined: str
    others: str
    untestable: tuple[str, ...]


@dataclass(frozen=True, kw_only=True)
class ReviewPage(Page):
    """review.html. revision: whose entries the page shows; saved: the newest decision in it.

    are_suggestions_open: no while the clinic wants the impression written first.
    codes_from: the classification and its release.
    kept: what became of a form with faults, where anything of it was saved.
    has_password: no where the identity provider proves who signs, at proof_path.
    """

    exam_id: str
    revision: int
    saved: int
    who: Who
    state: str
    started: str
    reason: str
    status: SaveStatus
    emergencies: tuple[EmergencyView, ...]
    to_confirm: tuple[ConfirmView, ...]
    entered: EnteredView
    impression: Field
    plan: Field
    for_patient: Field
    side_query: str
    are_suggestions_open: bool
    panel: PanelView
    suggestions: tuple[SuggestionView, ...]
    codes: tuple[CodeView, ...]
    codes_from: str
    lacking: tuple[LackView, ...]
    news: NewsView | None
    meaning: str
    has_password: bool
    proof_path: str
    initials: Field = EMPTY
    birth_year: Field = EMPTY
    password: Field = EMPTY
    kept: str = ""

    @property
    def refused(self) -> str:
        """What became of a form with faults."""
        return self.kept or super().refused


@dataclass(frozen=True)
class SignedPiece:
    """One signature in words, with the address of its page. text: the lines of an amendment.

    attached: the names of the files inside the page, which lie below its address.
    """

    head: str
    by: str
    when: str
    meaning: str
    path: str
    sha256: str
    reason: str
    text: tuple[str, ...]
    attached: tuple[str, ...]


@dataclass(frozen=True, kw_only=True)
class SignedPage(Page):
    """signed.html: a signed exam, which nothing changes. pieces: the newest first."""

    exam_id: str
    who: Who
    state: str
    started: str
    reason: str
    pieces: tuple[SignedPiece, ...]
    note: str
    entered: EnteredView
    may_amend: bool


@dataclass(frozen=True, kw_only=True)
class AmendPage(Page):
    """amend.html. after: the number of the newest piece that the page shows."""

    exam_id: str
    who: Who
    after: int
    pieces: tuple[SignedPiece, ...]
    meaning: str
    has_password: bool
    proof_path: str
    kind: Field = EMPTY
    text: Field = EMPTY
    reason: Field = EMPTY
    initials: Field = EMPTY
    birth_year: Field = EMPTY
    password: Field = EMPTY
