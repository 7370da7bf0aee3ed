"""A signed exam read back from what was signed: what was recorded, and what was concluded then."""

import json
from collections.abc import Iterator, Mapping
from datetime import UTC, date, datetime
from decimal import Decimal
from types import MappingProxyType
from typing import Any

from sqlmodel import Session

from app.assess.reassessed import AsSigned, concluded
from app.assess.stored import BadAssessment, parse_assessment
from app.exam.record import Cell, Exam, Patient, Recorded
from app.exam.vocabulary import Side
from app.store.patients import age_on
from app.store.refusals import Unreadable
from app.store.signed_pieces import signed_originals
from app.store.values import from_text, lines_from_text


def signed_exams_after(session: Session, after: str, under: str | None) -> Iterator[AsSigned]:
    """Every signed exam whose id is greater than one, in the order of the ids.

    under: only those signed under that version of the knowledge.
    Raises: Unreadable, which names the exam.
    """
    for each in signed_originals(session, after=after, under=under):
        try:
            yield _as_signed(each.exam_id, json.loads(each.contents[0]))
        except (BadAssessment, Unreadable, ValueError, KeyError, TypeError) as fault:
            raise Unreadable(f"exam {each.exam_id} cannot be read back: {fault}") from fault


def _as_signed(exam_id: str, content: Mapping[str, Any]) -> AsSigned:
    return AsSigned(
        exam_id,
        _moment(content["signed_at"]).date().isoformat(),
        content["knowledge"],
        _exam(content),
        concluded(parse_assessment(content["assessment"])),
    )


def _exam(content: Mapping[str, Any]) -> Exam:
    cells: dict[Cell, Recorded] = {}
    for each in content["entries"]:
        side = None if each["side"] is None else Side(each["side"])
        if each["value"] is not None:
            cells[each["finding"], side] = from_text(each["finding"], side, each["value"])
    medicines = content["medicines"]
    lines = None if medicines is None else medicines["value"]
    paper = content["exam"].get("on_paper")
    examined = _moment(content["exam"]["started_at"] if paper is None else paper["examined_at"])
    born = date.fromisoformat(content["patient"]["birth_date"])
    age = Decimal(age_on(born, examined.astimezone(UTC).date()))
    return Exam(
        Patient(age, content["patient"]["sex"]),
        MappingProxyType(cells),
        None if lines is None else lines_from_text(lines),
    )


def _moment(text: str) -> datetime:
    return datetime.fromisoformat(text)
