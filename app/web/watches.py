"""Which watches stand in a row of the sheet."""

from app.exam import units
from app.exam.vocabulary import vocabulary
from app.knowledge.load import Knowledge, knowledge
from app.knowledge.mentions import short_name
from app.knowledge.model import STANDING_WORDS
from app.knowledge.watches import Watch
from app.language.words import _
from app.web.sheet_view import CellView
from app.web.watch_view import WatchView


def watches_of(finding_id: str, cells: tuple[CellView, ...]) -> tuple[WatchView, ...]:
    """One for each cell that the reader may write, RIGHT before LEFT; none for most findings."""
    watch = knowledge().watches.get(finding_id)
    if watch is None:
        return ()
    return tuple(_view(watch, cell) for cell in cells if not cell.is_read_only)


def _view(watch: Watch, cell: CellView) -> WatchView:
    counted = watch.counts or (watch.id if watch.kind == "count" else "")
    return WatchView(
        dom=cell.dom.replace("c-", "w-", 1),
        kind=watch.kind,
        cell=cell.dom,
        side=cell.side,
        named=_("{legend} (patient’s)").format(legend=cell.legend) if cell.side else cell.legend,
        seconds=watch.seconds,
        counts=watch.counts or "",
        counted=units.counted(vocabulary()[counted].unit, 1) if counted else "",
        counted_many=units.counted(vocabulary()[counted].unit, 2) if counted else "",
        says=watch.says,
        basis=_basis(watch, knowledge()),
    )


def _basis(watch: Watch, known: Knowledge) -> str:
    if watch.standing is None:
        return ""
    name = short_name(known.sources[watch.source]) if watch.source else ""
    return ", ".join(filter(None, (name, STANDING_WORDS[watch.standing])))
