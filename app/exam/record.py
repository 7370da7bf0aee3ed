"""One exam: what was recorded of one patient at one time."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from functools import cached_property
from types import MappingProxyType

from app.exam.vocabulary import Side, vocabulary


@dataclass(frozen=True)
class Untestable:
    """Tried, and could not be judged. Unknown, like not examined, but kept with its reason."""

    reason: str


# A grade or count is an int, a number a Decimal exactly as typed, a choice one of its values.
Value = int | bool | str | Decimal
Recorded = Value | Untestable
# A cell is one finding on one side; a single finding has the side None.
Cell = tuple[str, Side | None]


@dataclass(frozen=True)
class Patient:
    """What the rules may know of the person. Unknown is None."""

    age: Decimal | None = None
    sex: str | None = None


@dataclass(frozen=True)
class Exam:
    """One exam as a frozen value. A cell that is not in `cells` was not examined.

    medicines: the lines as typed, taken now; None where nobody asked, () where there are none.
    """

    patient: Patient = Patient()
    cells: Mapping[Cell, Recorded] = field(default_factory=lambda: MappingProxyType({}))
    medicines: tuple[str, ...] | None = None

    def value(self, finding_id: str, side: Side | None = None) -> Value | None:
        """The recorded value; None where it was not examined or could not be tested."""
        recorded = self.cells.get((finding_id, side))
        return None if isinstance(recorded, Untestable) else recorded

    def is_untestable(self, finding_id: str, side: Side | None = None) -> bool:
        """Whether it was recorded that this could not be tested."""
        return isinstance(self.cells.get((finding_id, side)), Untestable)

    def known(self) -> Iterator[tuple[str, Side | None, Value]]:
        """Every cell with a value, in the order of findings.toml, right before left."""
        for finding_id, side in self._in_order:
            value = self.value(finding_id, side)
            if value is not None:
                yield finding_id, side, value

    @cached_property
    def _in_order(self) -> tuple[Cell, ...]:
        words = vocabulary()
        return tuple(sorted(self.cells, key=lambda cell: words.place(*cell)))

    def untestable(self) -> Iterator[tuple[str, Side | None, str]]:
        """Every cell that could not be tested, with the reason, in the same order."""
        for finding_id, side in self._in_order:
            recorded = self.cells[finding_id, side]
            if isinstance(recorded, Untestable):
                yield finding_id, side, recorded.reason

    def mirrored(self) -> "Exam":
        """The same exam with right and left changed over."""
        return Exam(
            self.patient,
            MappingProxyType(
                {(fid, side.other if side else None): v for (fid, side), v in self.cells.items()}
            ),
            self.medicines,
        )
