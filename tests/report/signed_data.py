"""Signed exams as the export takes them, and exports read back."""

import csv
from collections.abc import Mapping
from datetime import UTC, date, datetime
from pathlib import Path
from types import MappingProxyType
from typing import Any

from app.assess.assess import assess
from app.assess.assessment import as_text
from app.exam.record import Exam
from app.knowledge.load import knowledge
from app.report.data.columns import Form, tables
from app.report.data.files import CSV_ENCODING, sinks
from app.report.data.rows import Naming, Row, Signed, rows_of
from app.store.actor import Recorder
from app.store.cells import CellRecord, MedicinesRecord
from app.store.exams import ExamRecord
from app.store.on_paper import OnPaper
from app.store.patients import PatientCard
from app.store.review import Review, ReviewItem, ReviewKey
from app.store.signatures import hash_of
from app.store.signed_content import signed_content

BEGUN = datetime(2026, 3, 4, 9, 30, 15, 123456, tzinfo=UTC)
EXAM_ID, PATIENT_ID, ACCOUNT_ID = "5e" * 16, "b1" * 16, "c7" * 16
WHO = PatientCard(PATIENT_ID, "HC-7731", "Ødegård", "Solveig", date(1951, 7, 23), "female")
SIGNER = Recorder("Dr Per Prøve", "physician", ACCOUNT_ID)
KEY = b"a key of the tests that nobody keeps"


def content_of(
    exam: Exam,
    who: PatientCard = WHO,
    paper: OnPaper | None = None,
    decided: Mapping[ReviewKey, Any] | None = None,
    bulk: bool = False,
) -> str:
    """What would be signed of this exam."""
    cells = {
        cell: CellRecord(number, value, "Ngozi Testwell", "nurse", BEGUN, bulk, 1, ACCOUNT_ID)
        for number, (cell, value) in enumerate(exam.cells.items(), start=1)
    }
    medicines = None
    if exam.medicines is not None:
        medicines = MedicinesRecord(999, exam.medicines, "Ngozi Testwell", "nurse", BEGUN, 1)
    held = ExamRecord(
        EXAM_ID, who, "ready", "Shakes at the till", BEGUN, "Ngozi Testwell", 2, exam,
        MappingProxyType(cells), medicines, paper,
    )  # fmt: skip
    items = {
        key: ReviewItem(value, SIGNER.name, SIGNER.role, BEGUN, 2)
        for key, value in (decided or {}).items()
    }
    review = Review(
        impression="", plan="", steps={}, acknowledged=frozenset(), confirmed=frozenset(),
        codes=(), for_patient="", items=MappingProxyType(items),
    )  # fmt: skip
    return signed_content(
        held, review, assessment=as_text(assess(exam, knowledge())),
        knowledge=knowledge().version, note="SIGNED\n", signer=SIGNER,
        meaning="examined and signed", signed_at=BEGUN,
    )  # fmt: skip


def rows(content: str, *later: str, key: bytes | None = None) -> dict[str, list[Row]]:
    """The rows of one signed exam."""
    contents = (content, *later)
    signed = Signed(EXAM_ID, contents, tuple(map(hash_of, contents)))
    return rows_of(signed, Naming(key), knowledge())


def written(
    folder: Path, content: str, *later: str, key: bytes | None = None, format_: str = "csv"
) -> None:
    """Write the tables of one signed exam."""
    form = Form.IDENTIFIED if key is None else Form.REMOVED
    with sinks(folder, tables(knowledge(), form), format_) as into:
        for table, found in rows(content, *later, key=key).items():
            for row in found:
                into[table].write(row)


def read_csv(file: Path) -> list[dict[str, str]]:
    """A table as a program reads it."""
    with file.open(encoding=CSV_ENCODING, newline="") as lines:
        return list(csv.DictReader(lines))
