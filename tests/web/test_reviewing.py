"""What a signature waits for, and the two questions that guard against the wrong side or person."""

import json
from collections.abc import Mapping
from dataclasses import replace
from datetime import UTC, date, datetime
from types import MappingProxyType
from typing import Any

import pytest

from app.assess.assess import assess
from app.exam.reading import parse_exam
from app.exam.record import Cell
from app.exam.vocabulary import Side
from app.knowledge.load import knowledge
from app.store.cells import CellRecord
from app.store.exams import ExamRecord
from app.store.patients import PatientCard
from app.store.review import Review, StepDecision
from app.web.reviewing import Points, is_right_person, points, side_query, sides_named

NOW = datetime(2026, 3, 4, 9, 30, tzinfo=UTC)
CARD = PatientCard("0" * 32, "T-1", "Núñez", "Ana María", date(1950, 5, 6), "female")
NOTHING_DECIDED = Review("", "", {}, frozenset(), frozenset(), (), "", {})
# A drift that came on suddenly is an emergency; slow shrinking taps with a rest tremor fit
# parkinsonism. Both by the contract's rules.
SUDDEN = {"drift": {"right": 2}, "hx_onset": "sudden", "hx_years": 0.01}
TREMOR = {
    "finger_tap_slow": {"right": 2},
    "finger_tap_decrement": {"right": 2},
    "rest_tremor_hand": {"right": 1},
}


def exam_of(findings: Mapping[str, Any], role: str = "physician") -> ExamRecord:
    """An exam whose entries all have the same author; entry numbers count from 1."""
    exam = parse_exam(json.dumps({"patient": {"age": 68}, "findings": dict(findings)}))
    cells: dict[Cell, CellRecord] = {
        cell: CellRecord(number, value, "T. Contoh", role, NOW, False, 1)
        for number, (cell, value) in enumerate(exam.cells.items(), start=1)
    }
    return ExamRecord(
        "1" * 32, CARD, "ready", "", NOW, "T. Contoh", 1, exam, MappingProxyType(cells), None
    )


def settled(held: ExamRecord, review: Review = NOTHING_DECIDED) -> Points:
    """What is to be settled in it."""
    return points(held, assess(held.exam, knowledge()), review)


def lacking(held: ExamRecord, review: Review = NOTHING_DECIDED) -> list[str]:
    """The anchors of what a signature waits for."""
    return [lack.anchor for lack in settled(held, review).lacking]


def test_an_impression_and_a_plan_are_always_waited_for() -> None:
    """A summary in the physician's own words is what is signed, even where nothing was found."""
    held = exam_of({})

    assert ["impression", "plan"] == lacking(held)
    assert [] == lacking(held, replace(NOTHING_DECIDED, impression="None", plan="None"))


def test_every_emergency_is_acknowledged() -> None:
    """It cannot be signed away unread."""
    held = exam_of(SUDDEN)

    assert "emergency-stroke_like" in lacking(held)
    read = replace(NOTHING_DECIDED, acknowledged=frozenset({"stroke_like"}))
    assert "emergency-stroke_like" not in lacking(held, read)


def test_urgent_suggestions_are_decided_and_others_may_wait() -> None:
    """Taking over and declining with a reason are both decisions."""
    held = exam_of(SUDDEN)
    urgent = [each for each in settled(held).suggestions if each.must_be_decided]
    decided = {each.step.id: StepDecision(False, "already there") for each in urgent}

    assert {"emergency", "same_day"} >= {each.step.urgency for each in urgent}
    assert {f"step-{each.step.id}" for each in urgent} <= set(lacking(held))
    assert not any(
        anchor.startswith("step-")
        for anchor in lacking(held, replace(NOTHING_DECIDED, steps=decided))
    )
    assert any(not each.must_be_decided for each in settled(exam_of(TREMOR)).suggestions)


def test_what_a_nurse_recorded_and_a_pattern_rests_on_is_confirmed() -> None:
    """Each cell by itself; what nothing rests on is not asked for."""
    held = exam_of(TREMOR | {"blink_reduced": 0}, role="nurse")
    asked = settled(held).to_confirm

    assert {
        ("finger_tap_slow", Side.RIGHT),
        ("finger_tap_decrement", Side.RIGHT),
        ("rest_tremor_hand", Side.RIGHT),
    } == {each.cell for each in asked}
    assert all("parkinsonism" in each.holds_up for each in asked)
    assert "to-confirm" in lacking(held)
    confirmed = frozenset(each.held.entry_id for each in asked)
    assert "to-confirm" not in lacking(held, replace(NOTHING_DECIDED, confirmed=confirmed))


def test_an_entry_that_replaced_a_confirmed_one_is_confirmed_anew() -> None:
    """The confirmation was of the value that the physician saw."""
    held = exam_of(TREMOR, role="nurse")
    confirmed = frozenset(each.held.entry_id for each in settled(held).to_confirm)
    cell = ("rest_tremor_hand", Side.RIGHT)
    newer = MappingProxyType({**held.cells, cell: replace(held.cells[cell], entry_id=99)})

    assert ["to-confirm"] == [
        anchor
        for anchor in lacking(
            replace(held, cells=newer), replace(NOTHING_DECIDED, confirmed=confirmed)
        )
        if anchor == "to-confirm"
    ]


def test_what_a_physician_recorded_needs_no_confirmation() -> None:
    """They saw it themselves."""
    assert () == settled(exam_of(TREMOR)).to_confirm


# ---- the side in the text


@pytest.mark.parametrize(
    ("text", "sides"),
    [
        ("Tremor of the LEFT hand.", {Side.LEFT}),
        ("right-sided slowness", {Side.RIGHT}),
        ("R>L", {Side.RIGHT, Side.LEFT}),
        ("L > R, mild", {Side.RIGHT, Side.LEFT}),
        ("left more than right", {Side.RIGHT, Side.LEFT}),
        ("She is all right.", set()),
        ("Call right away.", set()),
        ("The stick was left at home.", set()),
        ("Sensation was left out.", set()),
        ("Bright, leftover, upright.", set()),
        ("both hands", set()),
    ],
)
def test_the_sides_that_a_text_names(text: str, sides: set[Side]) -> None:
    """Words that only look like a side raise no question, or the question is soon ignored."""
    assert sides == sides_named(text)


def test_a_text_about_the_other_side_raises_a_question() -> None:
    """Sides swapped between findings and text are a known fault of reports (PMC4501963)."""
    held = exam_of(TREMOR)

    assert "LEFT" in side_query(held, "Slow left hand")
    assert "recorded on the RIGHT" in side_query(held, "Slow left hand")
    assert "" == side_query(held, "Slow right hand")
    assert "" == side_query(held, "Right worse than left")
    assert "" == side_query(exam_of({}), "Slow left hand")


# ---- the right person


@pytest.mark.parametrize("typed", ["an", "NA", "A.N.", "n a", "AMN", "amñ"])
def test_the_initials_fit_in_any_order_and_case(typed: str) -> None:
    """Of each name, or of each word."""
    assert is_right_person(CARD, typed, "1950")


@pytest.mark.parametrize(
    ("initials", "year"),
    [("an", "1951"), ("an", "50"), ("a", "1950"), ("ann", "1950"), ("", "1950"), ("an", "")],
)
def test_another_person_does_not_fit(initials: str, year: str) -> None:
    """Typing them again is what makes somebody look (Adelman 2013)."""
    assert not is_right_person(CARD, initials, year)
