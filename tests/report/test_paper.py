"""The blank sheet: what is on it, on how many pages, and that a bad copy can still be read."""

import os
import re
import subprocess
import sys
from functools import cache
from io import BytesIO
from typing import Any

from pypdf import PdfReader

from app.assess.words import DISCLAIMER
from app.exam.layout import WHOLE
from app.exam.vocabulary import vocabulary
from app.knowledge.load import knowledge
from app.report.paper import PaperPage, blank_sheet, paper_page
from tests.report.reading import ROOT, embedded, font_descriptors, words_of

CLINIC = "Hillside Practice"


@cache
def sheet() -> bytes:
    """The sheet as the clinic prints it."""
    return blank_sheet(CLINIC, knowledge().version)


def page() -> PaperPage:
    """The same in words."""
    return paper_page(CLINIC, knowledge().version)


def test_it_is_one_leaf() -> None:
    """Two pages, front and back: a third sheet would get lost."""
    assert 2 == len(PdfReader(BytesIO(sheet())).pages)


def test_each_page_has_room_for_the_patient_and_says_what_it_is() -> None:
    """A single page that falls out must still belong to somebody."""
    for number, text in enumerate(words_of(sheet()), start=1):
        for field in ("Family name, given name", "Birth date", "Chart number"):
            assert field in text
        assert DISCLAIMER in text
        assert f"knowledge {knowledge().version}" in text
        assert "0 none, 1 slight, 2 definite, 3 marked" in text
        assert f"page {number} of 2" in text


def test_it_asks_who_examined_whom_when_and_why() -> None:
    """What is asked when it is typed in; nobody remembers it then."""
    first, second = words_of(sheet())

    for field in ("Date of the exam", "Time", "Examined by (name, role)", "Sex", "Reason", CLINIC):
        assert field in first
    for field in ("Signature of who examined", "Entered by", "Entered on, at"):
        assert field in second


def test_every_finding_of_the_quick_pass_and_every_measure_is_on_it_in_order() -> None:
    """In the order of the sheet; a new finding of the quick pass finds its place by itself."""
    text = " ".join(words_of(sheet()))
    labels = [row.label for station in stations() for block in station.blocks for row in block]
    wanted = {
        finding.label
        for finding in vocabulary().values()
        if finding.core or finding.station == "measures"
    }
    places = [text.find(label, at) for label, at in zip(labels, _after(text, labels), strict=True)]

    assert wanted <= set(labels)
    assert -1 not in places
    assert sorted(places) == places


def _after(text: str, labels: list[str]) -> list[int]:
    """Where to look for each label: behind the one before."""
    starts, at = [], 0
    for label in labels:
        starts.append(at)
        at = max(at, text.find(label, at) + len(label))
    return starts


def test_each_station_says_both_sides_in_full_the_patients_right_first() -> None:
    """Also where a station goes on upon the next page; what was measured has no columns."""
    for text in words_of(sheet()):
        sides = re.findall(r"(RIGHT|LEFT) \(patient’s\)", text)

        assert ["RIGHT", "LEFT"] * (len(sides) // 2) == sides
        assert not re.search(r"\b[RL]\b", text)
    with_columns = [each for each in stations() if each.has_sides and not each.is_measured]
    told = " ".join(words_of(sheet())).count("RIGHT (patient’s)")

    assert len(with_columns) == 6
    # The fast repeated movements stand on both pages.
    assert told == len(with_columns) + 1


def test_a_detail_follows_the_sign_that_asks_for_it() -> None:
    """In small, right below it, with its words to ring."""
    rows = [row for station in stations() for block in station.blocks for row in block]
    place = next(i for i, row in enumerate(rows) if row.label == "Tremor with the arms held out")

    assert [False, True, True, False] == [row.is_detail for row in rows[place : place + 4]]
    assert ("at once", "after a delay") == rows[place + 1].marks
    assert "s" == rows[place + 2].unit


def test_the_stations_are_those_of_the_sheet() -> None:
    by_id = {station.id: station.label for station in vocabulary().stations}

    assert [by_id[name] for name in WHOLE] == [station.label for station in stations()]


def test_it_is_black_and_white() -> None:
    """A fax knows no grey."""
    colours = re.findall(r"#[0-9a-f]{3,8}", (ROOT / "static" / "paper.css").read_text("utf-8"))

    assert {"#000"} == set(colours)


def test_the_file_says_what_it_is() -> None:
    """Tagged, with its language and a title; its fonts are in it, and nothing tells when."""
    reader = PdfReader(BytesIO(sheet()))
    root: Any = reader.trailer["/Root"]

    assert "en" == root["/Lang"]
    assert root["/MarkInfo"]["/Marked"]
    assert root["/ViewerPreferences"]["/DisplayDocTitle"]
    assert "/StructTreeRoot" in root
    assert reader.metadata is not None
    assert "Motor exam, blank sheet to be filled in by hand" == reader.metadata.title
    assert reader.metadata.creation_date is None
    assert all(embedded(each) for each in font_descriptors(reader))


def test_the_same_clinic_gets_the_same_bytes_in_every_process() -> None:
    """So that a stack printed last year can be told to be this year's."""
    script = (
        "import sys\n"
        "from app.knowledge.load import knowledge\n"
        "from app.report.paper import blank_sheet\n"
        f"sys.stdout.buffer.write(blank_sheet({CLINIC!r}, knowledge().version))\n"
    )
    other = subprocess.run(
        [sys.executable, "-c", script],
        cwd=ROOT,
        env=os.environ | {"PYTHONHASHSEED": "7"},
        check=True,
        capture_output=True,
    ).stdout

    assert sheet() == other


def stations() -> list[Any]:
    """Every station on it, in order."""
    return [page().history, *page().stations]
