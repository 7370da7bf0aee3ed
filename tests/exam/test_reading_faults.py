"""What is said of an exam that cannot be read.

The messages stand here whole: a wrong id, side, value or type is an error that names the place.
"""

import json

import pytest

from app.exam.faults import BadExam
from app.exam.reading import parse_exam, read_exam

RISE = "normal, slow, pushes_off, falls_back, unable"


def faults(text: str | bytes) -> list[str]:
    """What is said of an exam that cannot be read."""
    with pytest.raises(BadExam) as refused:
        parse_exam(text)

    assert "\n".join(refused.value.faults) == str(refused.value)
    return list(refused.value.faults)


def of_findings(typed: str) -> list[str]:
    """What is said of these findings, as `"id": value, …`."""
    return faults(f'{{"findings": {{{typed}}}}}')


FINDINGS = [
    # Ids and sides.
    ('"drifft": 1', "findings.drifft: not a finding"),
    ('"TASK_slow": 1', "findings.TASK_slow: not a finding"),
    ('"": 1', "findings.: not a finding"),
    ('"drift": 1', 'findings.drift: needs its side: {"right": …, "left": …}'),
    ('"drift": [1, 0]', 'findings.drift: needs its side: {"right": …, "left": …}'),
    ('"drift": {"Right": 1}', "findings.drift.Right: not a side; use right or left"),
    ('"drift": {"both": 1}', "findings.drift.both: not a side; use right or left"),
    (
        '"drift": {"untestable": "pain"}',
        "findings.drift.untestable: not a side; use right or left",
    ),
    ('"tics": {"right": 1}', "findings.tics: an object is not a grade from 0 to 3"),
    # Grades.
    ('"drift": {"right": 4}', "findings.drift.right: 4 is not a grade from 0 to 3"),
    ('"drift": {"left": -1}', "findings.drift.left: -1 is not a grade from 0 to 3"),
    ('"drift": {"left": 2.0}', "findings.drift.left: 2.0 is not a grade from 0 to 3"),
    ('"drift": {"left": 1e0}', "findings.drift.left: 1 is not a grade from 0 to 3"),
    ('"drift": {"left": true}', "findings.drift.left: true is not a grade from 0 to 3"),
    ('"drift": {"left": "2"}', "findings.drift.left: 2 is not a grade from 0 to 3"),
    ('"drift": {"left": []}', "findings.drift.left: a list is not a grade from 0 to 3"),
    # Yes or no.
    ('"tremor_entrains": 1', "findings.tremor_entrains: 1 is not true or false"),
    ('"tremor_entrains": "yes"', "findings.tremor_entrains: yes is not true or false"),
    # Choices.
    (
        '"hx_bladder": "leaks"',
        "findings.hx_bladder: leaks is not one of none, urgency, incontinence, retention",
    ),
    (
        '"hx_bladder": false',
        "findings.hx_bladder: false is not one of none, urgency, incontinence, retention",
    ),
    ('"base": ["wide"]', "findings.base: a list is not one of normal, narrow, wide"),
    # Counts.
    ('"turn_steps": 0', "findings.turn_steps: 0 is not from 1 to 60 steps"),
    ('"turn_steps": 61', "findings.turn_steps: 61 is not from 1 to 60 steps"),
    ('"turn_steps": 4.5', "findings.turn_steps: 4.5 is not a whole number"),
    ('"turn_steps": true', "findings.turn_steps: true is not a number"),
    ('"hx_falls_12m": "2"', "findings.hx_falls_12m: 2 is not a number"),
    (
        '"hx_falls_12m": -1',
        "findings.hx_falls_12m: -1 is not from 0 to 1000 falls in 12 months",
    ),
    # Numbers.
    ('"walk_s": 0.49', "findings.walk_s: 0.49 is not from 0.5 to 1200 s"),
    ('"hx_years": 120.01', "findings.hx_years: 120.01 is not from 0 to 120 years"),
    ('"lying_sys": "120"', "findings.lying_sys: 120 is not a number"),
    ('"lying_sys": [120]', "findings.lying_sys: a list is not a number"),
    (
        '"hx_years": 0.1234567890123',
        "findings.hx_years: 0.1234567890123 has more than 12 digits",
    ),
    ('"hx_years": 1e-13', "findings.hx_years: 1E-13 has more than 12 digits"),
    ('"hx_years": 1e-999999999', "findings.hx_years: 1E-999999999 has more than 12 digits"),
    ('"hx_years": 1e999999999', "findings.hx_years: 1E+999999999 is not from 0 to 120 years"),
    (
        '"hx_years": 1e99999999999999999999',
        "findings.hx_years: 1e99999999999999999999 is not a number",
    ),
    (
        '"hx_years": ' + "9" * 5000,
        f"findings.hx_years: {'9' * 39}… is not from 0 to 120 years",
    ),
    # Untestable.
    ('"rise": {"untestable": ""}', "findings.rise: untestable needs its reason in words"),
    ('"rise": {"untestable": "  "}', "findings.rise: untestable needs its reason in words"),
    ('"rise": {"untestable": true}', "findings.rise: untestable needs its reason in words"),
    (
        '"rise": {"untestable": "pain", "value": "slow"}',
        'findings.rise: an untestable finding holds its reason alone: {"untestable": "pain"}',
    ),
    (
        '"drift": {"left": {"untestable": "' + "a" * 201 + '"}}',
        "findings.drift.left: the reason is longer than 200 characters",
    ),
    (
        '"rise": {"untestable": "bed \\ud800"}',
        "findings.rise: the reason holds half a character",
    ),
    # A faulty value is shown short and on one line.
    (
        '"rise": "' + "a" * 50 + '"',
        f"findings.rise: {'a' * 39}… is not one of {RISE}",
    ),
    (
        '"rise": "a\\n\\u0000b"',
        f"findings.rise: a  b is not one of {RISE}",
    ),
    ('"a\\nb": 1', "findings.a b: not a finding"),
    ('"\\ud800": 1', "findings.?: not a finding"),
]


@pytest.mark.parametrize(("typed", "fault"), FINDINGS, ids=[fault for _, fault in FINDINGS])
def test_a_finding_that_cannot_be_recorded(typed: str, fault: str) -> None:
    """The place, what stood there, and what would be right."""
    assert [fault] == of_findings(typed)


EXAMS = [
    ('{"patient": 68}', "patient: not an object with age and sex"),
    ('{"patient": {"name": "A"}}', "patient.name: unknown; use age or sex"),
    ('{"patient": {"age": 121}}', "patient.age: 121 is not an age in years from 0 to 120"),
    ('{"patient": {"age": -1}}', "patient.age: -1 is not an age in years from 0 to 120"),
    ('{"patient": {"age": "68"}}', "patient.age: 68 is not an age in years from 0 to 120"),
    ('{"patient": {"age": true}}', "patient.age: true is not an age in years from 0 to 120"),
    ('{"patient": {"age": {}}}', "patient.age: an object is not an age in years from 0 to 120"),
    ('{"patient": {"age": 1e-99999}}', "patient.age: 1E-99999 has more than 12 digits"),
    (
        '{"patient": {"sex": "f"}}',
        "patient.sex: f is not female or male; leave it out if unknown",
    ),
    (
        '{"patient": {"sex": []}}',
        "patient.sex: a list is not female or male; leave it out if unknown",
    ),
    ('{"findings": []}', "findings: not an object of findings by id"),
    ('{"medicines": "aspirin"}', "medicines: not a list of lines"),
    ('{"medicines": {}}', "medicines: not a list of lines"),
    ('{"medicines": ["a", 1]}', "medicines.1: 1 is not a medicine in words"),
    ('{"medicines": [null]}', "medicines.0: null is not a medicine in words"),
    ('{"medicines": ["a", " "]}', "medicines.1:   is not a medicine in words"),
    (json.dumps({"medicines": ["a" * 201]}), "medicines.0: longer than 200 characters"),
    (json.dumps({"medicines": ["a"] * 101}), "medicines: 101 lines; at most 100"),
    ('{"medicines": ["\\udc00"]}', "medicines.0: holds half a character"),
    ('{"exam": {}}', "exam: unknown; use patient, findings or medicines"),
    ("[]", "exam: not an object with patient, findings and medicines"),
    ("null", "exam: not an object with patient, findings and medicines"),
    ('"{}"', "exam: not an object with patient, findings and medicines"),
]


@pytest.mark.parametrize(("text", "fault"), EXAMS, ids=[fault for _, fault in EXAMS])
def test_an_exam_that_cannot_be_read(text: str, fault: str) -> None:
    """The patient, the medicines and the whole, in the same way."""
    assert [fault] == faults(text)


TEXTS: list[tuple[str | bytes, str]] = [
    ("", "exam: not JSON: Expecting value (line 1 column 1)"),
    ('{"findings": {\n  "drift": }}', "exam: not JSON: Expecting value (line 2 column 12)"),
    ("{} {}", "exam: not JSON: Extra data (line 1 column 4)"),
    (
        "{'findings': {}}",
        "exam: not JSON: Expecting property name enclosed in double quotes (line 1 column 2)",
    ),
    ('{"findings": {"tug_s": NaN}}', "exam: not JSON: NaN is not a JSON number"),
    ('{"findings": {"tug_s": Infinity}}', "exam: not JSON: Infinity is not a JSON number"),
    ('{"findings": {"tug_s": -Infinity}}', "exam: not JSON: -Infinity is not a JSON number"),
    (
        '{"findings": {"drift": {"right": 2, "right": 0}}}',
        "exam: the key right stands twice in one object",
    ),
    (
        '{"findings": {"rise": "normal", "tics": 0, "rise": "unable"}}',
        "exam: the key rise stands twice in one object",
    ),
    ("[" * 100_000, "exam: brackets stand too deep inside each other"),
    ('{"findings":' * 100_000, "exam: brackets stand too deep inside each other"),
    (b"\x80\x81", "exam: not text in UTF-8"),
    (b"%PDF-1.7 \xff\xfe", "exam: not text in UTF-8"),
]


@pytest.mark.parametrize(("text", "fault"), TEXTS, ids=[fault for _, fault in TEXTS])
def test_what_is_not_json(text: str | bytes, fault: str) -> None:
    """A key that stands twice is refused: the last would win, and a finding be lost in silence."""
    assert [fault] == faults(text)


def test_every_fault_is_told_at_once() -> None:
    """So that nobody mends one, sends it again, and is told of the next."""
    told = faults(
        """
        {"patient": {"age": 200, "sex": "x", "name": "A"}, "notes": "",
         "findings": {"rest_tremor_hand": {"right": 4, "left": 0, "middle": 1}, "drift": 1,
                      "finger_tap_speed": {"right": 2}, "hx_falls_12m": 2, "rise": "quick"},
         "medicines": ["", "aspirin"]}
        """
    )

    assert [
        "notes: unknown; use patient, findings or medicines",
        "patient.name: unknown; use age or sex",
        "patient.age: 200 is not an age in years from 0 to 120",
        "patient.sex: x is not female or male; leave it out if unknown",
        "findings.rest_tremor_hand.right: 4 is not a grade from 0 to 3",
        "findings.rest_tremor_hand.middle: not a side; use right or left",
        'findings.drift: needs its side: {"right": …, "left": …}',
        "findings.finger_tap_speed: not a finding",
        "findings.rise: quick is not one of normal, slow, pushes_off, falls_back, unable",
        "medicines.0:  is not a medicine in words",
    ] == told


def test_nothing_is_made_of_a_bad_exam() -> None:
    """One wrong cell, and the good ones are not used either: the sender has to look again."""
    with pytest.raises(BadExam):
        read_exam({"findings": {"drift": {"right": 1, "left": 7}}})
