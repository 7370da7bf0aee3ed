"""Signed and amended exams on paper and in the note: who signed what, and what was added."""

import re
from collections.abc import Callable
from dataclasses import replace
from datetime import datetime

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from app.exam.record import Exam
from app.exam.vocabulary import Side
from app.knowledge.load import knowledge
from app.report.note import MOST_WORDS
from app.report.page import ReportInput
from app.report.pdf import pdf, print_page
from app.report.reviewed import Acknowledged, By, Confirmed
from app.report.signed import Decision
from app.report.wrapping import COLUMNS, width
from tests.report.drawn import exams
from tests.report.reading import boxes, pages, words_of
from tests.report.samples import (
    REVIEWED_BY,
    SIGNATURE,
    acknowledged_in,
    amendment,
    decisions_on,
    emergency_exam,
    nasty_report,
    normal_exam,
    one_sided_exam,
    report,
    signed_report,
)
from tests.report.test_note import everything_at_once, note, paragraph, paragraphs
from tests.sampling import WHOLE

LONG = "word " * 700


# ---- no page between signed and not signed


@pytest.mark.parametrize(
    ("make", "says"),
    [
        (lambda: report(normal_exam(), state="signed"), "state 'signed': no signature"),
        (
            lambda: report(normal_exam(), state="amended", amendments=(amendment(1),)),
            "state 'amended': no signature",
        ),
        (lambda: signed_report(normal_exam(), state="open"), "state 'open': a signature"),
        (lambda: signed_report(normal_exam(), state="ready"), "state 'ready': a signature"),
        (lambda: signed_report(normal_exam(), state="amended"), "state 'amended': 0 amend"),
        (
            lambda: signed_report(normal_exam(), amendment(1), state="signed"),
            "state 'signed': 1 amendments",
        ),
        (lambda: report(normal_exam(), amendments=(amendment(1),)), "state 'open': 1 amendments"),
        (lambda: signed_report(normal_exam(), state="SIGNED"), "cannot be printed"),
        (lambda: signed_report(normal_exam(), amendment(2)), r"amendments \[2\]: not 1, 2, 3"),
        (
            lambda: signed_report(normal_exam(), amendment(2), amendment(1)),
            r"amendments \[2, 1\]: not 1, 2, 3",
        ),
        (lambda: amendment(1, kind="note"), "kind 'note': not one of"),
        (
            lambda: signed_report(normal_exam(), signature=replace(SIGNATURE, exam_id="0ther")),
            "a signature of another exam",
        ),
        (
            lambda: signed_report(
                normal_exam(), amendment(1, signature=replace(SIGNATURE, exam_id="0ther"))
            ),
            "a signature of another exam",
        ),
        (
            lambda: signed_report(normal_exam(), signature=replace(SIGNATURE, knowledge="1999")),
            "signed under knowledge 1999, but assessed under",
        ),
        (
            lambda: replace(SIGNATURE, signed_at=datetime(2026, 2, 3, 16, 2)),  # noqa: DTZ001
            "a time without its offset",
        ),
    ],
)
def test_nothing_between_signed_and_not_signed_is_printed(
    make: Callable[[], object], says: str
) -> None:
    """A draft that looks signed is worse than none; so is a signature without its exam."""
    with pytest.raises(ValueError, match=says):
        make()


# ---- on paper


def place_of(name: str, word: str) -> list[tuple[int, int]]:
    """How far from the top of each page the word of the state stands, in points."""
    found = []
    for page in boxes(name):
        (box,) = [each for each in page if each.text == word]
        found.append((round(box.top), round(box.bottom)))
    return found


def test_the_state_stands_in_the_same_place_on_every_page() -> None:
    """Who looks for DRAFT sees SIGNED and AMENDED where it was."""
    draft, signed, amended = (
        place_of(name, word)
        for name, word in (("normal", "DRAFT"), ("signed", "SIGNED"), ("amended", "AMENDED"))
    )

    assert 1 == len({*draft, *signed, *amended})
    assert (2, 2, 3) == (len(draft), len(signed), len(amended))


def test_a_signed_page_shows_all_that_the_signature_stands_for() -> None:
    """Name, role, meaning, time with offset, exam, revision, knowledge, both hashes whole."""
    first, second = pages("signed")

    assert "Signed by Dr Paul Example, physician, 03-Feb-2026 16:02 UTC+01:00" in first
    assert "Meaning I examined this person and reviewed every finding" in first
    assert f"Exam c0ffee12, revision 41, knowledge {knowledge().version}" in first
    assert f"Content SHA-256 {SIGNATURE.content_sha256}" in first
    assert f"Audit head {SIGNATURE.audit}" in first
    assert "Signed by" not in second
    assert "not signed" not in first + second


def test_a_draft_shows_no_signature() -> None:
    """The line to sign on by hand says so too."""
    for text in pages("normal"):
        assert "Signed by" not in text
        assert "SHA-256" not in text
    assert "Name, date, signature not signed" in pages("normal")[0]


def test_impression_and_plan_are_in_the_words_of_the_physician() -> None:
    """Line by line as typed; where none was written, that is said."""
    (first, _) = pages("signed")
    (empty, _) = words_of(pdf(signed_report(normal_exam(), impression="", plan=""), knowledge()))

    assert "Impression Slow and stiff on one side. No sign of another cause." in first
    assert "Plan Referral. Physiotherapy twice a week." in first
    assert "Impression None was written." in empty
    assert "Plan None was written." in empty


def test_a_draft_prints_what_was_written_so_far_and_leaves_room_to_sign() -> None:
    """The review page is a draft like any other."""
    made = report(normal_exam(), impression="Nothing found.", decisions=decisions_on(normal_exam()))
    (first, _) = words_of(pdf(made, knowledge()))

    assert "Impression Nothing found." in first
    assert "Taken over." in first
    assert "Signature Name, date, signature not signed" in first
    assert "Not decided" not in first


def test_every_step_says_what_was_decided() -> None:
    """Taken over, declined with its reason, or not decided: silence would read as agreement."""
    (first, _) = pages("signed")

    assert "before treatment is started [6]. Taken over." in first
    assert re.search(r"stopped suddenly \[\d\]. Declined: “was done last year”", first)
    assert 3 == first.count("Not decided.")


def test_a_decision_on_a_step_that_no_longer_follows_is_not_dropped() -> None:
    """It was signed with the rest."""
    found = signed_report(normal_exam())
    gone = next(
        each
        for each in knowledge().steps
        if each not in {step.id for step in found.assessment.next_steps}
    )
    page = print_page(
        replace(found, decisions=(Decision(gone, False, "settled"),)), knowledge()
    ).summary

    assert ("No longer suggested", "Declined", "settled") == (
        page.steps[-1].urgency,
        page.steps[-1].steps[0].decided,
        page.steps[-1].steps[0].reason,
    )


def test_every_page_of_an_amended_exam_sends_to_the_newest_amendment() -> None:
    """A single sheet must not be read as the last word."""
    for text in pages("amended"):
        assert (
            "Read amendment 3 first: correction of 06-Feb-2026, on page 1. "
            "Below it the exam stands as it was signed on 03-Feb-2026." in text
        )
        assert "DEMONSTRATION, invented data" in text


def test_the_newest_amendment_stands_first_and_the_original_below() -> None:
    """Each with its type, author, time, reason and signature; the exam as it was signed."""
    whole = " ".join(pages("amended"))
    places = [
        whole.index(words)
        for words in (
            "Amendment 3: correction of 06-Feb-2026 The first fall was in May, not in March.",
            "Reason the date was mistyped",
            "Signed by Dr Ana Sample, physician, 06-Feb-2026 16:02 UTC+01:00",
            f"Content SHA-256 {3:064x}",
            "Amendment 2: late entry of 05-Feb-2026 The left foot was seen too. It turned in.",
            "Amendment 1: addendum of 04-Feb-2026 The blood test came back: nothing new.",
            f"Content SHA-256 {1:064x}",
            "What it adds up to",
            "Impression Slow and stiff on one side.",
            "Signed by Dr Paul Example, physician, 03-Feb-2026 16:02 UTC+01:00",
            f"Content SHA-256 {SIGNATURE.content_sha256}",
        )
    ]

    assert sorted(places) == places


def from_the_first_section(text: str) -> str:
    """The text of a page from the first section of the exam on."""
    return text[text.index("Warnings") :]


def test_the_original_reads_the_same_below_its_amendments() -> None:
    """Nothing of what was signed is changed or left out."""
    there = print_page(signed_report(one_sided_exam()), knowledge())
    here = print_page(signed_report(one_sided_exam(), amendment(1)), knowledge())

    assert (there.summary, there.grid, there.signature) == (
        here.summary,
        here.grid,
        here.signature,
    )
    signed = from_the_first_section(pages("signed")[0])
    amended = " ".join(pages("amended"))
    assert all(sentence in amended for sentence in signed.split(". ")[:8])


def test_the_title_of_the_file_names_the_state() -> None:
    """It stands in the reader's window and in lists of files."""
    titles = [
        print_page(found, knowledge()).title.split(",")[0]
        for found in (
            report(normal_exam()),
            signed_report(normal_exam()),
            signed_report(normal_exam(), amendment(1)),
        )
    ]

    assert ["DRAFT", "SIGNED", "AMENDED"] == titles


def test_a_signed_exam_gives_the_same_bytes() -> None:
    """What is signed can be compared with what was shown."""
    made = [pdf(signed_report(emergency_exam(), amendment(1)), knowledge()) for _ in range(2)]

    assert made[0] == made[1]


def nasty_signed() -> ReportInput:
    """The nasty exam, signed and amended with the longest and strangest texts."""
    nasty = nasty_report()
    badly = replace(
        SIGNATURE,
        printed_name="<b>Dr</b> " + "W" * 80,
        meaning="{{ 7*7 }} \u202eturned\u202c " + "m" * 150,
    )
    text = "<script>alert(1)</script>\n\u202eturned\u202c\n" + "W" * 2000 + "\n" + LONG
    return replace(
        nasty,
        state="amended",
        impression=text,
        plan=text,
        signature=badly,
        amendments=tuple(
            amendment(n, text=text[:4000], reason=text[:500], signature=badly) for n in (1, 2)
        ),
        decisions=tuple(Decision(each, False, text[:500]) for each in knowledge().steps),
        acknowledged=tuple(
            Acknowledged(each, By("W w " * 20 + each, "physician", SIGNATURE.signed_at))
            for each in knowledge().warnings
        ),
        confirmed=tuple(
            Confirmed(cell, By("W w " * 20 + str(place), "physician", SIGNATURE.signed_at))
            for place, cell in enumerate(nasty.exam.cells)
        ),
    )


def test_a_nasty_signature_is_still_on_every_page() -> None:
    """Markup stays text, and however long it gets, each page says what it is."""
    nasty = nasty_signed()
    made = signed_report(
        normal_exam(),
        *nasty.amendments,
        impression=nasty.impression,
        signature=nasty.signature,
    )
    page = print_page(made, knowledge())
    texts = words_of(pdf(made, knowledge()))

    assert "\u202e" not in repr(page.amendments) + repr(page.signature) + repr(page.summary)
    for number, text in enumerate(texts, start=1):
        assert "AMENDED" in text
        assert f"page {number} of {len(texts)}" in text
    assert "<script>alert(1)</script>" in " ".join(texts)


# ---- in the note


def test_the_note_begins_with_the_state() -> None:
    """Pasted elsewhere, its first line says how far it can be relied on."""
    signed = paragraphs(note(signed_report(normal_exam())))
    amended = paragraphs(note(signed_report(normal_exam(), amendment(1), amendment(2))))
    demo = paragraphs(note(signed_report(normal_exam(), demo=True)))

    assert (
        "SIGNED by Dr Paul Example, physician, 03-Feb-2026 16:02 UTC+01:00. "
        "Motor exam of 03-Feb-2026." == signed[0]
    )
    assert (
        "AMENDED, see amendment 2 below. Signed by Dr Paul Example, physician, "
        "03-Feb-2026 16:02 UTC+01:00. Motor exam of 03-Feb-2026." == amended[0]
    )
    assert demo[0].endswith("Motor exam of 03-Feb-2026. DEMONSTRATION, invented data.")


def test_the_note_tells_the_newest_amendment_and_counts_the_others() -> None:
    """Directly below the person, before anything that it may change."""
    lines = paragraphs(note(signed_report(normal_exam(), amendment(1), amendment(2))))

    assert (
        "Amendment 2, late entry by Dr Ana Sample, physician, 05-Feb-2026 16:02 UTC+01:00: The "
        "left foot was seen too. It turned in. Reason: forgotten on the day" == lines[2]
    )
    assert "Amendments before it: 1, see the PDF" == lines[3]


def test_the_note_has_impression_plan_and_decisions() -> None:
    """In the physician's words; what was declined keeps its reason."""
    text = note(signed_report(normal_exam()))
    decided = note(signed_report(emergency_exam()))

    assert "Slow and stiff on one side. No sign of another cause." in paragraph(
        text, "Impression: "
    )
    assert "Plan: Referral. Physiotherapy twice a week." == paragraph(text, "Plan: ")
    assert paragraph(decided, "Taken over: ")
    assert "“was done last year”" in paragraph(decided, "Declined: ")
    assert "Impression: none was written." in paragraphs(
        note(signed_report(normal_exam(), impression=""))
    )
    assert [] == [each for each in paragraphs(note(report(normal_exam()))) if "Impression" in each]


def test_a_text_that_is_cut_says_so() -> None:
    """Half an impression must not read as the whole one."""
    text = note(signed_report(normal_exam(), amendment(1, text=LONG), impression=LONG, plan=LONG))

    for heading in ("Impression: ", "Plan: ", "Amendment 1, addendum by Dr Ana Sample, "):
        assert paragraph(text, heading).endswith("word… (cut, see the PDF)")
    assert_short(text)


def assert_short(text: str) -> None:
    """At most 250 words in lines of at most 80 columns."""
    assert len(text.split()) <= MOST_WORDS
    assert [] == [line for line in text.splitlines() if width(line) > COLUMNS]


@settings(max_examples=25 if WHOLE else 10, deadline=None)
@given(exams(), st.integers(0, 3), st.sampled_from(["", "Short.", LONG]))
def test_the_limit_holds_for_any_signed_exam(exam: Exam, amendments: int, words: str) -> None:
    """And neither state nor impression, plan or amendment is ever left out."""
    added = [amendment(number, text=LONG) for number in range(1, amendments + 1)]
    text = note(signed_report(exam, *added, impression=words, plan=words))
    told = paragraphs(text)

    assert_short(text)
    assert told[0].startswith("AMENDED" if amendments else "SIGNED")
    assert paragraph(text, "Impression: ")
    assert paragraph(text, "Plan: ")
    assert bool(amendments) is any(each.startswith(f"Amendment {amendments}, ") for each in told)


def test_the_limit_holds_when_everything_is_raised_at_once() -> None:
    """Every conclusion of the knowledge, and the longest texts beside them."""
    worst = nasty_signed()
    text = note(replace(worst, assessment=everything_at_once().assessment))

    assert_short(text)
    assert text.startswith("AMENDED, see amendment 2 below.")
    assert paragraph(text, "Amendment 2, late entry by ")


# ---- what was settled in the review

COLLEAGUE = replace(REVIEWED_BY, name="Dr Ana Sample")


def test_the_page_says_who_acknowledged_an_emergency_and_confirmed_a_nurses_finding() -> None:
    """Both are signed; with each person, role and time, and the sides in full, RIGHT first."""
    exam = emergency_exam()
    (emergency,) = acknowledged_in(exam)
    plantar = [Confirmed(("plantar", side), COLLEAGUE) for side in (Side.LEFT, Side.RIGHT)]
    gone = Acknowledged("acute_ataxia", COLLEAGUE)
    made = signed_report(
        exam,
        acknowledged=(emergency, gone),
        confirmed=(Confirmed(("hx_bladder", None), REVIEWED_BY), *plantar),
    )
    told = print_page(made, knowledge()).summary
    first, *others = words_of(pdf(made, knowledge()))
    known = knowledge().warnings
    paul, ana = (
        f"{name}, physician, at 03-Feb-2026 15:58 UTC+01:00"
        for name in ("Dr Paul Example", "Dr Ana Sample")
    )

    assert [
        (paul, known["cord_compression"].label),
        (ana, f"{known['acute_ataxia'].label} (no longer raised)"),
    ] == [(each.by, each.what) for each in told.acknowledged]
    assert [
        (paul, "Bladder (retention)"),
        (ana, "Plantar response (RIGHT up, LEFT up)"),
    ] == [(each.by, each.what) for each in told.confirmed]
    assert f"Emergencies acknowledged: {known['cord_compression'].label}, by {paul}" in first
    assert f"Confirmed by {ana}, recorded by a nurse: Plantar response (RIGHT up, LEFT up)" in first
    assert 1 == len(others)


def test_the_note_says_that_emergencies_were_acknowledged_and_by_whom_where_it_fits() -> None:
    """Who confirmed a nurse's finding is the first to be left to the page."""
    settled = {
        "acknowledged": (Acknowledged("cord_compression", REVIEWED_BY),),
        "confirmed": (Confirmed(("hx_falls_12m", None), REVIEWED_BY),),
    }
    brief = note(signed_report(normal_exam(), **settled))
    full = note(signed_report(emergency_exam()))
    by = "Dr Paul Example, physician, at 03-Feb-2026 15:58 UTC+01:00"

    assert f"Emergencies acknowledged: 1, by {by}" in paragraphs(brief)
    assert "Emergencies acknowledged: 1" == paragraph(full, "Emergencies acknowledged")
    assert f"Confirmed by {by}: Falls in the last 12 months (0)" in paragraphs(brief)
    assert "Confirmed" not in full
    assert "acknowledged" not in note(report(emergency_exam()))


def test_a_time_without_its_offset_is_refused() -> None:
    """Nobody could tell afterwards when it was."""
    with pytest.raises(ValueError, match="a time without its offset"):
        replace(REVIEWED_BY, at=datetime(2026, 2, 3, 16, 2))  # noqa: DTZ001
