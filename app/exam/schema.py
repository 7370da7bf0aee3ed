"""An exam as JSON Schema (2020-12), made from the vocabulary, for programs that send one."""

from functools import cache
from typing import Any

from app.exam.reading import MAX_AGE, MAX_MEDICINE_LENGTH, MAX_MEDICINES, MAX_REASON_LENGTH, SEXES
from app.exam.vocabulary import GRADES, SIDES, Finding, Scale, vocabulary

Schema = dict[str, Any]
UNTESTABLE: Schema = {
    "type": "object",
    "properties": {
        "untestable": {"type": "string", "minLength": 1, "maxLength": MAX_REASON_LENGTH}
    },
    "required": ["untestable"],
    "additionalProperties": False,
}


@cache
def exam_schema() -> Schema:
    """The schema of one exam. What is absent or null was not examined, and is never normal."""
    return {
        "type": "object",
        "description": "Absent or null: not examined, so unknown. Unknown is never read as normal.",
        "properties": {
            "patient": _or_null(
                {
                    "type": "object",
                    "properties": {
                        "age": _or_null({"type": "number", "minimum": 0, "maximum": MAX_AGE}),
                        "sex": _or_null({"type": "string", "enum": [*SEXES]}),
                    },
                    "additionalProperties": False,
                }
            ),
            "findings": _or_null(
                {
                    "type": "object",
                    "properties": {
                        finding.id: _finding(finding) for finding in vocabulary().values()
                    },
                    "additionalProperties": False,
                }
            ),
            "medicines": _or_null(
                {
                    "type": "array",
                    "maxItems": MAX_MEDICINES,
                    "items": {"type": "string", "maxLength": MAX_MEDICINE_LENGTH, "pattern": r"\S"},
                }
            ),
        },
        "additionalProperties": False,
    }


def _finding(finding: Finding) -> Schema:
    cell = _or_null(_value(finding), UNTESTABLE)
    if not finding.paired:
        return cell | {"description": finding.label}
    return _or_null(
        {
            "type": "object",
            "properties": {side.value: cell for side in SIDES},
            "additionalProperties": False,
        }
    ) | {"description": f"{finding.label}; the patient's sides"}


def _value(finding: Finding) -> Schema:
    match finding.scale:
        case Scale.GRADE:
            return {"type": "integer", "enum": [*GRADES]}
        case Scale.YESNO:
            return {"type": "boolean"}
        case Scale.CHOICE:
            return {"type": "string", "enum": [*finding.values]}
        case _:
            kind = "integer" if finding.scale is Scale.COUNT else "number"
            limits = {"minimum": finding.minimum, "maximum": finding.maximum}
            return {"type": kind} | {
                name: float(limit) for name, limit in limits.items() if limit is not None
            }


def _or_null(*schemas: Schema) -> Schema:
    return {"anyOf": [*schemas, {"type": "null"}]}
