"""The PDF, read back: what it says, on which page, and on which side."""

import re

import pytest

from app.assess.words import DISCLAIMER, side_words
from app.exam.vocabulary import Side, vocabulary
from app.knowledge.load import knowledge
from app.report.pdf import _laid_out, pdf, print_page
from tests.report.reading import (
    ROOT,
    SAMPLES,
    cells_by_side,
    pages,
    rendered,
    words_of,
)
from tests.report.samples import (
    emergency_exam,
    mirrored,
    one_sided_exam,
    read,
    report,
)
from tests.sampling import sampled

STATES = {"signed": "SIGNED 03-Feb-2026", "amended": "AMENDED 06-Feb-2026"}

# ---- every page


@pytest.mark.parametrize("name", sampled(list(SAMPLES), 2))
def test_every_page_names_the_person_the_state_and_its_place(name: str) -> None:
    """A single sheet that falls out of the chart must still be usable, and say if it is signed."""
    found = SAMPLES[name]()
    texts = pages(name)

    for number, text in enumerate(texts, start=1):
        assert STATES.get(name, "DRAFT not signed") in text
        assert 1 == len(re.findall("DRAFT|SIGNED|AMENDED", text))
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


def test_an_exam_that_is_a_little_longer_is_set_smaller() -> None:
    """A third page with three lines on it gets lost."""
    page = print_page(SAMPLES["questioned"](), knowledge())

    assert len(_laid_out("print", page).pages) == 3
    assert len(pages("questioned")) == 2


def test_a_long_grid_begins_on_a_page_of_its_own() -> None:
    """As long as the summary fills one page."""
    first, second, *more = pages("whole")

    assert "Full grid" not in first
    assert second.index("Full grid") < second.index("Hand tremor at rest")
    assert more


def test_after_a_long_summary_the_grid_follows_at_once() -> None:
    """Else a page could hold the signature alone."""
    begins = next(text for text in pages("nasty") if "Full grid" in text)

    assert begins.index("Impression and plan") < begins.index("Full grid")


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


def test_the_clinics_pathways_stand_beside_their_warning_and_their_step() -> None:
    """Whoever holds the page knows whom to call; where the clinic set none it reads as before."""
    set_here = {
        "cord_compression": "Registrar on call, 4417.\nThen the scanner, 4420.",
        "short_course": "Letter to neurology.",
        "emergency_transfer": "Ambulance desk <7070>",
        "refer_neurology": "Not for this\u202e page alone",
    }
    (text, _) = words_of(pdf(report(emergency_exam(), pathways=set_here), knowledge()))
    (before, _) = pages("emergency")

    for words in (
        "[1, 2, 3] Clinic’s pathway Registrar on call, 4417. / Then the scanner, 4420. Because",
        "consider imaging and referral soon. [1] Clinic’s pathway Letter to neurology. Because",
        "by the local emergency pathway [1]. Clinic’s pathway Ambulance desk <7070> Consider",
        "referral to neurology [1]. Clinic’s pathway Not for this page alone Consider",
    ):
        assert words in text
    assert "Clinic’s pathway" not in before


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
    assert sorted(str(each.number) for each in page.sources) == sorted(
        number for each in page.checked for number in each.numbers.split(", ")
    )
    assert "Read in the source" in {each.standing for each in page.checked}
    assert "no published source" in " ".join(pages("normal"))


# ---- the grid


def test_the_grid_holds_the_quick_pass_and_whatever_else_was_recorded() -> None:
    """Every finding of the quick pass, also where nobody looked; others only where recorded."""
    text = pages("one_sided")[1]
    grid = text[text.index("Full grid") : text.index("Not examined beyond")]

    wanted = [each for each in vocabulary().values() if each.core]

    # Details that nobody needed share a row, in which the name of the limb stands once.
    assert [] == [
        each.label
        for each in wanted
        if (each.label.rpartition(": ")[2] if each.detail_of else each.label) not in grid
    ]
    assert "Vertical gaze normal" in grid
    assert "Romberg stance" not in grid


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
