"""Write an exam as it is read: the JSON of the contract."""

from decimal import Decimal
from typing import Any

from app.exam.record import Exam, Untestable, Value
from app.exam.vocabulary import vocabulary


def exam_as_json(exam: Exam) -> dict[str, Any]:
    """The exam in the form that parse_exam reads; numbers as they were typed."""
    out: dict[str, Any] = {}
    patient = {
        key: value
        for key, value in (("age", plain(exam.patient.age)), ("sex", exam.patient.sex))
        if value is not None
    }
    if patient:
        out["patient"] = patient
    words = vocabulary()
    findings: dict[str, Any] = {}
    for finding_id, side in sorted(exam.cells, key=lambda cell: words.place(*cell)):
        recorded = exam.cells[finding_id, side]
        held = (
            {"untestable": recorded.reason} if isinstance(recorded, Untestable) else plain(recorded)
        )
        if side is None:
            findings[finding_id] = held
        else:
            findings.setdefault(finding_id, {})[side.value] = held
    if findings:
        out["findings"] = findings
    if exam.medicines is not None:
        out["medicines"] = list(exam.medicines)
    return out


def plain(value: Value | None) -> int | float | bool | str | None:
    """A value as JSON holds it: a Decimal becomes the number that reads the same."""
    if isinstance(value, Decimal):
        return int(value) if value == value.to_integral_value() else float(value)
    return value
