"""The PDF as a file: fonts, tags, the same bytes, its places on paper, and what it may reach."""

import os
import re
import subprocess
import sys
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from io import BytesIO
from typing import Any

import pytest
from markupsafe import Markup
from pypdf import PdfReader
from weasyprint import HTML
from weasyprint.urls import FatalURLFetchingError

from app.knowledge.load import knowledge
from app.report import pdf as module
from app.report.pdf import NotServed, bundled, pdf, print_page
from tests.report.reading import (
    ROOT,
    SAMPLES,
    boxes,
    embedded,
    font_descriptors,
    opened,
    pages,
    rendered,
    words_of,
)
from tests.report.samples import (
    PERSON,
    PRINTED,
    normal_exam,
    one_sided_exam,
    report,
)


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
        "from app.report.attached import attached_files\n"
        "from app.report.pdf import pdf\n"
        "from tests.report.samples import one_sided_exam, report\n"
        "found = report(one_sided_exam(), demo=True, bulk_stations=('rest', 'tone'))\n"
        "note = text_note(found, knowledge()).encode()\n"
        "page = pdf(found, knowledge(), attached_files(found, knowledge()))\n"
        "print(hashlib.sha256(page + note).hexdigest())\n"
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
    assert "Clinic’s pathway <i>ward</i> WWW" in text
    assert "/Annots" not in opened("nasty").pages[0]


def test_no_letter_of_a_name_reaches_the_log(
    capfd: pytest.CaptureFixture[str], caplog: pytest.LogCaptureFixture
) -> None:
    """A letter that no font has is a warning to WeasyPrint, and part of a name to us."""
    person = replace(PERSON, family_name="\N{EGYPTIAN HIEROGLYPH A001}")
    pdf(report(normal_exam(), patient=person), knowledge())

    assert ("", "") == capfd.readouterr()
    assert [] == caplog.records


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
    fetcher, fonts, _ = module._fetcher_fonts_styles()

    with pytest.raises(NotServed):
        bundled(url)
    with pytest.raises(FatalURLFetchingError):
        HTML(string=f'<link rel="stylesheet" href="{url}">', url_fetcher=fetcher).render(
            font_config=fonts
        )


def test_a_page_that_asks_for_more_is_refused_as_an_ordinary_error() -> None:
    """WeasyPrint's own error would pass every handler of a web server and end its thread."""
    page = print_page(report(normal_exam()), knowledge())
    asking = replace(page, clinic=Markup('<img src="http://127.0.0.1/x.png" alt="">'))

    with pytest.raises(NotServed, match="only bundled fonts and styles are served"):
        module._laid_out("print", asking)


def test_a_bundled_font_is_served() -> None:
    """Else the test above would prove nothing."""
    font = ROOT / "static" / "fonts" / "source-sans-3-regular.woff2"

    assert font == bundled(font.as_uri())


# ---- what is refused, and what is kept


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
