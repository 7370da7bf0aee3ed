"""What an archive and a screen reader ask of the file, and what travels inside it.

veraPDF, which checks PDF/A and PDF/UA whole, is not among the tests' packages. Checked here: the
file's form by qpdf, the tags by the package pdfua, and the rest rule by rule.
"""

import json
import re
import subprocess
from functools import cache
from io import BytesIO
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import pdfua
import pikepdf

from app.assess.assessment import as_text
from app.exam.reading import parse_exam
from app.exam.record import Exam
from app.knowledge.load import knowledge
from app.report.attached import Attached, attached_files
from app.report.fhir.document import document
from app.report.page import ReportInput
from app.report.pdf import pdf, print_page
from tests.report.reading import SAMPLES, words_of
from tests.report.samples import one_sided_exam, report, signed_report

NAMES = {
    "rdf": "http://www.w3.org/1999/02/22-rdf-syntax-ns#",
    "a": "http://www.aiim.org/pdfa/ns/id/",
    "ua": "http://www.aiim.org/pdfua/ns/id/",
    "schema": "http://www.aiim.org/pdfa/ns/schema#",
}


RECORDED = ("R. Okafor, nurse: History; Medicines", "Dr I. Brandt, physician: Tone")


def found() -> ReportInput:
    """A signed exam, to be sealed."""
    return signed_report(one_sided_exam(), recorded=RECORDED, sealed_by="Seal of A")


@cache
def made() -> tuple[bytes, tuple[Attached, ...]]:
    """The same as a file with everything attached; rendered once for all that is asked of it."""
    attached = attached_files(found(), knowledge())
    return pdf(found(), knowledge(), attached), attached


def opened() -> pikepdf.Pdf:
    """The same, opened."""
    return pikepdf.open(BytesIO(made()[0]))


def test_the_file_names_the_archive_profile_and_the_one_for_screen_readers() -> None:
    """Both in one block: a second one would be no metadata to a validator."""
    with opened() as file:
        xml = ElementTree.fromstring(file.Root.Metadata.read_bytes())
    (block,) = xml.findall("rdf:RDF", NAMES)
    attributes = {key: value for each in block for key, value in each.attrib.items()}

    assert ("3", "A") == (
        attributes[f"{{{NAMES['a']}}}part"],
        attributes[f"{{{NAMES['a']}}}conformance"],
    )
    assert ["1"] == [each.text for each in block.iter(f"{{{NAMES['ua']}}}part")]
    # PDF/A wants a description of each schema that it does not know itself.
    described = [each.text for each in block.iter(f"{{{NAMES['schema']}}}namespaceURI")]
    assert [NAMES["ua"]] == described


def test_what_both_profiles_ask_is_in_the_file() -> None:
    """A colour profile, tags, a language, a title that is shown; nothing that runs."""
    with opened() as file:
        root: Any = file.Root
        (intent,) = root.OutputIntents

        assert "/GTS_PDFA1" == intent.S
        assert b"acsp" in intent.DestOutputProfile.read_bytes()[:64]
        assert "en" == root.Lang
        assert root.MarkInfo.Marked
        assert root.ViewerPreferences.DisplayDocTitle
        assert file.docinfo["/Title"]
        assert {"/AA", "/OpenAction", "/AcroForm"}.isdisjoint(root.keys())
        assert "/Encrypt" not in file.trailer


def test_each_heading_of_a_table_says_what_it_stands_for() -> None:
    """Else a screen reader cannot tell whose value a cell holds."""
    with opened() as file:
        kinds = [
            (str(each.A.Scope), str(each.P.P.S))
            for each in file.objects
            if isinstance(each, pikepdf.Dictionary) and each.get("/S") == "/TH"
        ]

    assert {("/Column", "/THead"), ("/Row", "/TBody")} == set(kinds)


def test_two_checkers_find_no_fault(tmp_path: Path) -> None:
    """Qpdf for the form of the file; pdfua for the tags, which says itself that it is no proof."""
    file = tmp_path / "page.pdf"
    file.write_bytes(made()[0])
    checked = subprocess.run(
        ["qpdf", "--check", str(file)], capture_output=True, text=True, check=False
    )
    tagged = pdfua.validate(str(file))

    assert (0, "") == (checked.returncode, checked.stderr)
    assert [] == [(each.rule_id, each.message) for each in tagged.findings]


# ---- what travels inside


def test_the_files_inside_are_the_bytes_that_were_given() -> None:
    """With what they are, and with a time that is the page's and not the machine's."""
    content, attached = made()
    with pikepdf.open(BytesIO(content)) as file:
        assert 3 == len(file.Root.AF)
        related = {str(each.UF): str(each.AFRelationship) for each in file.Root.AF}
        held = {}
        for name, spec in file.attachments.items():
            one = spec.get_file()
            held[name] = (one.read_bytes(), one.mime_type, spec.description)
            assert "D:20260203154000Z" == str(one.obj.Params.ModDate)

    assert held == {
        each.name: (each.content, each.media_type, each.description) for each in attached
    }
    assert {
        "assessment.json": "/Data", "exam.json": "/Source", "fhir.json": "/Alternative",
    } == related  # fmt: skip
    assert list(held) == sorted(held)


def test_the_attached_exam_is_read_back_as_the_exam() -> None:
    """In the format that `evenhand assess` and /api/assess take."""
    files = {each.name: each.content for each in made()[1]}

    assert found().exam == parse_exam(files["exam.json"])
    assert as_text(found().assessment) == files["assessment.json"].decode()
    assert json.loads(files["assessment.json"])["knowledge"] == knowledge().version
    assert document(found(), knowledge()) == files["fhir.json"]


def test_the_page_names_the_files_inside_and_thanks_for_the_terms() -> None:
    """The licence of the Human Phenotype Ontology asks for its line where its codes go."""
    with_codes = words_of(made()[0])
    without = print_page(found(), knowledge())
    notice = knowledge().hpo.attribution

    assert "assessment.json, exam.json, fhir.json." in with_codes[-1]
    assert notice.replace(" ", "") in with_codes[-1].replace(" ", "").replace("-\n", "")
    assert ("", "") == (without.attached, without.notice)


# ---- page one and the small print


def test_page_one_says_how_it_began_and_page_two_who_recorded_what() -> None:
    """What a specialist asks first, and what a court asks."""
    first, second = words_of(made()[0])
    nothing = print_page(report(Exam()), knowledge())

    assert re.search(r"Onset How it began: .+; Time since the first symptom: 1\.5 years", first)
    assert f"Who recorded what {' '.join(RECORDED)}" in second
    assert "not recorded" == nothing.summary.onset


def test_the_page_says_whose_seal_the_file_carries_or_that_it_carries_none() -> None:
    """A seal is an organisation's; nobody may take it for the physician's own signature."""
    without = print_page(signed_report(one_sided_exam()), knowledge())
    draft = print_page(SAMPLES["normal"](), knowledge())

    assert (
        "This file carries the clinic’s seal (an organisation’s seal, not a person’s qualified "
        "signature): Seal of A" in words_of(made()[0])[0]
    )
    assert "This file carries no seal of the clinic." == without.seal
    assert "" == draft.seal
