"""Code systems, codes and units of the document. Each code that FHIR binds is checked in tests."""

from collections.abc import Mapping
from datetime import datetime
from decimal import Decimal
from types import MappingProxyType
from typing import Any
from uuid import UUID, uuid5

from app.exam.vocabulary import Finding, Side
from app.knowledge.codes import HpoTerm
from app.knowledge.load import Knowledge

Json = dict[str, Any]

# Everything of ours is named below this one; it was drawn once and never changes.
NAMESPACE = UUID("5f0c3c1e-6f0b-4d58-9a0b-2f6f3f1d7c42")


def _own(name: str) -> str:
    """A system of our own: an OID made from a UUID, which needs no registration (X.667)."""
    return f"urn:oid:2.25.{uuid5(NAMESPACE, name).int}"


# Ids of findings; answers of choices, as finding.value; grades 0 to 3; why a cell has no value;
# ids of patterns, warnings, steps and falls groups; levels of a pattern.
FINDING, ANSWER, GRADE, ABSENCE = _own("finding"), _own("answer"), _own("grade"), _own("absence")
RULE, LEVEL = _own("rule"), _own("level")
# Identifiers: of an exam, of bytes by their SHA-256, of a row of the audit.
EXAM_ID, SHA256, AUDIT = _own("exam"), _own("sha-256"), _own("audit")

HPO = "http://human-phenotype-ontology.org"
ICD10CM = "http://hl7.org/fhir/sid/icd-10-cm"
LOINC = "http://loinc.org"
UCUM = "http://unitsofmeasure.org"
LATERALITY = "http://terminology.hl7.org/CodeSystem/v2-0495"
URI = "urn:ietf:rfc:3986"
DATA_ABSENT = "http://terminology.hl7.org/CodeSystem/data-absent-reason"
CATEGORY = "http://terminology.hl7.org/CodeSystem/observation-category"
INTERPRETATION = "http://terminology.hl7.org/CodeSystem/v3-ObservationInterpretation"
EMPTY = "http://terminology.hl7.org/CodeSystem/list-empty-reason"
IDENTIFIER_TYPE = "http://terminology.hl7.org/CodeSystem/v2-0203"
ROLE = "http://terminology.hl7.org/CodeSystem/practitioner-role"
PARTICIPANT = "http://terminology.hl7.org/CodeSystem/provenance-participant-type"
SIGNATURE = "urn:iso-astm:E1762-95:2013"
AUTHORS_SIGNATURE = "1.2.840.10065.1.12.1.1"

CONSULT_NOTE = "11488-4"
# What a document may be called; the clinic chooses.
DOCUMENT_TYPES: Mapping[str, str] = MappingProxyType(
    {
        CONSULT_NOTE: "Consult note",
        "34797-1": "Neurology Consult note",
        "34117-2": "History and physical note",
    }
)
SIDES: Mapping[Side, tuple[str, str, str]] = MappingProxyType(
    {
        Side.RIGHT: ("R", "Right", "HP:0012834"),
        Side.LEFT: ("L", "Left", "HP:0012835"),
    }
)
# The units of findings and of worked out quantities. What is counted is an annotation, which is
# the unit 1 with a name.
UNITS: Mapping[str, str] = MappingProxyType(
    {
        "s": "s",
        "m": "m",
        "m/s": "m/s",
        "/min": "/min",
        "mm[Hg]": "mm[Hg]",
        "/min per mm[Hg]": "/min/mm[Hg]",
        "years": "a",
        "steps": "{steps}",
        "steps/min": "{steps}/min",
        "stands": "{stands}",
        "taps": "{taps}",
        "falls in 12 months": "{falls}",
    }
)
LOINC_NOTICE = (
    "LOINC is copyright Regenstrief Institute, Inc. and the LOINC Committee, and is available at "
    "no cost under the license at http://loinc.org/license."
)
UCUM_NOTICE = (
    "UCUM is copyright Regenstrief Institute, Inc. and the UCUM Organization, and is available at "
    "no cost under the license at http://unitsofmeasure.org."
)


class Names:
    """The ids of one exam's resources: the same exam and name give the same id."""

    def __init__(self, exam_id: str) -> None:
        self._exam_id = exam_id

    def id(self, name: str) -> str:
        """The id of the resource of this name."""
        return str(uuid5(NAMESPACE, f"{self._exam_id}/{name}"))

    def urn(self, name: str) -> str:
        """The same as an address."""
        return f"urn:uuid:{self.id(name)}"

    def reference(self, name: str) -> Json:
        """A reference to it."""
        return {"reference": self.urn(name)}


def filled(**fields: Any) -> Json:
    """The fields that hold something; FHIR allows no empty ones."""
    return {key: value for key, value in fields.items() if value not in (None, "", [], (), {})}


def coding(system: str, code: str, display: str = "", version: str = "") -> Json:
    """One coding."""
    return filled(system=system, version=version, code=code, display=display)


def concept(text: str, *codings: Json) -> Json:
    """A concept in words, with its codings."""
    return filled(coding=list(codings), text=text)


def hpo(term: HpoTerm, knowledge: Knowledge) -> Json:
    """A term of the Human Phenotype Ontology, with the release that it was taken from."""
    return coding(HPO, term.id, term.name, knowledge.hpo.version)


def side_coding(side: Side, knowledge: Knowledge) -> list[Json]:
    """The patient's side in HL7's table and in the ontology."""
    code, display, term = SIDES[side]
    return [
        coding(LATERALITY, code, display),
        coding(HPO, term, display, knowledge.hpo.version),
    ]


def side_text(side: Side) -> str:
    """The side in full."""
    return f"{side.value.upper()} (the patient’s {side.value})"


def quantity(value: int | Decimal, unit: str) -> Json:
    """A number with its unit in UCUM."""
    return {"value": value, "unit": unit, "system": UCUM, "code": UNITS[unit]}


def answer_code(finding: Finding, value: str) -> Json:
    """One answer of a choice."""
    return coding(ANSWER, f"{finding.id}.{value}", finding.words_of(value))


def when(moment: datetime) -> str:
    """A moment with its offset, to the second."""
    return moment.isoformat(timespec="seconds")
