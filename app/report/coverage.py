"""What an exam holds and what it lacks, station by station. Nothing here is put into sentences."""

from collections.abc import Iterator
from dataclasses import dataclass
from enum import Enum

from app.exam.record import Exam
from app.exam.vocabulary import EXAM_STATIONS, Finding, Scale, Side, Station, vocabulary

# A finding with those of its sides that are meant; the one side of a single finding is None.
Sided = tuple[Finding, tuple[Side | None, ...]]


class State(Enum):
    """How one cell of the exam stands."""

    ABNORMAL = "abnormal"
    NORMAL = "normal"
    DESCRIBED = "described"  # recorded, and has no normal value: a measure, a direction
    UNTESTABLE = "untestable"
    NOT_NEEDED = "not needed"  # a detail of something that is known to be absent
    NOT_EXAMINED = "not examined"


@dataclass(frozen=True)
class Coverage:
    """One station.

    normal: without details of what is present, which are read beside it. missing: of the quick pass
    and not examined; others: the same beyond the quick pass. A detail is missing only where the
    finding that it describes is present: without that, it is never asked.
    touched: whether anything at all was recorded at the station; is_complete: whether its whole
    quick pass has values.
    """

    station: Station
    normal: tuple[Sided, ...]
    missing: tuple[Sided, ...]
    others: tuple[Sided, ...]
    touched: bool
    is_complete: bool


def state_of(exam: Exam, finding: Finding, side: Side | None) -> State:
    """How one cell stands."""
    if exam.is_untestable(finding.id, side):
        return State.UNTESTABLE
    value = exam.value(finding.id, side)
    if value is None:
        parent = None if finding.detail_of is None else vocabulary()[finding.detail_of]
        if parent and state_of(exam, parent, side) is State.NORMAL:
            return State.NOT_NEEDED
        return State.NOT_EXAMINED
    if finding.is_abnormal(value):
        return State.ABNORMAL
    measured = finding.scale in (Scale.COUNT, Scale.NUMBER)
    return State.DESCRIBED if measured or not finding.has_normal else State.NORMAL


def is_present(exam: Exam, finding_id: str, side: Side | None) -> bool:
    """Whether a finding is known to be abnormal on that side."""
    return state_of(exam, vocabulary()[finding_id], side) is State.ABNORMAL


def sides_where(exam: Exam, finding: Finding, *wanted: State) -> tuple[Side | None, ...]:
    """The sides of a finding that stand in one of these ways, RIGHT first."""
    return tuple(side for side in finding.sides if state_of(exam, finding, side) in wanted)


def coverage(exam: Exam) -> tuple[Coverage, ...]:
    """Every station in the order of the exam."""
    return tuple(_at(exam, station) for station in vocabulary().stations)


def at_station(station: str) -> tuple[Finding, ...]:
    """The findings of one station; those of one task or limb stand together."""
    heads: dict[str, list[Finding]] = {}
    for finding in vocabulary().at(station):
        heads.setdefault(finding.label.partition(": ")[0], []).append(finding)
    return tuple(finding for group in heads.values() for finding in group)


def signs_to_show(exam: Exam) -> tuple[Finding, ...]:
    """The abnormal exam findings, each followed by what was recorded to describe it."""
    return tuple(
        finding
        for station in EXAM_STATIONS
        for finding in at_station(station)
        if (
            sides_where(exam, finding, State.ABNORMAL)
            or (
                finding.detail_of is not None
                and any(
                    is_present(exam, finding.detail_of, side)
                    and exam.value(finding.id, side) is not None
                    for side in finding.sides
                )
            )
        )
    )


def recorded_at(exam: Exam, station: str, *wanted: State) -> Iterator[Finding]:
    """The findings of one station with a side that stands in one of these ways."""
    for finding in at_station(station):
        if sides_where(exam, finding, *wanted):
            yield finding


def _at(exam: Exam, station: Station) -> Coverage:
    normal: list[Sided] = []
    missing: list[Sided] = []
    others: list[Sided] = []
    findings = at_station(station.id)
    for finding in findings:
        if sides := _unless_shown(exam, finding, State.NORMAL):
            normal.append((finding, sides))
        if sides := _missing_sides(exam, finding):
            (missing if finding.core else others).append((finding, sides))
    core = [finding for finding in findings if finding.core]
    return Coverage(
        station,
        tuple(normal),
        tuple(missing),
        tuple(others),
        touched=any((one.id, side) in exam.cells for one in findings for side in one.sides),
        is_complete=bool(core)
        and not missing
        and not any(sides_where(exam, finding, State.UNTESTABLE) for finding in core),
    )


def _unless_shown(exam: Exam, finding: Finding, state: State) -> tuple[Side | None, ...]:
    parent = finding.detail_of
    return tuple(
        side
        for side in sides_where(exam, finding, state)
        if parent is None or not is_present(exam, parent, side)
    )


def _missing_sides(exam: Exam, finding: Finding) -> tuple[Side | None, ...]:
    parent = finding.detail_of
    return tuple(
        side
        for side in sides_where(exam, finding, State.NOT_EXAMINED)
        if parent is None or is_present(exam, parent, side)
    )
