"""Names in the world's scripts: printed with the bundled typeface, or named as missing."""

import subprocess
from dataclasses import replace

import pytest
from fontTools.ttLib import TTFont

from app.knowledge.load import knowledge
from app.report.letters import missing_scripts
from app.report.pdf import pdf, print_page
from tests.report.reading import ROOT, words_of
from tests.report.samples import PERSON, normal_exam, report

FONTS = sorted((ROOT / "static" / "fonts").glob("*.woff2"))


@pytest.mark.parametrize(
    ("name", "missing"),
    [
        ("Παπαδόπουλος", ()),
        ("Щербакова", ()),
        # Several marks on one letter, and a letter that exists only with its mark apart.
        ("Nguyễn Ẅ Ż̂", ()),
        ("محمد", ("Arabic",)),
        ("王小明", ("Chinese characters",)),
        ("さくら 김", ("Hangul", "Hiragana")),
        ("כהן", ("Hebrew",)),
        ("สมชาย", ("Thai",)),
        ("A 🙂", ("pictures and other signs",)),
        ("a\u200d\ufe0f\n", ()),
    ],
)
def test_a_script_that_the_typeface_lacks_is_named(name: str, missing: tuple[str, ...]) -> None:
    """By the typeface's own table of letters."""
    assert missing == missing_scripts([name])


def test_each_weight_holds_the_same_letters() -> None:
    """One of them is asked for all."""
    held = []
    for file in FONTS:
        with TTFont(file) as font:
            held.append(frozenset(font.getBestCmap()))

    assert 1 < len(held)
    assert 1 == len(set(held))


def test_a_greek_name_is_printed_and_an_arabic_one_is_said_to_be_missing() -> None:
    """Wherever it stands: in the head of each page, in the reason, or in what somebody wrote."""
    greek = report(normal_exam(), patient=replace(PERSON, family_name="Παπαδόπουλος"))
    first = words_of(pdf(greek, knowledge()))[0]
    arabic = report(normal_exam(), patient=replace(PERSON, given_name="محمد"), plan="王")

    assert "ΠΑΠΑΔΌΠΟΥΛΟΣ, Maria Elena" in first
    assert "typeface" not in first
    assert print_page(arabic, knowledge()).lacks.startswith(
        "The typeface of this page holds none of: Arabic, Chinese characters."
    )
    assert "typeface of this page holds none of: Arabic" in _text(pdf(arabic, knowledge()))


def _text(content: bytes) -> str:
    read = subprocess.run(
        ["pdftotext", "-f", "1", "-l", "1", "-", "-"],
        input=content,
        check=True,
        capture_output=True,
    )
    return " ".join(read.stdout.decode(errors="replace").split())
