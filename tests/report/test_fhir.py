"""The FHIR document: three validators, sides, unknown values, what was signed, the same bytes."""

import base64
import hashlib
import json
import os
import re
import subprocess
import sys
from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from datetime import timedelta
from decimal import Decimal
from typing import Any

import pytest
from hypothesis import Phase, given, settings

from app.assess.assessment import URGENCIES
from app.exam.measures import QUANTITIES
from app.exam.record import Cell, Exam
from app.exam.vocabulary import vocabulary
from app.knowledge.load import knowledge
from app.report.fhir.canonical import canonical
from app.report.fhir.conclusions import SEVERITIES
from app.report.fhir.document import document
from app.report.fhir.questionnaire import questionnaire
from app.report.fhir.terms import DOCUMENT_TYPES, UNITS
from app.report.page import ReportInput
from app.report.reviewed import By
from tests.report.fhir_rules import (
    UNITS as PINNED_UNITS,
)
from tests.report.fhir_rules import (
    cell_of,
    errors_in_node,
    faults_of,
    narratives,
    of_type,
    referred,
    rows_of,
    validate_in_python,
    words,
)
from tests.report.samples import (
    PERSON,
    SIGNATURE,
    SIGNED_AT,
    STARTED,
    amendment,
    emergency_exam,
    mirrored,
    nasty_exam,
    nasty_report,
    normal_exam,
    nurse_exam,
    one_sided_exam,
    read,
    report,
    signed_report,
)
from tests.sampling import WHOLE
from tests.strategies import exams

PAGE = b"%PDF-1.7 a page"
NURSE = By("Nora Example", "nurse", STARTED + timedelta(minutes=5))
PHYSICIAN = By("Dr Paul Example", "physician", STARTED + timedelta(minutes=20))


def told(found: ReportInput, **more: Any) -> bytes:
    """The document, with the real knowledge."""
    return document(found, knowledge(), **more)


def by_two(found: ReportInput) -> ReportInput:
    """The same, recorded by a nurse and a physician, each their part."""
    recorded = {
        cell: NURSE if vocabulary()[cell[0]].nurse else PHYSICIAN for cell in found.exam.cells
    }
    return replace(found, cell_by=recorded)


SAMPLES: dict[str, Callable[[], bytes]] = {
    "nothing": lambda: told(report(Exam())),
    "normal": lambda: told(by_two(report(normal_exam()))),
    "nurse": lambda: told(by_two(report(nurse_exam()))),
    "emergency": lambda: told(by_two(signed_report(emergency_exam()))),
    "signed": lambda: told(by_two(signed_report(one_sided_exam())), page=PAGE),
    "amended": lambda: told(
        by_two(signed_report(one_sided_exam(), amendment(1), amendment(2), amendment(3))), page=PAGE
    ),
    "in_page": lambda: told(signed_report(one_sided_exam(), amendment(1))),
    "nasty": lambda: told(nasty_report()),
}


@pytest.fixture(scope="module")
def samples() -> dict[str, bytes]:
    """Every sample, made once."""
    return {name: make() for name, make in SAMPLES.items()}


@pytest.fixture(scope="module")
def drawn() -> list[bytes]:
    """Documents of random exams in every state; 200 in the whole run."""
    made: list[bytes] = []
    states = (report, signed_report, lambda exam: signed_report(exam, amendment(1)))

    @settings(max_examples=200 if WHOLE else 10, database=None)
    @given(exams())
    def draw(exam: Exam) -> None:
        state = len(made) % 3
        made.append(told(by_two(states[state](exam)), page=PAGE if state else None))

    draw()
    return made


def observation(text: bytes, name: str, side: str = "") -> dict[str, Any]:
    """The Observation of one cell."""
    (found,) = [each for each in of_type(text, "Observation") if (name, side) == cell_of(each)]
    return found


# ---- three validators


def test_our_own_rules_hold(samples: dict[str, bytes], drawn: list[bytes]) -> None:
    """References, order, sides, value sets and units, which both validators pass over."""
    for text in (*samples.values(), *drawn):
        assert [] == faults_of(text)


def test_the_classes_of_r4b_take_them(samples: dict[str, bytes], drawn: list[bytes]) -> None:
    """They refuse a missing element, an unknown one, two values and a bad date."""
    validate_in_python("Bundle", (*samples.values(), *drawn))


def test_the_validator_of_r4_takes_them(samples: dict[str, bytes], drawn: list[bytes]) -> None:
    """It refuses a code that R4 does not have, where FHIR leaves no choice."""
    texts = (*samples.values(), *drawn)

    assert [[] for _ in texts] == errors_in_node(texts)


def broken(text: bytes) -> Iterator[tuple[str, bytes]]:
    """What one of the three must refuse, by who does."""

    def changed(change: Callable[[dict[str, Any], list[dict[str, Any]]], object]) -> bytes:
        bundle = json.loads(text)
        change(bundle, [entry["resource"] for entry in bundle["entry"]])
        return json.dumps(bundle).encode()

    yield "python", changed(lambda _, held: held[0].pop("title"))
    yield "python", changed(lambda _, held: held[1].update(nickname="x"))
    yield "node", changed(lambda _, held: held[0].update(status="signed"))
    yield "node", changed(lambda _, held: held[0]["attester"][0].update(mode="witness"))
    yield "ours", changed(lambda bundle, _: bundle.pop("identifier"))
    yield "ours", changed(lambda bundle, _: bundle["entry"].reverse())
    yield "ours", changed(lambda bundle, _: bundle["entry"].pop(1))
    yield "ours", changed(lambda _, held: held[0]["section"][0].pop("text"))
    side = next(each for each in json.loads(text)["entry"] if "bodySite" in each["resource"])
    for key in ("bodySite", "valueInteger"):
        yield (
            "ours",
            changed(
                lambda _, held, key=key: next(  # type: ignore[misc]
                    each for each in held if each["id"] == side["resource"]["id"]
                ).pop(key)
            ),
        )


def test_each_validator_refuses_what_it_is_there_for(samples: dict[str, bytes]) -> None:
    """A check that nothing can fail would prove nothing."""
    for who, text in broken(samples["signed"]):
        if who == "python":
            with pytest.raises(ValueError, match=r"title|nickname"):
                validate_in_python("Bundle", [text])
        elif who == "node":
            assert [[]] != errors_in_node([text])
        else:
            try:
                faults = faults_of(text)
            except KeyError as missing:
                faults = [str(missing)]
            assert faults


# ---- sides and values


def test_a_sign_is_one_observation_a_side() -> None:
    """The side in both tables and in words; the grade as it was given."""
    text = told(by_two(report(one_sided_exam())))
    left, right = (observation(text, "rest_tremor_hand", side) for side in ("left", "right"))

    assert (2, 0) == (left["valueInteger"], right["valueInteger"])
    assert "LEFT (the patient’s left): Hand tremor at rest" == left["bodySite"]["text"]
    assert ["L", "HP:0012835"] == [each["code"] for each in left["bodySite"]["coding"]]
    assert "HP:0002322" in [each["code"] for each in left["code"]["coding"]]
    assert "2 definite" == left["interpretation"][0]["text"]
    assert ("Hand tremor at rest", "none", "definite") in rows_of(text)
    assert b"<th>RIGHT (the patient\xe2\x80\x99s right)</th><th>LEFT" in text


def test_a_number_stays_as_it_was_recorded() -> None:
    """5.60 s is not 5.6 s: the digits say how it was measured."""
    exam = read({"walk_m": Decimal("4.48"), "walk_s": Decimal("5.60"), "taps_10s": {"left": 22}})
    text = told(report(exam))

    assert b'"valueQuantity":{"value":5.60,"unit":"s"' in text
    speed = observation(text, "walking_speed_m_per_s")
    assert {"value": 0.8, "unit": "m/s"}.items() <= speed["valueQuantity"].items()
    assert 2 == len(speed["derivedFrom"])
    taps = observation(text, "taps_10s", "left")["valueQuantity"]
    assert (22, "{taps}") == (taps["value"], taps["code"])


def test_a_choice_has_the_term_of_its_value_alone() -> None:
    """A broad base is the ontology's term; a normal one is not the term with a value."""
    wide, normal = (told(report(read({"base": value}))) for value in ("wide", "normal"))

    for text, terms in ((wide, ["HP:0002136"]), (normal, [])):
        base = observation(text, "base")
        codes = [each["code"] for each in base["valueCodeableConcept"]["coding"]]
        assert terms == [code for code in codes if code.startswith("HP:")]
        assert 1 == len(base["code"]["coding"])


def test_what_has_no_value_says_why_and_is_never_normal() -> None:
    """Four reasons: not examined, not asked, not needed, cannot be tested."""
    text = told(
        report(
            read(
                {
                    "finger_tap_slow": {"right": {"untestable": "arthritis"}},
                    "arm_resistance": {"left": 0},
                }
            )
        )
    )

    for name, side, code, says in (
        ("finger_tap_slow", "right", "unknown", "Cannot be tested: arthritis"),
        ("finger_tap_slow", "left", "not-performed", "Not examined"),
        ("hx_unsteady", "", "not-asked", "Not asked"),
        ("arm_resistance_speed", "left", "not-applicable", "Not needed"),
    ):
        each = observation(text, name, side)
        assert code == each["dataAbsentReason"]["coding"][0]["code"]
        assert each["dataAbsentReason"]["text"].startswith(says)
        assert "interpretation" not in each
    empty = of_type(told(report(Exam())), "Observation")
    assert all("dataAbsentReason" in each for each in empty)


def swapped(text: str) -> str:
    """A text with every word that names a side changed over."""
    pairs = {"RIGHT": "LEFT", "LEFT": "RIGHT", "right": "left", "left": "right"}
    return re.sub(r"\b(?:RIGHT|LEFT|right|left)\b", lambda found: pairs[found[0]], text)


# Links to other resources, whose ids name a side, and what names the side itself.
NAMES_A_SIDE = {"id", "bodySite", "hasMember"}


# Without shrinking, which takes minutes here and shows little more.
@settings(max_examples=40 if WHOLE else 8, phases=(Phase.explicit, Phase.generate))
@given(exams())
def test_changing_sides_changes_exactly_the_sides(exam: Exam) -> None:
    """Each Observation, reference and code moves to the other side, and nothing else does."""
    for original in (by_two(report(exam)), by_two(signed_report(exam, amendment(1)))):
        other = replace(
            mirrored(original),
            cell_by={over(cell): by for cell, by in original.cell_by.items()},
            confirmed=tuple(replace(each, cell=over(each.cell)) for each in original.confirmed),
        )
        here, there = told(original), told(other)

        twins = {cell_of(each): each for each in of_type(there, "Observation")}
        for each in of_type(here, "Observation"):
            twin = twins[turned(cell_of(each))]
            assert each.keys() == twin.keys()
            for key in each.keys() - NAMES_A_SIDE:
                assert each[key] == twin[key], (cell_of(each), key)
        assert cited(here) == {(who, *turned(cell)) for who, *cell in cited(there)}
        assert words(narratives(here)) == words(swapped(narratives(there)))
        assert rows_of(here) == [(label, right, left) for label, left, right in rows_of(there)]


def over(cell: Cell) -> Cell:
    """A cell on the other side."""
    return cell[0], cell[1].other if cell[1] else None


def cited(text: bytes) -> set[tuple[str, str, str]]:
    """Which conclusion, section and finding refers to which cell."""
    bundle = json.loads(text)
    cells = {
        entry["fullUrl"]: cell_of(entry["resource"])
        for entry in bundle["entry"]
        if entry["resource"]["resourceType"] == "Observation"
    }
    holders = [
        (
            entry["resource"]["resourceType"] + str(entry["resource"].get("code", "")),
            entry["resource"],
        )
        for entry in bundle["entry"]
        if entry["resource"]["resourceType"]
        in ("DetectedIssue", "RiskAssessment", "ClinicalImpression")
    ]
    holders += [(each["title"], each) for each in bundle["entry"][0]["resource"]["section"]]
    return {(who, *cells[to]) for who, each in holders for to in referred(each) if to in cells}


def turned(cell: Sequence[str]) -> tuple[str, str]:
    """A cell on the other side."""
    name, side = cell
    return name, {"right": "left", "left": "right"}.get(side, side)


# ---- what it adds up to


def test_conclusions_point_to_what_they_rest_on() -> None:
    """Every warning, pattern and the falls group, with evidence that is in the document."""
    found = by_two(signed_report(emergency_exam()))
    text = told(found)
    issues = {each["code"]["coding"][0]["code"]: each for each in of_type(text, "DetectedIssue")}
    (impression,), (falls,) = of_type(text, "ClinicalImpression"), of_type(text, "RiskAssessment")

    raised = [each for each in found.assessment.warnings if each is not found.assessment.fall_risk]
    assert {each.id for each in raised} == issues.keys()
    assert "high" == issues["cord_compression"]["severity"]
    assert 4 <= len(issues["cord_compression"]["evidence"][0]["detail"])
    assert "Acknowledged" in issues["cord_compression"]["mitigation"][0]["action"]["text"]
    assert [each.id for each in found.assessment.listed] == [
        each["itemCodeableConcept"]["coding"][0]["code"] for each in impression["finding"]
    ]
    assert "For: " in impression["finding"][0]["basis"]
    assert found.impression == impression["summary"]
    assert knowledge().fall_risk.caveat in [each["text"] for each in falls["note"]]
    assert set(URGENCIES) == set(SEVERITIES)


def test_codes_are_there_where_the_physician_chose_them() -> None:
    """Beside the patterns, with their titles; nothing is coded by the program."""
    text = told(signed_report(one_sided_exam(), codes=("G20.C",), for_patient="Call us."))
    (impression,) = of_type(text, "ClinicalImpression")
    systems = [each["itemCodeableConcept"]["coding"][0] for each in impression["finding"]]

    assert [] == faults_of(text)
    assert ["G20.C"] == [each["code"] for each in systems if each["system"].endswith("icd-10-cm")]
    assert "For the patient: Call us." in narratives(text).replace("  ", " ")
    assert b"icd-10-cm" not in told(signed_report(one_sided_exam()))


def test_the_next_steps_and_their_decisions_are_said() -> None:
    """They are no orders, and so a section in words and nothing else."""
    found = signed_report(one_sided_exam())
    text = narratives(told(found))

    for step in found.assessment.next_steps:
        assert knowledge().steps[step.id].says in text
    assert "Declined. Reason: was done last year" in text


# ---- who and what was signed


def test_the_state_and_who_vouches_for_it(samples: dict[str, bytes]) -> None:
    """A draft has no legal attester; the physician signs; the nurse vouches for a part."""
    states = {}
    for name, text in samples.items():
        (composition,) = of_type(text, "Composition")
        modes = [each["mode"] for each in composition.get("attester", ())]
        states[name] = (composition["status"], modes)
        assert modes.count("legal") == len(of_type(text, "Provenance"))

    assert ("preliminary", []) == states["nothing"]
    assert ("preliminary", ["professional"]) == states["nurse"]
    assert ("final", ["legal", "professional"]) == states["signed"]
    assert ("amended", ["legal"] * 4 + ["professional"]) == states["amended"]


def test_a_signature_is_told_with_its_time_and_hash(samples: dict[str, bytes]) -> None:
    """Whose it is, when, of what; and that it is the author's."""
    (made,) = of_type(samples["signed"], "Provenance")
    (composition,) = of_type(samples["signed"], "Composition")

    assert SIGNED_AT.isoformat() == made["recorded"] == composition["attester"][0]["time"]
    assert "1.2.840.10065.1.12.1.1" == made["signature"][0]["type"][0]["code"]
    assert SIGNATURE.content_sha256 == made["entity"][0]["what"]["identifier"]["value"]
    assert 2 == len(made["target"])


def test_the_page_is_in_it_byte_for_byte(samples: dict[str, bytes]) -> None:
    """With SHA-1 as R4 asks, and SHA-256 beside it; none within the page itself."""
    (held,) = of_type(samples["signed"], "DocumentReference")
    attached = held["content"][0]["attachment"]

    assert base64.b64decode(attached["data"]) == PAGE
    assert len(PAGE) == attached["size"]
    assert hashlib.sha1(PAGE).digest() == base64.b64decode(attached["hash"])
    assert hashlib.sha256(PAGE).hexdigest() == held["identifier"][0]["value"]
    assert [] == of_type(samples["in_page"], "DocumentReference")


def test_an_amendment_stands_beside_what_was_signed(samples: dict[str, bytes]) -> None:
    """Its text first, by whom; it appends to each document before it, which stays."""
    (composition,) = of_type(samples["amended"], "Composition")
    signed, amended = (json.loads(samples[name]) for name in ("signed", "amended"))

    assert ["Amendment 3", "Amendment 2", "Amendment 1"] == [
        section["title"].partition(":")[0] for section in composition["section"][:3]
    ]
    assert signed["identifier"] == composition["relatesTo"][0]["targetIdentifier"]
    assert ["appends"] * 3 == [each["code"] for each in composition["relatesTo"]]
    assert amended["identifier"] != signed["identifier"]
    (original,) = of_type(samples["signed"], "Composition")
    assert original["identifier"] == composition["identifier"]
    assert "The left foot was seen too." in narratives(samples["amended"])


def test_who_recorded_a_finding_and_when(samples: dict[str, bytes]) -> None:
    """Each cell by itself, for parts of an exam are done by different people."""
    each = observation(samples["signed"], "rest_tremor_hand", "left")
    roles = {f"urn:uuid:{it['id']}": it for it in of_type(samples["signed"], "PractitionerRole")}

    assert PHYSICIAN.at.isoformat() == each["issued"]
    assert "physician" == roles[each["performer"][0]["reference"]]["code"][0]["text"]


# ---- the bytes


def test_the_same_exam_gives_the_same_bytes_in_another_process(samples: dict[str, bytes]) -> None:
    """Hash seeds order sets and dictionaries differently; nothing of that may show."""
    code = (
        "import hashlib; from tests.report.test_fhir import SAMPLES, questions;"
        "print(*(hashlib.sha256(each).hexdigest() for each in"
        " (SAMPLES['amended'](), SAMPLES['nasty'](), questions())))"
    )
    seed = "7" if os.environ.get("PYTHONHASHSEED") != "7" else "8"
    done = subprocess.run(
        [sys.executable, "-c", code],
        env=os.environ | {"PYTHONHASHSEED": seed},
        capture_output=True,
        check=True,
        text=True,
    )
    here = (samples["amended"], samples["nasty"], questions())

    assert [hashlib.sha256(each).hexdigest() for each in here] == done.stdout.split()


def questions() -> bytes:
    """The Questionnaire."""
    return questionnaire(knowledge())


def test_a_float_is_refused() -> None:
    """Its text would depend on how it was worked out."""
    with pytest.raises(TypeError, match="float"):
        canonical({"value": 0.1})


def test_markup_and_control_characters_stay_text(samples: dict[str, bytes]) -> None:
    """Whatever somebody typed is read back as they typed it, and is never a tag."""
    text = samples["nasty"].decode()
    said = narratives(samples["nasty"])

    assert "<script" not in text
    assert "<script>alert(1)</script>" in said
    assert '<a href="file:///etc/passwd">x</a>' in said
    assert not re.search(r"[\x00-\x1f\u202a-\u202e\ufffe\uffff]", text)
    everywhere = replace(
        signed_report(nasty_exam(), amendment(1, text="<b>1</b> & \ufffe2", reason="<i>r</i>")),
        patient=replace(PERSON, family_name="<u>N</u>", given_name="\u202eb\uffff"),
        impression="<p>one</p>\n&amp; two",
        plan="<br/>",
    )
    made = told(everywhere)
    assert [] == faults_of(made)
    validate_in_python("Bundle", [made])
    for typed in ("<b>1</b> & 2", "<i>r</i>", "<p>one</p>", "&amp; two", "<br/>"):
        assert typed in narratives(made)
    assert "<u>N</u>" == of_type(made, "Patient")[0]["name"][0]["family"]


# ---- tables


def test_every_unit_is_in_the_table() -> None:
    """A unit that has no UCUM code would stop the document of whoever measured it."""
    used = {each.unit for each in vocabulary().values() if each.scale in ("count", "number")}
    used |= {each.unit for each in QUANTITIES.values()}

    assert used == UNITS.keys()
    assert PINNED_UNITS == set(UNITS.values())


def test_the_clinic_chooses_the_type() -> None:
    """Three of LOINC's document types; another one is refused."""
    for code in DOCUMENT_TYPES:
        (composition,) = of_type(told(report(Exam(), document_type=code)), "Composition")
        assert code == composition["type"]["coding"][0]["code"]
    with pytest.raises(KeyError):
        told(report(Exam(), document_type="57133-1"))


def test_the_sources_of_the_codes_are_named(samples: dict[str, bytes]) -> None:
    """HPO asks for its words and its release; there is no SNOMED CT anywhere."""
    for text in samples.values():
        assert knowledge().hpo.attribution in narratives(text)
        assert b"snomed" not in text.lower()
