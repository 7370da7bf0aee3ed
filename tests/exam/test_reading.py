"""How an exam is read from JSON. What is said of a wrong one stands in test_reading_faults.py."""

import json
from decimal import Decimal

import pytest

from app.exam.reading import parse_exam
from app.exam.record import Exam, Patient, Untestable, Value
from app.exam.vocabulary import Side, vocabulary
from app.exam.writing import exam_as_json

RIGHT, LEFT = Side.RIGHT, Side.LEFT


def test_an_exam_with_everything() -> None:
    """The contract's own example: a paired finding by its sides, a single one by itself."""
    exam = parse_exam(
        """
        {"patient": {"age": 68, "sex": "female"},
         "findings": {"rest_tremor_hand": {"right": 2, "left": 0},
                      "finger_tap_decrement": {"right": 2, "left": {"untestable": "arthritis"}},
                      "step_length": "short",
                      "hx_falls_12m": 1},
         "medicines": ["metoclopramide 10 mg three times daily"]}
        """
    )

    assert Patient(Decimal(68), "female") == exam.patient
    assert {
        ("rest_tremor_hand", RIGHT): 2,
        ("rest_tremor_hand", LEFT): 0,
        ("finger_tap_decrement", RIGHT): 2,
        ("finger_tap_decrement", LEFT): Untestable("arthritis"),
        ("step_length", None): "short",
        ("hx_falls_12m", None): 1,
    } == dict(exam.cells)
    assert ("metoclopramide 10 mg three times daily",) == exam.medicines


@pytest.mark.parametrize(
    "text",
    [
        "{}",
        '{"patient": null, "findings": null, "medicines": null}',
        '{"patient": {}, "findings": {}}',
        '{"patient": {"age": null, "sex": null}}',
        '{"findings": {"drift": null, "rise": null}}',
        '{"findings": {"drift": {}}}',
        '{"findings": {"drift": {"right": null, "left": null}}}',
    ],
)
def test_absent_and_null_are_not_examined(text: str) -> None:
    """Unknown is never read as normal, nor an empty list of medicines made of nothing."""
    assert Exam() == parse_exam(text)


def test_no_medicines_is_an_answer() -> None:
    """A list that is absent is unknown, an empty list is none."""
    assert parse_exam('{"medicines": []}').medicines == ()
    assert parse_exam("{}").medicines is None


@pytest.mark.parametrize(
    ("finding_id", "typed", "value"),
    [
        ("tug_s", "5.60", Decimal("5.60")),
        ("tug_s", "5.6", Decimal("5.6")),
        ("hx_years", "0.1", Decimal("0.1")),
        ("hx_years", "0", Decimal(0)),
        ("walk_m", "1e1", Decimal(10)),
        ("walk_m", "1E+2", Decimal(100)),
        ("hx_years", "120", Decimal(120)),
        ("walk_s", "0.5", Decimal("0.5")),
        ("hx_falls_12m", "3", 3),
        ("hx_falls_12m", "3.0", 3),
        ("hx_falls_12m", "1e1", 10),
        ("turn_steps", "60", 60),
        ("drift", "3", 3),
        ("clonus", "true", True),
        ("clonus", "false", False),
        ("plantar", '"up"', "up"),
    ],
)
def test_a_value_is_kept_exactly_as_typed(finding_id: str, typed: str, value: Value) -> None:
    """Limits are allowed themselves, and 0.1 is a tenth, not the nearest binary fraction."""
    held = f'{{"left": {typed}}}' if vocabulary()[finding_id].paired else typed
    exam = parse_exam(f'{{"findings": {{"{finding_id}": {held}}}}}')
    kept = next(iter(exam.cells.values()))

    assert (value, type(value)) == (kept, type(kept))
    assert str(value) == str(kept) or "e" in typed.lower()


@pytest.mark.parametrize(("typed", "age"), [("0", 0), ("120", 120), ("68.5", Decimal("68.5"))])
def test_an_age_is_in_years_from_0_to_120(typed: str, age: Decimal) -> None:
    """A child's age may have a fraction."""
    assert age == parse_exam(f'{{"patient": {{"age": {typed}}}}}').patient.age


def test_the_reason_why_something_could_not_be_tested_is_kept() -> None:
    """In place of one side's value, or of a single value."""
    exam = parse_exam(
        '{"findings": {"drift": {"left": {"untestable": " sling "}},'
        ' "rise": {"untestable": "bed"}}}'
    )

    assert {
        ("drift", LEFT): Untestable("sling"),
        ("rise", None): Untestable("bed"),
    } == dict(exam.cells)


def test_bytes_are_read_as_well_as_text() -> None:
    """In UTF-8, with or without the mark that some editors put in front."""
    typed = '{"medicines": ["café au lait"]}'.encode()

    assert ("café au lait",) == parse_exam(typed).medicines
    assert ("café au lait",) == parse_exam(b"\xef\xbb\xbf" + typed).medicines


def test_an_exam_is_written_in_the_order_of_the_vocabulary_right_before_left() -> None:
    """The same exam gives the same text, however it was typed."""
    exam = parse_exam(
        '{"medicines": [], "findings": {"hx_years": 2.50, "drift": {"left": 1, "right": 0},'
        ' "rise": {"untestable": "bed"}}, "patient": {"sex": "male", "age": 7e1}}'
    )

    assert (
        '{"patient": {"age": 70, "sex": "male"}, "findings": {"drift": {"right": 0, "left": 1},'
        ' "rise": {"untestable": "bed"}, "hx_years": 2.5}, "medicines": []}'
    ) == json.dumps(exam_as_json(exam))
