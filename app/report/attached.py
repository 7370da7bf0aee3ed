"""The files that travel inside the PDF, so that another program can use what a reader reads."""

import json
from dataclasses import dataclass

from app.assess.assessment import as_text
from app.exam.writing import exam_as_json
from app.knowledge.load import Knowledge
from app.language.words import _
from app.report.fhir.document import MEDIA_TYPE, document
from app.report.page import ReportInput


@dataclass(frozen=True)
class Attached:
    """One file inside the PDF.

    relationship: to the page, in a word of PDF/A-3: Source, Data, Alternative, Supplement.
    """

    name: str
    media_type: str
    description: str
    relationship: str
    content: bytes


def attached_files(report: ReportInput, knowledge: Knowledge) -> tuple[Attached, ...]:
    """What is attached to the PDF of an exam, by name; the same bytes for the same exam.

    The FHIR document is the one without the PDF, which cannot hold itself.
    """
    exam = json.dumps(exam_as_json(report.exam), indent=2, ensure_ascii=False)
    return (
        Attached(
            "assessment.json",
            "application/json",
            _("What the exam adds up to, with the reasons and the sources of each line"),
            "Data",
            _bytes(as_text(report.assessment)),
        ),
        Attached(
            "exam.json",
            "application/json",
            _("What was recorded, as the program reads it: findings by side, and medicines"),
            "Source",
            _bytes(exam),
        ),
        Attached(
            "fhir.json",
            MEDIA_TYPE,
            _("The exam as a FHIR R4 document"),
            "Alternative",
            document(report, knowledge),
        ),
    )


def _bytes(text: str) -> bytes:
    # Half a character is refused where an exam is read; here it must not stop the page.
    return text.encode(errors="replace")
