"""The blank sheet for when the network fails: the quick pass, in the order of the sheet."""

from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache

from app.assess.words import DISCLAIMER
from app.exam.layout import WHOLE, groups_at, has_rest_normal
from app.exam.units import unit_on_paper
from app.exam.vocabulary import GRADES, Finding, Scale, Station, graded, vocabulary
from app.language.words import _, language
from app.report.pdf import blank_pdf
from app.report.phrases import clean

_FREE_LINES = 3


@dataclass(frozen=True)
class PaperRow:
    """One finding to be filled in, on both sides or once.

    marks: what is marked with a pen, a grade's digits or words; none where a number is written.
    unit: of a number. is_detail: it describes the row above.
    """

    label: str
    hint: str
    is_paired: bool
    is_graded: bool
    marks: tuple[str, ...]
    unit: str
    is_detail: bool


@dataclass(frozen=True)
class PaperStation:
    """One station. blocks: rows that stay on one page, as those of one task do.

    is_measured: its rows are numbers alone. lines: free lines to write on, where it has no rows.
    """

    label: str
    hint: str
    blocks: tuple[tuple[PaperRow, ...], ...]
    has_normal: bool
    is_measured: bool
    lines: int

    @property
    def has_sides(self) -> bool:
        """Whether any of its findings is recorded on two sides."""
        return any(row.is_paired for block in self.blocks for row in block)


@dataclass(frozen=True)
class PaperPage:
    """All that paper.html may read. stations: those after the first, history, and the medicines."""

    title: str
    clinic: str
    knowledge: str
    disclaimer: str
    legend: str
    history: PaperStation
    stations: tuple[PaperStation, ...]


def blank_sheet(clinic: str, knowledge_version: str) -> bytes:
    """The blank sheet as PDF: the same bytes for the same clinic and knowledge. No clock is read.

    It is kept, because anybody may ask for it as often as they like.
    """
    return _kept(clinic, knowledge_version, language())


@lru_cache(maxsize=4)
def _kept(clinic: str, knowledge_version: str, _language: str) -> bytes:
    return blank_pdf(paper_page(clinic, knowledge_version))


def paper_page(clinic: str, knowledge_version: str) -> PaperPage:
    """Everything on the blank sheet, in words."""
    history, *others = (_station(station) for station in _in_order())
    return PaperPage(
        title=_("Motor exam, blank sheet to be filled in by hand"),
        clinic=clean(clinic),
        knowledge=knowledge_version,
        disclaimer=_(DISCLAIMER),
        legend=", ".join(map(graded, GRADES)),
        history=history,
        stations=tuple(others),
    )


def _in_order() -> Iterator[Station]:
    by_id = {station.id: station for station in vocabulary().stations}
    return (by_id[name] for name in WHOLE)


def _station(station: Station) -> PaperStation:
    blocks = tuple(_blocks(station.id))
    return PaperStation(
        station.label,
        station.hint,
        blocks,
        has_normal=has_rest_normal(station.id),
        is_measured=bool(blocks) and not any(row.marks for block in blocks for row in block),
        lines=0 if blocks else _FREE_LINES,
    )


def _blocks(station: str) -> Iterator[tuple[PaperRow, ...]]:
    """The quick pass, each finding followed by what is asked where it is present.

    All that a station measures is on paper; what waits until the picture asks for it is not.
    """
    for group in groups_at(station):
        if group.is_folded:
            continue
        rows = [
            _row(each)
            for finding in group.findings
            for each in (finding, *vocabulary().details_of(finding.id))
        ]
        yield tuple(rows)


def _row(finding: Finding) -> PaperRow:
    return PaperRow(
        finding.label,
        finding.hint,
        finding.paired,
        finding.scale is Scale.GRADE,
        _marks(finding),
        unit_on_paper(finding.unit),
        finding.detail_of is not None,
    )


def _marks(finding: Finding) -> tuple[str, ...]:
    match finding.scale:
        case Scale.GRADE:
            return tuple(map(str, GRADES))
        case Scale.YESNO:
            return (_("no"), _("yes"))
        case Scale.CHOICE:
            return finding.words
        case _:
            return ()
