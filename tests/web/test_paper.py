"""The blank sheet asks as the screen does, and is there for everybody."""

from io import BytesIO
from typing import Any

import tinyhtml5  # type: ignore[import-untyped]
from pypdf import PdfReader

from app.exam.vocabulary import SIDES
from app.knowledge.load import knowledge
from app.report.paper import PaperRow, blank_sheet, paper_page
from tests.web.clinic import Clinic
from tests.web.test_admin_clinic import save


def test_it_asks_for_the_same_in_the_same_order_and_words_as_the_screen(clinic: Clinic) -> None:
    """Then it is typed in from top to bottom, without searching."""
    page = paper_page("", knowledge().version)
    rows = [
        row
        for station in (page.history, *page.stations)
        for block in station.blocks
        for row in block
    ]
    on_paper = [asked for row in rows for asked in _asked_on_paper(row)]

    assert _asked_on_screen(clinic) == on_paper
    assert len(on_paper) > 100


def _asked_on_paper(row: PaperRow) -> list[tuple[str, tuple[str, ...], str]]:
    sides = [f", {side.upper()}" for side in SIDES] if row.is_paired else [""]
    return [(f"{row.label}{side}", row.marks, row.unit) for side in sides]


def _asked_on_screen(clinic: Clinic) -> list[tuple[str, tuple[str, ...], str]]:
    """Each cell that is not folded away: its name with the side, its answers, its unit."""
    root = tinyhtml5.parse(
        clinic.get(f"/exams/{clinic.new_exam()}").text, namespace_html_elements=False
    )
    groups = [each for each in root.iter("div") if each.get("class") == "group"]
    return [_cell(cell) for group in groups for cell in group.iter("fieldset")]


def _cell(cell: Any) -> tuple[str, tuple[str, ...], str]:
    answers = [each for each in cell.iter("label") if "answer" in each.get("class", "").split()]
    return (
        cell.find("legend").text,
        tuple(_said(each.find("span")) for each in answers),
        "".join(each.text or "" for each in cell.iter("span") if each.get("class") == "unit"),
    )


def _said(face: Any) -> str:
    """What an answer shows, without its key and what is only spoken."""
    tails = [face.text, *(each.tail for each in face if each.get("class") == "key")]
    return "".join(each or "" for each in tails).strip()


def test_the_screen_says_the_same_of_a_station_as_the_paper(clinic: Clinic) -> None:
    """What stands beside the cells has one name, too."""
    screen = clinic.get(f"/exams/{clinic.new_exam()}").text
    paper = " ".join(
        " ".join(each.extract_text().split())
        for each in PdfReader(BytesIO(clinic.get("/paper").content)).pages
    )

    for words in (
        "Rest of this station normal",
        "cannot be tested, because",
        "Taken now, one a line. Empty means that nobody asked.",
        "takes no medicines",
    ):
        assert words in screen, words
        assert words in paper, words


def test_it_is_there_for_everybody_and_bears_the_clinics_name(clinic: Clinic) -> None:
    """Also for who cannot sign in; the worklist leads to it."""
    save(clinic, name="Hillside Practice")
    answer = clinic.get("/paper")
    nobody = clinic.other_browser(None).get("/paper")

    assert (200, "application/pdf") == (answer.status_code, answer.headers["content-type"])
    assert blank_sheet("Hillside Practice", knowledge().version) == answer.content
    assert answer.content == nobody.content
    assert 'href="/paper"' in clinic.get("/").text
