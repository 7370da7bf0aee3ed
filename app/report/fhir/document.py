"""The document: a Bundle whose first entry is the Composition, and all that it refers to."""

import hashlib
from base64 import b64encode
from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime

from app.knowledge.load import Knowledge, in_english
from app.language.words import ENGLISH, speaking
from app.report.fhir.canonical import canonical
from app.report.fhir.conclusions import FALLS, IMPRESSION, falls, impression, issues
from app.report.fhir.narrative import narrative, paragraph, plain
from app.report.fhir.observations import observations
from app.report.fhir.people import CLINIC, PATIENT, People, clinic, patient
from app.report.fhir.sections import PAGE, Parts, sections
from app.report.fhir.terms import (
    AUDIT,
    AUTHORS_SIGNATURE,
    DOCUMENT_TYPES,
    EXAM_ID,
    LOINC,
    PARTICIPANT,
    SHA256,
    SIGNATURE,
    URI,
    Json,
    Names,
    coding,
    concept,
    filled,
    when,
)
from app.report.page import ReportInput
from app.report.phrases import day
from app.report.reviewed import By
from app.report.signed import SignatureBlock, state_words

COMPOSITION = "composition"
MEDIA_TYPE = "application/fhir+json"
_STATUS = {"open": "preliminary", "ready": "preliminary", "signed": "final", "amended": "amended"}


def document(
    report: ReportInput,
    knowledge: Knowledge,
    *,
    page: bytes | None = None,
) -> bytes:
    """The exam as a FHIR R4 document in JSON; the same bytes for the same exam.

    It is in English, whatever people speak: its texts go with codes whose words are English.

    page: the signed PDF; left out where the document is put into that PDF itself.
    Raises: KeyError, where the report's document_type is none of DOCUMENT_TYPES.
    """
    known = in_english(knowledge)
    english = {
        one.says: other.says
        for one, other in zip(knowledge.conflicts, known.conflicts, strict=True)
    }
    found = report.assessment
    conflicts = tuple(
        replace(each, says=english.get(each.says, each.says)) for each in found.conflicts
    )
    with speaking(ENGLISH):
        found = replace(found, conflicts=conflicts)
        return _document(replace(report, assessment=found), known, page)


def _document(report: ReportInput, knowledge: Knowledge, page: bytes | None) -> bytes:
    names = Names(report.exam_id)
    people = People(names)
    found = list(observations(report, knowledge, names, people))
    concluded = [
        (FALLS, falls(report, knowledge, names)),
        *issues(report, knowledge, names, people),
        (IMPRESSION, impression(report, knowledge, names, people)),
    ]
    worked_out = tuple(name.partition("/")[2] for name, _ in found if name.startswith("quantity/"))
    parts = Parts(report, knowledge, names, people, worked_out, page is not None)
    composition = _composition(parts)
    pages = [] if page is None else [(PAGE, _document_reference(parts, page))]
    provenances = [
        (f"provenance/{number}", _provenance(parts, number, signature))
        for number, signature in enumerate(_signatures(report))
    ]
    entries: list[tuple[str, Json]] = [
        (COMPOSITION, composition),
        (PATIENT, patient(report, names)),
        (CLINIC, clinic(report, names)),
        *people.resources(),
        *found,
        *concluded,
        *pages,
        *provenances,
    ]
    return canonical(
        {
            "resourceType": "Bundle",
            "id": names.id(_version(report, page is not None)),
            "language": "en",
            "identifier": _identifier(names, _version(report, page is not None)),
            "type": "document",
            "timestamp": when(_made_at(report)),
            "entry": [
                {"fullUrl": names.urn(name), "resource": resource} for name, resource in entries
            ],
        }
    )


def _signatures(report: ReportInput) -> Sequence[SignatureBlock]:
    """The exam's, then those of the amendments."""
    if report.signature is None:
        return ()
    return (report.signature, *(each.signature for each in report.amendments))


def _made_at(report: ReportInput) -> datetime:
    signed = _signatures(report)
    return signed[-1].signed_at if signed else report.printed_at


def _version(report: ReportInput, has_page: bool) -> str:
    """The name of this very document; a document with the page is another one than without."""
    if report.signature is None:
        return f"document/draft/{report.printed_at.isoformat()}"
    return _signed_version(len(report.amendments), has_page)


def _signed_version(number: int, has_page: bool) -> str:
    return f"document/{number}/{'with' if has_page else 'in'}-page"


def _identifier(names: Names, version: str) -> Json:
    return {"system": URI, "value": names.urn(version)}


def _composition(parts: Parts) -> Json:
    report, names = parts.report, parts.names
    state = state_words(report.signature, report.amendments)
    words = f"{state.word}, {state.after}. {state.banner}".strip()
    # Sections come first: whoever they refer to gets a resource.
    body = sections(parts)
    return filled(
        resourceType="Composition",
        id=names.id(COMPOSITION),
        language="en",
        text=narrative(paragraph(f"Motor exam of {day(report.started_at)}."), paragraph(words)),
        # It stays the same in every version of the document.
        identifier={"system": EXAM_ID, "value": plain(report.exam_id)},
        status=_STATUS[report.state],
        type=_type(parts.report.document_type),
        subject=names.reference(PATIENT),
        date=when(_made_at(report)),
        author=_authors(parts),
        title=f"Motor exam of {day(report.started_at)} ({state.word})",
        attester=_attesters(parts),
        custodian=names.reference(CLINIC),
        relatesTo=[
            {
                "code": "appends",
                "targetIdentifier": _identifier(names, _signed_version(number, parts.has_page)),
            }
            for number in range(len(report.amendments))
        ],
        section=body,
    )


def _type(document_type: str) -> Json:
    display = DOCUMENT_TYPES[document_type]
    return concept(display, coding(LOINC, document_type, display))


def _authors(parts: Parts) -> list[Json]:
    """Who signed; of a draft whoever recorded, or else the clinic."""
    if parts.report.signature is not None:
        return [parts.people.reference(parts.report.signature)]
    authors = [parts.people.reference(by) for by in _recorders(parts.report)]
    return authors or [parts.names.reference(CLINIC)]


def _recorders(report: ReportInput) -> list[By]:
    """Everybody who recorded, once, with the time of their last entry."""
    last: dict[tuple[str, str], By] = {}
    for by in report.cell_by.values():
        held = last.get((by.name, by.role))
        if held is None or held.at < by.at:
            last[by.name, by.role] = by
    return [last[key] for key in sorted(last)]


def _attesters(parts: Parts) -> list[Json]:
    """Physicians accept legal responsibility by signing; a nurse vouches for what they recorded."""
    legal = [
        {
            "mode": "legal",
            "time": when(signature.signed_at),
            "party": parts.people.reference(signature),
        }
        for signature in _signatures(parts.report)
    ]
    professional = [
        {"mode": "professional", "time": when(by.at), "party": parts.people.reference(by)}
        for by in _recorders(parts.report)
        if by.role == "nurse"
    ]
    return [*legal, *professional]


def _document_reference(parts: Parts, page: bytes) -> Json:
    names, signed = parts.names, _signatures(parts.report)
    # FHIR R4 asks for SHA-1 here, against accidents and not against malice.
    sha1 = hashlib.sha1(page, usedforsecurity=False).digest()
    return filled(
        resourceType="DocumentReference",
        id=names.id(PAGE),
        identifier=[{"system": SHA256, "value": hashlib.sha256(page).hexdigest()}],
        status="current",
        docStatus=_STATUS[parts.report.state],
        type=_type(parts.report.document_type),
        subject=names.reference(PATIENT),
        date=when(_made_at(parts.report)),
        author=[parts.people.reference(each) for each in signed[:1]],
        custodian=names.reference(CLINIC),
        description="The page as it was signed, in the very bytes that the clinic keeps",
        content=[
            {
                "attachment": {
                    "contentType": "application/pdf",
                    "language": "en",
                    "data": b64encode(page).decode("ascii"),
                    "size": len(page),
                    "hash": b64encode(sha1).decode("ascii"),
                    "title": f"Motor exam of {day(parts.report.started_at)}",
                    "creation": when(_made_at(parts.report)),
                }
            }
        ],
    )


def _provenance(parts: Parts, number: int, signature: SignatureBlock) -> Json:
    """One act of signing. It carries no cryptographic signature: the seal is in the PDF."""
    names, who = parts.names, parts.people.reference(signature)
    is_newest = number == len(parts.report.amendments)
    return {
        "resourceType": "Provenance",
        "id": names.id(f"provenance/{number}"),
        "target": [
            names.reference(COMPOSITION),
            *([names.reference(PAGE)] if parts.has_page and is_newest else []),
        ],
        "recorded": when(signature.signed_at),
        "agent": [
            {
                "type": concept("", coding(PARTICIPANT, "legal", "Legal Authenticator")),
                "who": who,
                "onBehalfOf": names.reference(CLINIC),
            }
        ],
        "entity": [
            {"role": "source", "what": {"identifier": identifier, "display": words}}
            for identifier, words in (
                (
                    {"system": SHA256, "value": signature.content_sha256},
                    "SHA-256 of everything that was signed",
                ),
                (
                    {"system": AUDIT, "value": signature.audit},
                    "The newest row of the clinic’s audit then",
                ),
            )
        ],
        "signature": [
            {
                "type": [coding(SIGNATURE, AUTHORS_SIGNATURE, "Author's Signature")],
                "when": when(signature.signed_at),
                "who": who,
            }
        ],
    }
