"""One signed exam as rows, read from what was signed and from nothing else."""

import hashlib
import hmac
import json
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime
from decimal import Decimal
from typing import Any

from app.assess.assessment import LISTED, Assessment
from app.assess.stored import BadAssessment, parse_assessment
from app.exam.faults import BadValue
from app.exam.reading import read_untestable, read_value
from app.exam.record import Cell, Recorded, Untestable, Value
from app.exam.vocabulary import Finding, Scale, Side, vocabulary
from app.knowledge.load import Knowledge
from app.report.data.columns import NOT_EXAMINED, NOT_LISTED, OLDEST, RECORDED, UNTESTABLE, Form
from app.report.phrases import age_on

# A cell of a row: what a column of its kind can hold, None where there is nothing.
Held = str | int | bool | float | Decimal | date | datetime | None
Row = dict[str, Held]


class BadContent(ValueError):
    """A signed exam holds something that this version cannot read; the message names the exam."""


@dataclass(frozen=True)
class Naming:
    """How exams and patients are called. key: None where their own ids stand.

    With a key a name is what HMAC-SHA-256 makes of the id: the same for the same key, and not to be
    turned back without it.
    """

    key: bytes | None = None

    @property
    def form(self) -> Form:
        """The form of an export whose rows are called so."""
        return Form.IDENTIFIED if self.key is None else Form.REMOVED

    def name_of(self, kind: str, held: str) -> str:
        """The name of an exam or a patient; kind: which of them."""
        if self.key is None:
            return held
        return hmac.new(self.key, f"{kind} {held}".encode(), hashlib.sha256).hexdigest()[:32]


@dataclass(frozen=True)
class Signed:
    """A signed exam. contents: the signed JSON of the exam, and then of each piece beside it;
    hashes: theirs.
    """

    exam_id: str
    contents: Sequence[str]
    hashes: Sequence[str]


def rows_of(signed: Signed, naming: Naming, knowledge: Knowledge) -> dict[str, list[Row]]:
    """The rows of one signed exam by table. What only one form may have is in them too: the columns
    of the form decide what is written.

    Raises: BadContent.
    """
    try:
        content, *later = (json.loads(each) for each in signed.contents)
        assessment = parse_assessment(content["assessment"])
        cells = _cells(content["entries"])
        named: Row = {"exam": naming.name_of("exam", signed.exam_id)}
        rows = {
            "exams": [_exam(content, assessment, cells, naming, knowledge)],
            "findings": [*_findings(cells)],
            "medicines": [*_medicines(content["medicines"], assessment)],
            "amendments": [_amendment(each) for each in later],
        }
        rows["exams"][0] |= {"state": "amended" if later else "signed", "amendments": len(later)}
        for row, sha256 in zip(rows["exams"] + rows["amendments"], signed.hashes, strict=True):
            row["content_sha256"] = sha256
    except (BadAssessment, BadValue, ValueError, KeyError, TypeError, AttributeError) as fault:
        raise BadContent(f"exam {signed.exam_id} cannot be exported: {fault}") from fault
    return {table: [named | row for row in found] for table, found in rows.items()}


@dataclass(frozen=True)
class _Cell:
    """A cell as it was signed, with who recorded it."""

    value: Recorded
    entry: Mapping[str, Any]


def _cells(entries: Sequence[Mapping[str, Any]]) -> dict[Cell, _Cell]:
    """What is recorded in each cell; one that was cleared holds nothing."""
    cells = {}
    for each in entries:
        finding_id, side = each["finding"], None if each["side"] is None else Side(each["side"])
        finding = vocabulary().get(finding_id)
        if finding is None or side not in finding.sides:
            raise BadValue(f"this version does not know the cell {finding_id} {side or ''}".strip())
        if each["value"] is not None:
            raw = json.loads(each["value"], parse_float=Decimal)
            value = read_untestable(raw) if isinstance(raw, dict) else read_value(finding, raw)
            cells[finding_id, side] = _Cell(value, each)
    return cells


def _exam(
    content: Mapping[str, Any],
    assessment: Assessment,
    cells: Mapping[Cell, _Cell],
    naming: Naming,
    knowledge: Knowledge,
) -> Row:
    exam, patient, paper = content["exam"], content["patient"], content["exam"].get("on_paper")
    examined_at = _moment(exam["started_at"] if paper is None else paper["examined_at"])
    born = date.fromisoformat(patient["birth_date"])
    age, removed = age_on(born, examined_at.date()), naming.form is Form.REMOVED
    untestable = sum(isinstance(each.value, Untestable) for each in cells.values())
    medicines = content["medicines"]
    lines = None if medicines is None else medicines["value"]
    decided = {(each["kind"], each["item"]): each["value"] for each in content["review"]}
    warnings = [each for each in assessment.warnings if each is not assessment.fall_risk]
    return {
        "patient": naming.name_of("patient", patient["id"]),
        "chart_number": patient["chart_number"],
        "family_name": patient["family_name"],
        "given_name": patient["given_name"],
        "birth_date": born,
        "examined_at": examined_at,
        "examined_month": f"{examined_at:%Y-%m}",
        "on_paper": paper is not None,
        "on_paper_by": None if paper is None else paper["examined_by"],
        "started_at": _moment(exam["started_at"]),
        "started_by": exam["started_by"],
        **_signing(content),
        "signature_meaning": content["meaning"],
        "age": min(age, OLDEST) if removed else age,
        "sex": patient["sex"],
        "knowledge": content["knowledge"],
        "reason": exam["reason"],
        "recorded": len(cells) - untestable,
        "untestable": untestable,
        "bulk": sum(each.entry["bulk"] for each in cells.values()),
        "medicines": None if lines is None else len(json.loads(lines)),
        "fall_level": assessment.fall_risk.level,
        **_categories(assessment, knowledge),
        "warnings": " ".join(each.id for each in warnings),
        "urgencies": " ".join(each.urgency for each in warnings),
        "most_urgent": warnings[0].urgency if warnings else None,
        "next_steps": " ".join(each.id for each in assessment.next_steps),
        "hazards": " ".join(each.id for each in assessment.hazards),
        "unexplained": len(assessment.unexplained),
        "codes": " ".join(
            sorted(item for (kind, item), value in decided.items() if kind == "code" and value)
        ),
        "impression": _written(decided.get(("impression", ""))),
        "plan": _written(decided.get(("plan", ""))),
        "for_patient": _written(decided.get(("for_patient", ""))),
    }


def _categories(assessment: Assessment, knowledge: Knowledge) -> Row:
    found = {each.id: each for each in assessment.categories if each.level in LISTED}
    row: Row = {}
    for name in knowledge.categories:
        each = found.pop(name, None)
        row[f"{name}_level"] = NOT_LISTED if each is None else each.level
        row[f"{name}_side"] = None if each is None else _side(each.side)
        row[f"{name}_qualifiers"] = None if each is None else " ".join(each.qualifiers)
    row["other_categories"] = " ".join(
        f"{each.id}:{each.level}:{_side(each.side) or ''}" for each in found.values()
    )
    return row


def _findings(cells: Mapping[Cell, _Cell]) -> Iterator[Row]:
    for finding in vocabulary().values():
        for side in finding.sides:
            yield {
                "station": finding.station,
                "finding": finding.id,
                "label": finding.label,
                "side": _side(side),
                "scale": finding.scale.value,
                "unit": finding.unit or None,
                **_finding(finding, cells.get((finding.id, side))),
            }


def _finding(finding: Finding, held: _Cell | None) -> Row:
    if held is None:
        return {"state": NOT_EXAMINED}
    by: Row = {
        "bulk": held.entry["bulk"],
        "role": held.entry["role"],
        "recorded_by": held.entry["by"],
        "recorded_at": _moment(held.entry["at"]),
    }
    if isinstance(held.value, Untestable):
        return by | {"state": UNTESTABLE, "reason": held.value.reason}
    is_number = finding.scale in (Scale.GRADE, Scale.COUNT, Scale.NUMBER)
    return by | {
        "state": RECORDED,
        "value": _value(held.value),
        "number": Decimal(held.value) if is_number else None,
        "words": finding.words_of(held.value),
    }


def _value(value: Value) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    return f"{value:f}" if isinstance(value, Decimal) else str(value)


def _medicines(held: Mapping[str, Any] | None, assessment: Assessment) -> Iterator[Row]:
    lines = json.loads(held["value"]) if held is not None and held["value"] is not None else []
    for number, text in enumerate(lines, start=1):
        found = [each for each in assessment.recognised if each.text == text]
        row: Row = {"line": number, "text": text}
        for each in found:
            yield row | {"ingredient": each.ingredient, "classes": " ".join(each.classes)}
        if not found:
            yield row


def _amendment(content: Mapping[str, Any]) -> Row:
    return {
        "number": content["number"],
        "kind": content["kind"],
        **_signing(content),
        "text": content["text"],
        "reason": content["reason"],
    }


def _signing(content: Mapping[str, Any]) -> Row:
    return {
        "signed_at": _moment(content["signed_at"]),
        "signed_by": content["signer"]["name"],
        "signer_role": content["signer"]["role"],
    }


def _side(side: str | None) -> str | None:
    return None if side is None else side.upper()


def _moment(text: str) -> datetime:
    return datetime.fromisoformat(text).astimezone(UTC)


def _written(value: str | None) -> str | None:
    return None if value is None else str(json.loads(value))
