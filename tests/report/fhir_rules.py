"""What a FHIR document of ours must be and no validator checks, and how both validators are asked.

The rules are FHIR R4's for documents (bdl-9 to bdl-11, cmp-1, cmp-2; https://hl7.org/fhir/R4/) and
our own for sides and unknown values. The value sets are written out here a second time, so that a
slip in the program shows. Where nothing else is said they were read in the value sets that the npm
package carries, which are those of the pages named.
"""

import json
import os
import re
import subprocess
import warnings
from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from datetime import datetime
from functools import cache
from importlib import import_module
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import pytest

from app.exam.vocabulary import vocabulary
from app.knowledge.load import knowledge
from app.report.fhir import terms

VALIDATOR = Path(__file__).parents[1] / "fhir_validator"
Json = dict[str, Any]

# ---- the value sets

OURS = {
    terms.FINDING, terms.ANSWER, terms.GRADE, terms.ABSENCE, terms.RULE, terms.LEVEL,
}  # fmt: skip
CODES: dict[str, set[str]] = {
    # Read on hl7.org/fhir/2018May/v2/0495/v2-0495.cs.xml.html and terminology.hl7.org
    "http://terminology.hl7.org/CodeSystem/v2-0495": {"L", "R"},
    # Read on hl7.org/fhir/R4/valueset-data-absent-reason.html; four of its fifteen
    "http://terminology.hl7.org/CodeSystem/data-absent-reason": {
        "unknown", "not-asked", "not-applicable", "not-performed",
    },
    # hl7.org/fhir/R4/codesystem-observation-category.html
    "http://terminology.hl7.org/CodeSystem/observation-category": {"exam", "survey"},
    # From memory: hl7.org/fhir/R4/v3/ObservationInterpretation
    "http://terminology.hl7.org/CodeSystem/v3-ObservationInterpretation": {"A", "N"},
    # hl7.org/fhir/R4/codesystem-list-empty-reason.html
    "http://terminology.hl7.org/CodeSystem/list-empty-reason": {"nilknown", "notasked"},
    # hl7.org/fhir/R4/valueset-identifier-type.html
    "http://terminology.hl7.org/CodeSystem/v2-0203": {"MR"},
    # hl7.org/fhir/R4/codesystem-practitioner-role.html
    "http://terminology.hl7.org/CodeSystem/practitioner-role": {"doctor", "nurse"},
    # hl7.org/fhir/R4/valueset-provenance-agent-type.html
    "http://terminology.hl7.org/CodeSystem/provenance-participant-type": {"legal"},
    # hl7.org/fhir/R4/valueset-signature-type.html
    "urn:iso-astm:E1762-95:2013": {"1.2.840.10065.1.12.1.1"},
    # hl7.org/fhir/R4/valueset-doc-typecodes.html
    "http://loinc.org": {"11488-4", "34797-1", "34117-2"},
}  # fmt: skip
HPO = "http://human-phenotype-ontology.org"
# Read on hl7.org/fhir/us/core/2018Jan/terminology.html
ICD = "http://hl7.org/fhir/sid/icd-10-cm"
# hl7.org/fhir/R4/valueset-ucum-common.html, and annotations, which UCUM allows anywhere.
UCUM = "http://unitsofmeasure.org"
UNITS = {
    "s", "m", "m/s", "/min", "mm[Hg]", "a", "/min/mm[Hg]",
    "{steps}", "{steps}/min", "{stands}", "{taps}", "{falls}",
}  # fmt: skip
SIDES = {"right": ("R", "HP:0012834", "RIGHT"), "left": ("L", "HP:0012835", "LEFT")}
_VALUES = {
    "grade": "valueInteger", "yesno": "valueBoolean", "choice": "valueCodeableConcept",
    "count": "valueQuantity", "number": "valueQuantity",
}  # fmt: skip
_TAGS = {"div", "p", "b", "ul", "li", "table", "thead", "tbody", "tr", "th", "td"}
_XHTML = "{http://www.w3.org/1999/xhtml}"


# ---- our own checker


def faults_of(text: bytes) -> list[str]:
    """Everything that is wrong with a document."""
    bundle = json.loads(text)
    resources = [entry["resource"] for entry in bundle["entry"]]
    return [
        *_of_the_bundle(bundle, resources),
        *_of_references(bundle),
        *_of_observations(resources),
        *(fault for each in _objects(bundle) for fault in _of_codes(each)),
        *(fault for each in _objects(bundle) for fault in _of_narrative(each)),
        *(fault for each in _sections(resources[0]) for fault in _of_a_section(each)),
        *_of_emptiness(bundle, "Bundle"),
    ]


def _of_the_bundle(bundle: Json, resources: Sequence[Json]) -> Iterator[str]:
    kinds = [each["resourceType"] for each in resources]
    if bundle["type"] != "document" or kinds[0] != "Composition":
        yield "not a document that begins with its Composition"
    if kinds.count("Composition") != 1:
        yield "not one Composition"
    if not bundle.get("identifier", {}).get("system") or not bundle["identifier"].get("value"):
        yield "no identifier with system and value"
    stamp = datetime.fromisoformat(bundle["timestamp"])
    if stamp.utcoffset() is None or stamp < datetime.fromisoformat(resources[0]["date"]):
        yield "its timestamp has no offset, or is before the date of the Composition"


def _of_references(bundle: Json) -> Iterator[str]:
    held = {entry["fullUrl"]: entry["resource"] for entry in bundle["entry"]}
    if len(held) < len(bundle["entry"]):
        yield "two entries with one fullUrl"
    for url, resource in held.items():
        if url != f"urn:uuid:{resource['id']}":
            yield f"{url}: the id is another one"
        for to in referred(resource):
            if to not in held:
                yield f"{url}: refers to {to}, which is not in the document"
    reached: set[str] = set()
    ahead = [bundle["entry"][0]["fullUrl"]]
    # FHIR R4, documents: what signs or made a part of a document may be in it, and points to it.
    ahead += [url for url, each in held.items() if each["resourceType"] == "Provenance"]
    while ahead:
        url = ahead.pop()
        if url in held and url not in reached:
            reached.add(url)
            ahead += referred(held[url])
    for url in held.keys() - reached:
        yield f"{url}: a {held[url]['resourceType']} that nothing refers to"


def _of_observations(resources: Sequence[Json]) -> Iterator[str]:
    cells: Counter[tuple[str, str]] = Counter()
    for each in resources:
        if each["resourceType"] != "Observation":
            continue
        name, side = cell_of(each)
        cells[name, side] += 1
        values = [key for key in each if key.startswith("value")]
        if len(values) + ("dataAbsentReason" in each) != 1:
            yield f"{name} {side}: not one of value and dataAbsentReason"
        finding = vocabulary().get(name)
        if finding is None:
            continue
        if finding.paired != (side in SIDES):
            yield f"{name}: has {'no' if finding.paired else 'a'} side"
        if values and values != [_VALUES[finding.scale.value]]:
            yield f"{name} {side}: {values} for a {finding.scale.value}"
        if side in SIDES:
            code, term, word = SIDES[side]
            site = each["bodySite"]
            if [code, term] != [coding["code"] for coding in site["coding"]]:
                yield f"{name} {side}: its codings name another side"
            if not site["text"].startswith(f"{word} (the patient’s {side})"):
                yield f"{name} {side}: its words name another side"
    wanted = {(f.id, side.value if side else "") for f in vocabulary().values() for side in f.sides}
    if missing := wanted - cells.keys():
        yield f"without an Observation: {sorted(missing)}"
    yield from (f"{cell}: {times} Observations" for cell, times in cells.items() if times > 1)


def _of_codes(each: Json) -> Iterator[str]:
    system, code = each.get("system"), each.get("code")
    if not isinstance(code, str) or "mode" in each or "targetIdentifier" in each:
        return
    if system is None:
        return
    if system == UCUM:
        if code not in UNITS:
            yield f"{code}: not a unit"
    elif system == HPO:
        if code not in _terms() or each.get("version") != knowledge().hpo.version:
            yield f"{code}: not a term of the release"
    elif system == ICD:
        if code not in knowledge().icd.title:
            yield f"{code}: not a code that is offered"
    elif system in CODES:
        if code not in CODES[system]:
            yield f"{code}: not of {system}"
    elif system not in OURS:
        yield f"{system}: a code system that nobody knows"


@cache
def _terms() -> frozenset[str]:
    held = {term.id for group in knowledge().hpo.finding.values() for term in group}
    return frozenset(held | {term for _, term, _ in SIDES.values()})


def _of_narrative(each: Json) -> Iterator[str]:
    if "div" in each:
        for tag in ElementTree.fromstring(each["div"]).iter():
            if tag.tag.removeprefix(_XHTML) not in _TAGS or set(tag.attrib) - {"colspan"}:
                yield f"narrative: {tag.tag} {dict(tag.attrib)}"


def _of_a_section(section: Json) -> Iterator[str]:
    if not {"text", "entry", "section"} & section.keys():
        yield f"{section['title']}: says nothing"
    if "emptyReason" in section and "entry" in section:
        yield f"{section['title']}: empty and not"


def _of_emptiness(value: Any, place: str) -> Iterator[str]:
    if value in (None, "", [], {}):
        yield f"{place}: empty"
    if isinstance(value, dict | list):
        for key, held in value.items() if isinstance(value, dict) else enumerate(value):
            yield from _of_emptiness(held, f"{place}.{key}")


# ---- reading a document


def _objects(value: Any) -> Iterator[Json]:
    if isinstance(value, dict):
        yield value
        for held in value.values():
            yield from _objects(held)
    elif isinstance(value, list):
        for held in value:
            yield from _objects(held)


def _sections(composition: Json) -> Iterator[Json]:
    for section in composition["section"]:
        yield section
        yield from _sections({"section": section.get("section", [])})


def referred(resource: Json) -> list[str]:
    """Everything that a resource refers to."""
    return [each["reference"] for each in _objects(resource) if "reference" in each]


def cell_of(observation: Json) -> tuple[str, str]:
    """The finding and the side of an Observation; "" without one."""
    (name,) = [
        coding["code"]
        for coding in observation["code"]["coding"]
        if coding["system"] == terms.FINDING
    ]
    sides = {code: side for side, (code, _, _) in SIDES.items()}
    site = observation.get("bodySite")
    return name, "" if site is None else sides[site["coding"][0]["code"]]


def of_type(text: bytes, kind: str) -> list[Json]:
    """The resources of one type."""
    found = (entry["resource"] for entry in json.loads(text)["entry"])
    return [each for each in found if each["resourceType"] == kind]


def narratives(text: bytes) -> str:
    """All narrative of a document as text."""
    divs = (each["div"] for each in _objects(json.loads(text)) if "div" in each)
    return "\n".join(" ".join(ElementTree.fromstring(div).itertext()) for div in divs)


def rows_of(text: bytes) -> list[tuple[str, str, str]]:
    """The rows of all tables that have a RIGHT and a LEFT cell."""
    found = []
    for each in _objects(json.loads(text)):
        for row in ElementTree.fromstring(each.get("div", "<div/>")).iter(f"{_XHTML}tr"):
            cells = [" ".join(cell.itertext()) for cell in row.findall(f"{_XHTML}td")]
            if len(cells) == 3:
                found.append((cells[0], cells[1], cells[2]))
    return found


# ---- the two validators


@cache
def r4b(kind: str) -> Any:
    """A class of fhir.resources; what pydantic calls outdated in it is not ours to mend."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        return getattr(import_module(f"fhir.resources.R4B.{kind.lower()}"), kind)


def validate_in_python(kind: str, texts: Iterable[bytes]) -> None:
    """Let fhir.resources read them; it refuses what is not of the form."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        for text in texts:
            r4b(kind).model_validate_json(text)


def errors_in_node(texts: Sequence[bytes]) -> list[list[str]]:
    """The errors that the npm package `fhir` finds in each; the test is skipped without it."""
    if not (VALIDATOR / "node_modules" / "fhir").is_dir():
        if os.environ.get("EVENHAND_REQUIRE_ALL") == "1":
            raise AssertionError("the FHIR validator is missing: run script/bootstrap --test")
        pytest.skip("the FHIR validator is missing: run script/bootstrap --test")
    done = subprocess.run(
        ["node", "validate.js"],
        cwd=VALIDATOR,
        input=b"".join(text + b"\n" for text in texts),
        capture_output=True,
        check=True,
    )
    answers = [json.loads(line) for line in done.stdout.splitlines()]
    assert len(texts) == len(answers)
    return answers


def words(text: str) -> Counter[str]:
    """How often each word stands in a text."""
    return Counter(re.findall(r"\w+", text))
