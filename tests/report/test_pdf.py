"""The PDF, read back: what stands on every page, and what the file is made of."""

import os
import re
import subprocess
import sys
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from functools import cache
from io import BytesIO
from pathlib import Path
from typing import Any

import pytest
from pypdf import PdfReader
from weasyprint import HTML
from weasyprint.urls import FatalURLFetchingError

from app.assess.words import DISCLAIMER, side_words
from app.exam.vocabulary import Side, vocabulary
from app.knowledge.load import knowledge
from app.report import pdf as module
from app.report.pdf import NotServed, bundled, pdf, print_page
from tests.report.samples import (
    PERSON,
    PRINTED,
    emergency_exam,
    mirrored,
    nasty_report,
    normal_exam,
    nurse_exam,
    one_sided_exam,
    read,
    report,
)

ROOT = Path(__file__).parents[2]
SAMPLES = {
    "normal": lambda: report(normal_exam()),
    "one_sided": lambda: report(one_sided_exam(), demo=True, bulk_stations=("rest", "tone")),
    "nurse": lambda: report(nurse_exam()),
    "emergency": lambda: report(emergency_exam()),
    "nasty": nasty_report,
}


@cache
def rendered(name: str) -> bytes:
    """One sample as PDF; rendering takes longer than all that is asked of it."""
    return pdf(SAMPLES[name](), knowledge())


def opened(name: str) -> PdfReader:
    """A sample, opened."""
    return PdfReader(BytesIO(rendered(name)))


def words_of(content: bytes) -> list[str]:
    """The text of each page with its line breaks evened out."""
    pages = PdfReader(BytesIO(content)).pages
    return [" ".join(page.extract_text().split()) for page in pages]


def pages(name: str) -> list[str]:
    """The text of each page of a sample.

    A glyph that no font has makes WeasyPrint write an encoding that pypdf 7.1 cannot read, so the
    nasty sample, which has some, is read by another reader.
    """
    if name != "nasty":
        return words_of(rendered(name))
    return [" ".join(page.split()) for page in poppler("nasty").split("\f")[:-1]]


def poppler(name: str, *options: str) -> str:
    """What pdftotext reads in a sample; it tears pictograms apart where text runs right to left."""
    command = ["pdftotext", *options, "-", "-"]
    read = subprocess.run(command, input=rendered(name), check=True, capture_output=True)
    return read.stdout.decode(errors="replace")


# ---- every page


@pytest.mark.parametrize("name", SAMPLES)
def test_every_page_names_the_person_the_state_and_its_place(name: str) -> None:
    """A single sheet that falls out of the chart must still be usable, and never look signed."""
    found = SAMPLES[name]()
    texts = pages(name)

    for number, text in enumerate(texts, start=1):
        assert "DRAFT not signed" in text
        assert f"page {number} of {len(texts)}" in text
        assert f"Born {'14-Jul-1945 (80 y)' if name != 'nasty' else '02-Jan-1905 (121 y)'}" in text
        assert DISCLAIMER in text
        assert f"Exam c0ffee12, knowledge {knowledge().version}" in text
        assert ("DEMONSTRATION, invented data" in text) is found.demo


@pytest.mark.parametrize("name", ["normal", "one_sided", "nurse", "emergency"])
def test_both_identifiers_stand_on_every_page(name: str) -> None:
    """Name with birth date, and the chart number with its label."""
    for text in pages(name):
        assert "KARLSSON, Maria Elena" in text
        assert "female, chart number A-2041-77" in text


@pytest.mark.parametrize("name", ["normal", "one_sided", "nurse", "emergency"])
def test_a_typical_exam_is_two_pages(name: str) -> None:
    """The summary on the first, the full grid on the second."""
    first, second = pages(name)

    assert "Impression and plan" in first
    assert "Full grid" not in first
    assert "Full grid" in second


def test_sides_are_named_on_every_page_and_never_by_a_letter() -> None:
    """In full capitals, the patient's, RIGHT first."""
    for text in pages("one_sided"):
        assert "RIGHT (patient’s) LEFT (patient’s)" in text
        assert [] == re.findall(r"\b[LR]\b", text)


# ---- page one


def test_page_one_tells_what_a_specialist_asks_first() -> None:
    """Who, why, what it adds up to with reasons, the falls group, steps, signs, gaps."""
    (text, _) = pages("one_sided")

    assert "Example Clinic for Movement" in text
    assert "Reason Slower for a year, two falls." in text
    assert "Examined 03-Feb-2026 14:05 UTC" in text
    assert "Recorded by Nora Example, nurse; Paul Example, physician" in text
    assert "Parkinsonism: fits the pattern, with cautions; LEFT; one side more affected" in text
    assert "Against metoclopramide: can cause parkinsonism" in text
    assert "Soon, within about 2 weeks: Consider" in text
    assert knowledge().fall_risk.caveat in text
    assert "Not recognised, not checked: grandmother's tea" in text
    assert "“Rest of this station normal” was used at: At rest; Tone." in text
    assert "Name, date, signature not signed" in text


def test_an_emergency_stands_before_everything_that_was_found() -> None:
    """In its own box, with what it rests on."""
    (text, _) = pages("emergency")
    places = [
        text.index(words)
        for words in (
            "EMERGENCY, now: Possible compression of the cord",
            "A short or worsening course",
            "What it adds up to",
            "Falls group",
            "Next steps",
            "Abnormal signs by side",
            "Not examined",
        )
    ]

    assert sorted(places) == places


def test_the_nurse_page_says_what_nobody_has_examined_yet() -> None:
    """By station, in words; the medicines were not asked, which is not the same as none."""
    first, second = pages("nurse")

    assert (
        "Not examined All of: At rest; Arms held out; Finger to nose; Fast repeated movements; Tone"
        in first
    )
    assert "Medicines Not asked." in first
    assert "Hand tremor at rest not examined not examined" in second
    assert "Not examined beyond the quick pass" in second


def test_what_could_not_be_tested_keeps_its_reason() -> None:
    """On page one with the reason, in the grid in words."""
    first, second = pages("emergency")

    assert "Could not be tested Finger taps: slow (RIGHT): “arthritis”" in first
    assert "Finger taps: slow not testable 0 none" in second


def test_contradictions_are_printed_with_what_they_are_about() -> None:
    """Values are used as recorded, so the reader must see that they clash."""
    exam = read({"arm_resistance": {"right": 0}, "arm_resistance_speed": {"right": "catch"}})
    (text, _) = words_of(pdf(report(exam), knowledge()))

    assert "Contradictions Arm: resistance to passive movement, moved fast against slow" in text
    assert "(RIGHT): No resistance, but a catch." in text


def test_a_source_is_named_beside_each_statement_and_listed_with_its_standing() -> None:
    """The numbers in brackets lead to the list; what has no source says so."""
    page = print_page(report(one_sided_exam()), knowledge())
    (pattern,) = page.summary.categories

    assert "[1, 2]" == pattern.marks
    assert [1, 2] == [each.number for each in page.sources][:2]
    assert "read in the source" in {each.standing for each in page.sources}
    assert "no published source" in " ".join(pages("normal"))


# ---- the grid


def test_the_grid_holds_the_quick_pass_and_whatever_else_was_recorded() -> None:
    """Every finding of the quick pass, also where nobody looked; others only where recorded."""
    text = pages("one_sided")[1]
    grid = text[text.index("Full grid") : text.index("Not examined beyond")]

    assert [] == [
        each.label for each in vocabulary().values() if each.core and each.label not in grid
    ]
    assert "Vertical gaze normal" in grid
    assert "Romberg stance" not in grid


def placed(content: bytes, page: int) -> list[tuple[float, float, str]]:
    """Every piece of text on a page with the place where it begins."""
    found: list[tuple[float, float, str]] = []

    def visit(text: str, cm: list[float], tm: list[float], *_: object) -> None:
        if text.strip():
            x = tm[4] * cm[0] + cm[4]
            y = tm[5] * cm[3] + cm[5]
            found.append((round(x, 1), round(y, 1), text.strip()))

    PdfReader(BytesIO(content)).pages[page].extract_text(visitor_text=visit)
    return found


def cells_by_side(content: bytes, page: int) -> dict[tuple[str, str], str]:
    """Every cell of a page's tables by its row and by the heading that it stands under."""
    texts = placed(content, page)
    headings = {x: text for x, _, text in texts if text in ("RIGHT", "LEFT")}
    found = {}
    for x, y, text in texts:
        if x in headings and text not in ("RIGHT", "LEFT"):
            before = [piece for piece in texts if piece[1] == y and x - 186 < piece[0] < x]
            found[min(before)[2], headings[x]] = text
    return found


def test_a_value_stands_under_its_side() -> None:
    """RIGHT is the first column on paper, as on screen."""
    cells = cells_by_side(rendered("one_sided"), 1)

    assert "1 slight" == cells["Finger taps: slow", "RIGHT"]
    assert "2 definite" == cells["Finger taps: slow", "LEFT"]
    assert "not needed" == cells["Arm: resistance felt in", "RIGHT"]
    assert "both directions" == cells["Arm: resistance felt in", "LEFT"]


def test_a_finding_without_sides_stands_under_neither_heading() -> None:
    """A still face under RIGHT would read as the right half of the face."""
    labels = {label for label, _ in cells_by_side(rendered("one_sided"), 1)}

    assert "Hand tremor at rest" in labels
    assert "Still face" not in labels


def test_the_bar_is_as_long_as_the_grade() -> None:
    """The bar repeats the digit, so that a grade is seen before it is read."""
    style = (ROOT / "static" / "report.css").read_text(encoding="utf-8")
    lengths = dict(re.findall(r"\.grade-(\d) {\n  width: (\d+)mm;", style))

    assert {"1": "2", "2": "4", "3": "6"} == lengths


# ---- right and left


def swapped(text: str) -> str:
    """The text with its two side words changed over."""
    return re.sub(r"\b(RIGHT|LEFT)\b", lambda side: "LEFT" if side[0] == "RIGHT" else "RIGHT", text)


@pytest.mark.parametrize("name", ["one_sided", "emergency", "nurse"])
def test_a_mirrored_exam_changes_the_sides_and_nothing_else(name: str) -> None:
    """Every cell moves to the other column, every side word turns, every other word stays."""
    there, back = rendered(name), pdf(mirrored(SAMPLES[name]()), knowledge())

    for page in (0, 1):
        assert {
            (label, side_words(Side(side.lower()).other)): text
            for (label, side), text in cells_by_side(there, page).items()
        } == cells_by_side(back, page)
    assert [sorted(re.split(r"\W+", swapped(text))) for text in words_of(there)] == [
        sorted(re.split(r"\W+", text)) for text in words_of(back)
    ]


# ---- the file


@pytest.mark.parametrize("name", SAMPLES)
def test_every_font_is_in_the_file(name: str) -> None:
    """The chart's reader has none of ours; a missing font would be replaced without a word."""
    descriptors = list(font_descriptors(opened(name)))

    assert descriptors
    assert [] == [each["/FontName"] for each in descriptors if not embedded(each)]


def test_the_one_typeface_is_the_bundled_one() -> None:
    """Text in its languages needs no font of the machine that prints it."""
    names = {str(each["/FontName"]) for each in font_descriptors(opened("one_sided"))}

    assert [] == [name for name in names if "Source-Sans" not in name]


def font_descriptors(reader: PdfReader) -> Iterator[Any]:
    """Every font descriptor in the file."""
    trailer: Any = reader.trailer
    for number in range(1, int(trailer["/Size"])):
        held: Any = reader.get_object(number)
        if isinstance(held, dict) and held.get("/Type") == "/FontDescriptor":
            yield held


def embedded(descriptor: Any) -> bool:
    """Whether the font's own bytes are in the file."""
    return any(key in descriptor for key in ("/FontFile", "/FontFile2", "/FontFile3"))


def test_the_file_says_what_it_is() -> None:
    """Tagged, with its language and a title, so that a screen reader can read it aloud."""
    reader = opened("normal")
    root: Any = reader.trailer["/Root"]

    assert "en" == root["/Lang"]
    assert root["/MarkInfo"]["/Marked"]
    assert root["/ViewerPreferences"]["/DisplayDocTitle"]
    assert "/StructTreeRoot" in root
    assert reader.metadata is not None
    assert "DRAFT, motor exam of 03-Feb-2026: KARLSSON, Maria Elena" == reader.metadata.title
    assert PRINTED == reader.metadata.creation_date
    assert reader.metadata.modification_date is None


def test_the_same_exam_gives_the_same_bytes_in_every_process() -> None:
    """Also under another hash seed, so that a stored file can be told from a changed one."""
    script = (
        "import hashlib, sys\n"
        "from app.knowledge.load import knowledge\n"
        "from app.report.note import text_note\n"
        "from app.report.pdf import pdf\n"
        "from tests.report.samples import one_sided_exam, report\n"
        "found = report(one_sided_exam(), demo=True, bulk_stations=('rest', 'tone'))\n"
        "note = text_note(found, knowledge()).encode()\n"
        "print(hashlib.sha256(pdf(found, knowledge()) + note).hexdigest())\n"
    )
    seen = {
        subprocess.run(
            [sys.executable, "-c", script],
            cwd=ROOT,
            env=os.environ | {"PYTHONHASHSEED": seed},
            check=True,
            capture_output=True,
            text=True,
        ).stdout
        for seed in ("0", "1")
    }

    assert 1 == len(seen)


def test_the_same_exam_gives_the_same_bytes_twice() -> None:
    """One font configuration serves the whole process and must not remember the last exam."""
    first = pdf(SAMPLES["emergency"](), knowledge())
    other = pdf(SAMPLES["nurse"](), knowledge())
    second = pdf(SAMPLES["emergency"](), knowledge())

    assert first != other
    assert first == second


def test_several_threads_may_ask_at_once() -> None:
    """As a web server does, which calls from a pool of threads."""
    names = ("nurse", "emergency", "nurse")
    with ThreadPoolExecutor(len(names)) as pool:
        found = list(pool.map(lambda name: pdf(SAMPLES[name](), knowledge()), names))

    assert [rendered(name) for name in names] == found


def test_the_identifier_belongs_to_the_exam() -> None:
    """The same exam keeps it when its text changes; another exam has another."""
    again = pdf(report(normal_exam(), reason="Reworded."), knowledge())
    other = pdf(report(normal_exam(), exam_id="another"), knowledge())
    trailers: list[Any] = [
        PdfReader(BytesIO(content)).trailer for content in (rendered("normal"), again, other)
    ]
    first, second, third = [trailer["/ID"][0] for trailer in trailers]

    assert first == second
    assert first != third


# ---- what users type, and what a page may reach


def test_markup_that_somebody_typed_is_printed_as_text() -> None:
    """It is neither markup nor a template to us."""
    text = " ".join(pages("nasty"))

    assert '<a href="file:///etc/passwd">x</a> reason' in text
    assert "<script>alert(1)</script> 10 mg" in text
    assert "pain <b>bold</b> & {{ 7*7 }}" in text
    assert "/Annots" not in opened("nasty").pages[0]


def test_no_letter_of_a_name_reaches_the_log(
    capfd: pytest.CaptureFixture[str], caplog: pytest.LogCaptureFixture
) -> None:
    """A letter that no font has is a warning to WeasyPrint, and part of a name to us."""
    person = replace(PERSON, family_name="\N{EGYPTIAN HIEROGLYPH A001}")
    pdf(report(normal_exam(), patient=person), knowledge())

    assert ("", "") == capfd.readouterr()
    assert [] == caplog.records


@dataclass(frozen=True)
class Box:
    """One word on a page, in points from the top left."""

    text: str
    left: float
    top: float
    right: float
    bottom: float

    def covers(self, other: "Box") -> bool:
        """Whether the two stand on top of each other by more than a hair."""
        across = min(self.right, other.right) - max(self.left, other.left)
        down = min(self.bottom, other.bottom) - max(self.top, other.top)
        # Lines may share a little of their height: a box is as tall as the font's tallest letter.
        return across > 1 and down > 0.4 * min(self.bottom - self.top, other.bottom - other.top)


def boxes(name: str) -> list[list[Box]]:
    """The words of each page of a sample with their places."""
    word = re.compile(
        r'<word xMin="(.+?)" yMin="(.+?)" xMax="(.+?)" yMax="(.+?)">(.*?)</word>', re.DOTALL
    )
    return [
        [
            Box(text, float(left), float(top), float(right), float(bottom))
            for left, top, right, bottom, text in word.findall(page)
        ]
        for page in poppler(name, "-bbox").split("<page ")[1:]
    ]


@pytest.mark.parametrize("name", SAMPLES)
def test_nothing_runs_off_the_paper_or_over_its_neighbour(name: str) -> None:
    """However long a word is and whatever was typed: every word has its own place on the page."""
    width, height = 595.3, 841.9
    for words in boxes(name):
        off = [
            one.text
            for one in words
            if not (40 < one.left and one.right < width - 40 and 12 < one.top)
            or one.bottom > height - 12
        ]
        over = [
            (one.text, other.text)
            for place, one in enumerate(words)
            for other in words[place + 1 :]
            if one.covers(other)
        ]

        assert [] == off
        assert [] == over


@pytest.mark.parametrize(
    "url",
    [
        "http://127.0.0.1/x.css",
        "https://example.org/font.woff2",
        "file:///etc/passwd",
        "data:text/css,a{}",
        "ftp://example.org/x.css",
        (ROOT / "static" / ".." / "pyproject.toml").as_uri(),
        (ROOT / "static" / "fonts").as_uri() + "/%2e%2e/%2e%2e/templates/report/print.html",
        (ROOT / "static").as_uri() + "/fonts/OFL.txt",
        (ROOT / "static").as_uri() + "/missing.css",
        (ROOT / "static").as_uri().replace("file://", "file://elsewhere") + "/report.css",
    ],
)
def test_a_page_reaches_nothing_but_bundled_fonts_and_styles(url: str) -> None:
    """No network, no other file, no way around by dots, and the refusal is not passed over."""
    fetcher, fonts, _ = module._fetcher_fonts_style()

    with pytest.raises(NotServed):
        bundled(url)
    with pytest.raises(FatalURLFetchingError):
        HTML(string=f'<link rel="stylesheet" href="{url}">', url_fetcher=fetcher).render(
            font_config=fonts
        )


def test_a_bundled_font_is_served() -> None:
    """Else the test above would prove nothing."""
    font = ROOT / "static" / "fonts" / "source-sans-3-regular.woff2"

    assert font == bundled(font.as_uri())


# ---- what is refused


def test_only_a_draft_can_be_printed() -> None:
    """Neither may a draft look signed nor the other way round."""
    with pytest.raises(ValueError, match="state 'signed': only open and ready can print"):
        report(normal_exam(), state="signed")


@pytest.mark.parametrize("name", ["started_at", "printed_at"])
def test_a_time_needs_its_offset(name: str) -> None:
    """A naive time would be printed as if it were known where it was read."""
    naive = PRINTED.replace(tzinfo=None)

    with pytest.raises(ValueError, match=f"{name}: a time without its offset"):
        report(normal_exam(), **{name: naive})


def test_a_long_name_is_printed_whole_on_page_one() -> None:
    """The head of each page has room for two lines, so the rest stands below it once."""
    person = replace(PERSON, family_name="Abcdefghij" * 8)
    (first, second) = words_of(pdf(report(normal_exam(), patient=person), knowledge()))

    assert "Name in full ABCDEFGHIJ" in first
    assert "ABCDEFGHIJ" * 8 in first.replace(" ", "")
    assert "Name in full" not in second


def test_pages_are_told_everything_and_read_nothing_else() -> None:
    """The template is strict: a name that PrintPage lacks stops it, so nothing goes missing."""
    template = (ROOT / "templates" / "report" / "print.html").read_text(encoding="utf-8")
    page = print_page(report(normal_exam()), knowledge())
    read_names = set(re.findall(r"page\.(\w+)", template))

    assert read_names == set(vars(page))


def test_printing_changes_nothing_in_what_it_prints() -> None:
    """A report is a value: the note and the PDF of one request are made from the same one."""
    found = report(one_sided_exam())
    before = repr(found)
    pdf(found, knowledge())

    assert before == repr(found)
