"""What holds for every exam, and for every text that claims to be one."""

import json

from hypothesis import given
from hypothesis import strategies as st

from app.exam.faults import BadExam
from app.exam.reading import parse_exam
from app.exam.record import Exam
from app.exam.writing import exam_as_json
from tests.strategies import exams

KEYS = st.text(max_size=5) | st.sampled_from(
    ["patient", "findings", "medicines", "age", "sex", "drift", "rise", "right", "untestable"]
)
ANYTHING = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=8),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(KEYS, inner, max_size=3),
    max_leaves=8,
)


@given(exams())
def test_an_exam_that_is_written_down_is_read_back_the_same(exam: Exam) -> None:
    """Nothing is lost, added or rounded between two programs."""
    assert exam == parse_exam(json.dumps(exam_as_json(exam)))


@given(exams())
def test_the_mirror_of_the_mirror_is_the_exam(exam: Exam) -> None:
    """And single findings, the patient and the medicines stay where they are."""
    mirror = exam.mirrored()

    assert exam == mirror.mirrored()
    assert (exam.patient, exam.medicines) == (mirror.patient, mirror.medicines)
    for (finding, side), value in exam.cells.items():
        assert value == mirror.cells[finding, side.other if side else None]


@given(st.binary(max_size=60) | st.text(max_size=60) | ANYTHING.map(json.dumps))
def test_whatever_is_sent_is_read_or_refused_with_a_place(text: bytes | str) -> None:
    """Never a crash, and every fault is one short line that begins with its place."""
    faults: tuple[str, ...] = ()
    try:
        parse_exam(text)
    except BadExam as refused:
        faults = refused.faults or ("",)

    for fault in faults:
        assert ": " in fault
        assert fault.isprintable()
        assert len(fault) <= 200
        fault.encode()


@given(st.dictionaries(KEYS, ANYTHING, max_size=3), st.dictionaries(KEYS, ANYTHING, max_size=3))
def test_whatever_stands_in_the_place_of_findings_is_read_or_refused(
    findings: dict[str, object], sides: dict[str, object]
) -> None:
    """What is read can be written, so that it can be kept and printed."""
    text = json.dumps({"findings": findings | {"drift": sides}})
    try:
        exam = parse_exam(text)
    except BadExam:
        exam = Exam()

    json.dumps(exam_as_json(exam), ensure_ascii=False).encode()
