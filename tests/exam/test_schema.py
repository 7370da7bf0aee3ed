"""The schema of an exam says the same as the reader of exams, by an outside validator."""

import json
from functools import cache

import pytest
from hypothesis import given
from jsonschema import Draft202012Validator

from app.exam.faults import BadExam
from app.exam.reading import read_exam
from app.exam.record import Exam
from app.exam.schema import exam_schema
from app.exam.writing import exam_as_json
from tests.strategies import exams


@cache
def validator() -> Draft202012Validator:
    """The schema is itself a right one."""
    Draft202012Validator.check_schema(exam_schema())
    return Draft202012Validator(exam_schema())


@given(exams())
def test_every_exam_that_can_be_recorded_is_valid(exam: Exam) -> None:
    """Whoever follows the schema is never refused for what the reader would write itself."""
    assert validator().is_valid(json.loads(json.dumps(exam_as_json(exam))))


@pytest.mark.parametrize(
    "raw",
    [
        [],
        {"findngs": {}},
        {"findings": {"stooped": 4}},
        {"findings": {"stooped": True}},
        {"findings": {"stooped": {"right": 1}}},
        {"findings": {"rest_tremor_hand": 2}},
        {"findings": {"rest_tremor_hand": {"middle": 2}}},
        {"findings": {"rest_tremor_hand": {"right": {"untestable": ""}}}},
        {"findings": {"step_length": "tiny"}},
        {"findings": {"hx_falls_12m": -1}},
        {"findings": {"hx_falls_12m": 1.5}},
        {"findings": {"no_such_finding": 1}},
        {"patient": {"age": 200}},
        {"patient": {"sex": "other"}},
        {"medicines": "levodopa"},
        {"medicines": ["levodopa", ""]},
        {"medicines": [" "]},
    ],
)
def test_what_the_reader_refuses_is_invalid(raw: object) -> None:
    """A fault is found before it is sent."""
    with pytest.raises(BadExam):
        read_exam(raw)
    assert not validator().is_valid(raw)


@pytest.mark.parametrize("raw", [{}, {"findings": None}, {"patient": None, "medicines": None}])
def test_what_is_absent_or_null_is_unknown(raw: object) -> None:
    """Every key is optional."""
    assert not read_exam(raw).cells
    assert validator().is_valid(raw)
