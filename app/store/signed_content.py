"""Everything that a signature stands for, as text that can be written in one way only."""

import json
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from app.exam.record import Recorded
from app.store.actor import Recorder
from app.store.audit import canonical
from app.store.cells import CellRecord, MedicinesRecord
from app.store.exams import ExamRecord
from app.store.on_paper import OnPaper
from app.store.patients import PatientCard
from app.store.refusals import Unreadable
from app.store.review import Review, value_text
from app.store.signatures import Signature, hash_of
from app.store.values import as_text, lines_as_text

# Under this name the content carries the hash of the note.
NOTE = "note_sha256"


@dataclass(frozen=True)
class Amendment:
    """What is put beside a signed exam. kind: addendum, late_entry or correction."""

    kind: str
    text: str
    reason: str


def signed_content(
    held: ExamRecord,
    review: Review,
    *,
    assessment: str,
    knowledge: str,
    note: str,
    signer: Recorder,
    meaning: str,
    signed_at: datetime,
) -> str:
    """The exam as it is signed, in canonical JSON.

    held, review: at one revision. assessment: what the exam added up to, as its own JSON.
    knowledge: the version that it was made with. note: the text note, which is kept beside the page
    and vouched for by its hash. Recorded values and decisions stand as the
    database holds them, so that 5.60 stays 5.60.
    """
    return canonical(
        {
            "kind": "exam",
            "exam": {
                "id": held.id,
                "reason": held.reason,
                "started_at": _moment(held.started_at),
                "started_by": held.started_by,
                "revision": held.revision,
                **_on_paper(held.on_paper),
            },
            "patient": _patient(held.patient),
            "entries": [
                {
                    "finding": finding,
                    "side": None if side is None else side.value,
                    "value": _value(each.value),
                    "bulk": each.bulk,
                    **_entry(each),
                }
                for (finding, side), each in held.cells.items()
            ],
            "medicines": _medicines(held.medicines_record),
            "review": [
                {
                    "kind": kind,
                    "item": item,
                    "value": None if each.value is None else value_text(each.value),
                    "by": each.by,
                    "role": each.role,
                    "at": _moment(each.at),
                    "revision": each.revision,
                }
                for (kind, item), each in sorted(review.items.items())
            ],
            "assessment": assessment,
            "knowledge": knowledge,
            NOTE: hash_of(note),
            **_signing(signer, meaning, signed_at),
        }
    )


def amended_content(
    pieces: list[Signature],
    patient: PatientCard,
    amendment: Amendment,
    *,
    note: str,
    signer: Recorder,
    meaning: str,
    signed_at: datetime,
) -> str:
    """An amendment as it is signed, in canonical JSON.

    pieces: everything signed before it, whose hashes it carries, so that it belongs to these alone.
    note: the text note as it reads from now on.
    """
    return canonical(
        {
            "kind": amendment.kind,
            "exam": pieces[0].exam_id,
            "number": len(pieces),
            "after": [each.content_sha256 for each in pieces],
            "patient": _patient(patient),
            "text": amendment.text,
            "reason": amendment.reason,
            NOTE: hash_of(note),
            **_signing(signer, meaning, signed_at),
        }
    )


def vouches_for(content: str, note: str) -> bool:
    """Whether a text note is the one that was signed with this content."""
    try:
        return bool(json.loads(content)[NOTE] == hash_of(note))
    except (ValueError, KeyError, TypeError):
        return False


def note_of(piece: Signature) -> str:
    """The text note of a signed piece.

    Raises: Unreadable, where it is no longer the one that was signed.
    """
    if not vouches_for(piece.content, piece.note):
        raise Unreadable(f"the note of exam {piece.exam_id} was altered after it was signed")
    return piece.note


def _on_paper(paper: OnPaper | None) -> dict[str, Any]:
    """Nothing at all for any other exam, so that what was signed before stays what it was."""
    return {} if paper is None else {"on_paper": paper.told()}


def _patient(card: PatientCard) -> dict[str, Any]:
    return {
        "id": card.id,
        "chart_number": card.chart_number,
        "family_name": card.family_name,
        "given_name": card.given_name,
        "birth_date": card.birth_date.isoformat(),
        "sex": card.sex,
    }


def _value(value: Recorded | None) -> str | None:
    return None if value is None else as_text(value)


def _medicines(held: MedicinesRecord | None) -> dict[str, Any] | None:
    if held is None:
        return None
    lines = None if held.lines is None else lines_as_text(held.lines)
    return {"value": lines, **_entry(held)}


def _entry(each: CellRecord | MedicinesRecord) -> dict[str, Any]:
    return {
        "id": each.entry_id,
        "by": each.by,
        "role": each.role,
        "at": _moment(each.at),
        "revision": each.revision,
    }


def _signing(signer: Recorder, meaning: str, signed_at: datetime) -> dict[str, Any]:
    return {
        "signer": {"account_id": signer.account_id, "name": signer.name, "role": signer.role},
        "meaning": meaning,
        "signed_at": _moment(signed_at),
    }


def _moment(moment: datetime) -> str:
    return moment.isoformat(timespec="microseconds")
