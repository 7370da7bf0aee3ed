"""The files that travel inside the PDF, so that another program can use what a reader reads."""

import json
from dataclasses import dataclass

from app.assess.assessment import as_text
from app.exam.reading import exam_as_json
from app.report.page import ReportInput

FHIR_MEDIA_TYPE = "application/fhir+json"
# Asked for by its licence wherever its codes go: app/knowledge/codes_hpo.toml, NOTICE.
HPO_NOTICE = (
    "This service/product uses the Human Phenotype Ontology (version 2025-01-16). "
    "Find out more at http://www.human-phenotype-ontology.org"
)


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


def attached_files(report: ReportInput, fhir: bytes | None = None) -> tuple[Attached, ...]:
    """What is attached to the PDF of an exam; the same bytes for the same exam.

    fhir: the exam as a FHIR document, where there is one; this is its only way into the PDF.
    """
    exam = json.dumps(exam_as_json(report.exam), indent=2, ensure_ascii=False)
    files = [
        Attached(
            "exam.json",
            "application/json",
            "What was recorded, as the program reads it: findings by side, and medicines",
            "Source",
            _bytes(exam),
        ),
        Attached(
            "assessment.json",
            "application/json",
            "What the exam adds up to, with the reasons and the sources of each line",
            "Data",
            _bytes(as_text(report.assessment)),
        ),
    ]
    if fhir is not None:
        files.append(
            Attached(
                "fhir.json",
                FHIR_MEDIA_TYPE,
                "The exam as a FHIR R4 document",
                "Alternative",
                fhir,
            )
        )
    # A name tree is sorted.
    return tuple(sorted(files, key=lambda each: each.name))


def _bytes(text: str) -> bytes:
    # Half a character is refused where an exam is read; here it must not stop the page.
    return text.encode(errors="replace")


def uses_hpo(attached: tuple[Attached, ...]) -> bool:
    """Whether codes of the Human Phenotype Ontology are among what is attached."""
    return any(each.media_type == FHIR_MEDIA_TYPE for each in attached)
