"""Exams that property tests draw: from nothing recorded to everything recorded."""

from decimal import Decimal
from types import MappingProxyType

from hypothesis import strategies as st
from hypothesis.strategies import SearchStrategy

from app.exam.record import Cell, Exam, Patient, Recorded, Untestable
from app.exam.vocabulary import Finding, Scale, vocabulary

# Words without brackets, commas or a side, so that a mirror test can tell them from ours.
REASONS = ("pain", "arthritis", "would not", "plaster cast after the fall last week")
MEDICINES = (
    "metoclopramide 10 mg",
    "olanzapine 5 mg",
    "temazepam",
    "warfarin",
    "unheard of",
    "tea",
)


def values_of(finding: Finding) -> SearchStrategy[Recorded]:
    """Any value that the finding can hold."""
    match finding.scale:
        case Scale.GRADE:
            return st.integers(0, 3)
        case Scale.YESNO:
            return st.booleans()
        case Scale.CHOICE:
            return st.sampled_from(finding.values)
        case Scale.COUNT:
            return st.integers(int(finding.minimum or 0), int(finding.maximum or 0))
        case Scale.NUMBER:
            return st.decimals(finding.minimum, finding.maximum, places=1)


def recorded(finding: Finding) -> SearchStrategy[Recorded]:
    """Any value, or that it could not be tested."""
    return values_of(finding) | st.sampled_from(REASONS).map(Untestable)


CELLS: dict[Cell, SearchStrategy[Recorded]] = {
    (finding.id, side): recorded(finding)
    for finding in vocabulary().values()
    for side in finding.sides
}


@st.composite
def exams(draw: st.DrawFn, medicines: tuple[str, ...] = MEDICINES) -> Exam:
    """Any exam; about as many full ones as sparse ones."""
    kept = draw(st.sampled_from([4, 20, 60, len(CELLS)]))
    chosen = draw(st.permutations(list(CELLS)))[:kept]
    cells = {cell: draw(CELLS[cell]) for cell in chosen}
    age = draw(st.none() | st.integers(18, 100))
    lines = draw(st.none() | st.lists(st.sampled_from(medicines), max_size=5))
    return Exam(
        Patient(None if age is None else Decimal(age), draw(st.sampled_from(["female", None]))),
        MappingProxyType(cells),
        None if lines is None else tuple(lines),
    )
