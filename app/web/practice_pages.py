"""What the templates of the practice pages may read: one frozen dataclass a page."""

from dataclasses import dataclass

from app.knowledge.described import Claim, Named
from app.web.pages import Page
from app.web.sheet_view import Option


@dataclass(frozen=True)
class CaseLine:
    """One case in the list. own: what one has made of it so far; last: the newest try, or ""."""

    id: str
    title: str
    person: str
    own: str
    last: str


@dataclass(frozen=True)
class SignLine:
    """How one sign went over many tries: in how many it was there, and how often it went how."""

    label: str
    there: int
    missed: int
    swapped: int
    over_called: int


@dataclass(frozen=True, kw_only=True)
class PracticePage(Page):
    """practice/index.html. may_try: whether the reader grades cases themselves."""

    cases: tuple[CaseLine, ...]
    missed: tuple[SignLine, ...]
    may_try: bool


@dataclass(frozen=True, kw_only=True)
class TeamPage(Page):
    """practice/team.html: counts over all accounts, and nobody by name.

    needed: how many people must have tried before anything is shown. newest: how many of the
    newest tries are counted where there are more, else 0.
    """

    tries: int
    people: int
    needed: int
    newest: int
    missed: tuple[SignLine, ...]


@dataclass(frozen=True)
class PracticeCell:
    """One finding on one side: a fieldset. key, dom and options are as on the sheet.

    text: what was typed, where it is typed and not chosen. fault: what is wrong with it.
    """

    key: str
    dom: str
    side: str
    side_words: str
    legend: str
    options: tuple[Option, ...]
    text: str
    unit: str
    fault: str

    @property
    def is_filled(self) -> bool:
        """Whether anything is chosen or typed in it."""
        return bool(self.text) or any(option.is_chosen for option in self.options)


@dataclass(frozen=True)
class PracticeRow:
    """One finding with its cells, RIGHT before LEFT, and the rows that describe it further."""

    label: str
    hint: str
    is_paired: bool
    cells: tuple[PracticeCell, ...]
    details: tuple["PracticeRow", ...]

    @property
    def is_open(self) -> bool:
        """Whether a row that describes this one holds something, and so must be seen."""
        return any(cell.is_filled for row in self.details for cell in row.cells)


@dataclass(frozen=True)
class PracticeStationView:
    """One station: what is seen there, and what it is to be put into."""

    id: str
    label: str
    sees: str
    is_paired: bool
    rows: tuple[PracticeRow, ...]


@dataclass(frozen=True)
class Told:
    """Who the case is about. told: what the exam holds already, a finding a line."""

    person: str
    brings: str
    told: tuple[str, ...]
    medicines: tuple[str, ...]


@dataclass(frozen=True, kw_only=True)
class CasePage(Page):
    """practice/case.html."""

    case_id: str
    told: Told
    stations: tuple[PracticeStationView, ...]


@dataclass(frozen=True)
class ComparedLine:
    """One cell of a try. outcome: the id of it; says: the same in words."""

    label: str
    side: str
    yours: str
    worked: str
    outcome: str
    says: str


@dataclass(frozen=True)
class ComparedStation:
    """The cells of one station, below what was seen there."""

    label: str
    sees: str
    lines: tuple[ComparedLine, ...]


@dataclass(frozen=True)
class ConcludedLine:
    """One conclusion from both gradings; "" where one of them does not give it."""

    named: Named
    yours: str
    worked: str
    is_same: bool
    is_emergency: bool


@dataclass(frozen=True)
class PointView:
    """What matters in the case, and what that rests on."""

    says: str
    claims: tuple[Claim, ...]


@dataclass(frozen=True, kw_only=True)
class AnswerPage(Page):
    """practice/answer.html: one's own try beside the worked answer.

    swapped: the findings that stand on the wrong side, a sentence each.
    """

    case_id: str
    told: Told
    when: str
    score: str
    swapped: tuple[str, ...]
    stations: tuple[ComparedStation, ...]
    concluded: tuple[ConcludedLine, ...]
    points: tuple[PointView, ...]
