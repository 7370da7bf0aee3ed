"""What a template may read of a watch on the sheet."""

from dataclasses import dataclass


@dataclass(frozen=True)
class WatchView:
    """A watch beside one cell.

    cell: the id of the cell in which its value lands. side: empty for a single one. named: the
    finding and side in full. seconds: how long it counts, or when it reminds. counts: the finding
    that is counted while it runs; counted, counted_many: one and several of it, in words; empty
    where nothing is. says, basis: what stands beside it while it runs, and what its seconds rest
    on.
    """

    dom: str
    kind: str
    cell: str
    side: str
    named: str
    seconds: tuple[int, ...] = ()
    counts: str = ""
    counted: str = ""
    counted_many: str = ""
    says: str = ""
    basis: str = ""
