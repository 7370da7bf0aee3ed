"""An exam that was done on paper says so in the PDF and in the note."""

from dataclasses import replace
from datetime import timedelta

import pytest

from app.knowledge.load import knowledge
from app.report.note import MOST_WORDS, text_note
from app.report.page import Paper
from app.report.pdf import pdf, print_page
from tests.report.reading import words_of
from tests.report.samples import STARTED, nasty_report, normal_exam, report, whole_exam

PAPER = Paper("Dr Per Prøve, physician", STARTED + timedelta(hours=18, minutes=57))
SAYS = "on paper by Dr Per Prøve, physician, entered 04-Feb-2026"


def test_the_pdf_says_when_by_whom_and_when_it_was_entered() -> None:
    """In the line that says when the patient was examined; who recorded it stands behind."""
    first, _ = words_of(pdf(report(normal_exam(), paper=PAPER), knowledge()))

    assert (
        f"Examined 03-Feb-2026 14:05 UTC {SAYS} 09:02 UTC. Recorded by Nora Example, nurse" in first
    )
    assert "Born 14-Jul-1945 (80 y)" in first


def test_the_note_says_it_in_its_first_lines() -> None:
    """Whoever reads it in the chart must not take the day of typing for the day of the exam."""
    text = " ".join(text_note(report(normal_exam(), paper=PAPER), knowledge()).split())

    assert f"Motor exam of 03-Feb-2026 {SAYS}." in text


def test_nothing_else_changes() -> None:
    """Paper is one more fact about the exam, and no other report knows the word."""
    plain = report(normal_exam())
    other = print_page(replace(plain, paper=PAPER), knowledge())

    assert print_page(plain, knowledge()) == replace(other, started="03-Feb-2026 14:05 UTC")
    assert "on paper" not in text_note(plain, knowledge())


def test_the_note_stays_short_however_long_the_name_is() -> None:
    """The name of who examined is typed, and may be anything."""
    endless = Paper("Anna Berta Carla Dora Erna Frieda Gerda " * 2, PAPER.entered_at)
    for found in (report(whole_exam()), nasty_report()):
        text = text_note(replace(found, paper=endless), knowledge())

        assert len(text.split()) <= MOST_WORDS


def test_a_time_of_entering_without_its_offset_is_refused() -> None:
    with pytest.raises(ValueError, match="entered_at: a time without its offset"):
        report(normal_exam(), paper=replace(PAPER, entered_at=STARTED.replace(tzinfo=None)))
