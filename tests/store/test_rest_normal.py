"""Marking the rest of a station normal: one key, many entries, none that somebody else made."""

import pytest
from sqlalchemy import Engine

from app.exam.faults import BadExam
from app.exam.record import Untestable
from app.exam.vocabulary import Side, vocabulary
from app.store.exams import ExamRecord
from tests.store.clinic import NURSE, rest_normal, stored, write

RIGHT, LEFT = Side.RIGHT, Side.LEFT


def test_the_rest_of_a_station_becomes_normal(engine: Engine, exam: ExamRecord) -> None:
    """Every core cell that nobody touched, marked as done in bulk; the others stay."""
    write(engine, exam.id, {("posture_tremor", RIGHT): 2, ("flap", LEFT): Untestable("sling")}, 0)
    kept = rest_normal(engine, exam.id, "posture", 1)
    bulk = {cell: held.value for cell, held in kept.cells.items() if held.bulk}

    assert {
        ("arm_raise_slow", RIGHT): 0,
        ("arm_raise_slow", LEFT): 0,
        ("posture_tremor", LEFT): 0,
        ("drift", RIGHT): 0,
        ("drift", LEFT): 0,
        ("flap", RIGHT): 0,
        ("head_tremor", None): 0,
    } == bulk
    assert 2 == kept.revision
    assert kept == rest_normal(engine, exam.id, "posture", 2)


def test_what_was_cleared_is_not_made_normal_in_bulk(engine: Engine, exam: ExamRecord) -> None:
    """Somebody took the value out; that it was examined is not ours to say."""
    write(engine, exam.id, {("dysmetria", LEFT): 1}, 0)
    write(engine, exam.id, {("dysmetria", LEFT): None}, 1)
    kept = rest_normal(engine, exam.id, "reach", 2)

    assert kept.cells["dysmetria", LEFT].value is None
    assert 5 == len(kept.exam.cells)


def test_a_bulk_mark_never_overwrites_what_it_has_not_seen(
    engine: Engine, exam: ExamRecord
) -> None:
    """It asks for the rest; what was written meanwhile is no longer part of it."""
    write(engine, exam.id, {("dysmetria", LEFT): 3}, 0, NURSE)
    kept = rest_normal(engine, exam.id, "reach", 0)

    assert 3 == kept.exam.value("dysmetria", LEFT)
    assert not kept.cells["dysmetria", LEFT].bulk


def pairs(*findings: str) -> set[tuple[str, Side | None]]:
    """Both sides of each finding."""
    return {(finding, side) for finding in findings for side in (RIGHT, LEFT)}


def ones(*findings: str) -> set[tuple[str, Side | None]]:
    """Findings without sides."""
    return {(finding, None) for finding in findings}


# Read off findings.toml by hand: core, no detail of another finding, and with a normal value. What
# the patient was not asked is not answered with no; an onset "over months" would hide a sudden one.
REST_OF = {
    "rest": pairs(
        "rest_tremor_hand", "rest_tremor_leg", "gesture_reduced", "chorea", "dystonia", "myoclonus"
    )
    | ones("rest_tremor_jaw", "face_still", "blink_reduced", "moves_little", "dystonia_midline"),
    "posture": pairs("arm_raise_slow", "posture_tremor", "drift", "flap") | ones("head_tremor"),
    "reach": pairs("kinetic_tremor", "endpoint_tremor", "dysmetria"),
    "repeat": pairs(
        *(
            f"{task}_{fault}"
            for task in ("finger_tap", "toe_tap")
            for fault in ("slow", "small", "decrement", "halts", "uneven")
        )
    ),
    "tone": pairs("arm_resistance", "leg_resistance"),
    "gait": pairs(
        "heel_strike_reduced",
        "arm_swing_reduced",
        "walking_tremor_hand",
        "stiff_leg_swing",
        "foot_drop",
        "painful_limp",
    )
    | ones(
        "rise",
        "base",
        "step_length",
        "turn_en_bloc",
        "freezing",
        "stooped",
        "veering",
        "walking_aid",
    ),
    "more": set(),
    "history": set(),
    "measures": set(),
}


def test_a_bulk_mark_writes_what_can_be_normal_and_no_more(
    engine: Engine, exam: ExamRecord
) -> None:
    """A direction of resistance that is not there, or a count of steps, cannot be normal."""
    words = vocabulary()
    marked: dict[str, set[tuple[str, Side | None]]] = {
        station.id: set() for station in words.stations
    }
    for station in words.stations:
        before = stored(engine, exam.id)
        after = rest_normal(engine, exam.id, station.id, before.revision)
        marked[station.id] = set(after.cells) - set(before.cells)

    assert REST_OF == marked
    values = stored(engine, exam.id).exam.cells
    assert [] == [cell for cell, value in values.items() if words[cell[0]].is_abnormal(value)]


def test_a_station_that_is_none_is_named(engine: Engine, exam: ExamRecord) -> None:
    """With nothing written."""
    with pytest.raises(BadExam, match="station: 'kitchen' is not a station"):
        rest_normal(engine, exam.id, "kitchen", 0)

    assert exam == stored(engine, exam.id)
