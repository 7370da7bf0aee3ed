"""The text note: short whatever was recorded, and never silent about what matters most."""

import os
import re
from dataclasses import fields, replace
from pathlib import Path

import pytest
from hypothesis import given, settings

from app.assess.assessment import (
    CategoryFound,
    Conflict,
    Hazard,
    NextStep,
    NotRecognised,
    Reason,
    WarningRaised,
)
from app.exam.record import Exam
from app.exam.vocabulary import SIDES, vocabulary
from app.knowledge.load import knowledge
from app.report.coverage import coverage
from app.report.note import MOST_WORDS, text_note
from app.report.page import Person, ReportInput
from app.report.room import SHORTER, Room
from app.report.wrapping import COLUMNS, width
from tests.report.drawn import exams
from tests.report.samples import (
    PERSON,
    amendment,
    emergency_exam,
    mirrored,
    nasty_report,
    normal_exam,
    nurse_exam,
    one_sided_exam,
    read,
    report,
    signed_report,
)
from tests.sampling import WHOLE

GOLDEN = Path(__file__).parent / "golden"
SAMPLES = {
    "normal": lambda: report(normal_exam()),
    "one_sided": lambda: report(one_sided_exam()),
    "nurse": lambda: report(nurse_exam()),
    "emergency": lambda: report(emergency_exam()),
    "signed": lambda: signed_report(one_sided_exam()),
    "amended": lambda: signed_report(one_sided_exam(), amendment(1), amendment(2)),
}


def note(found: ReportInput) -> str:
    """The note with the real knowledge."""
    return text_note(found, knowledge())


def paragraphs(text: str) -> list[str]:
    """The note's paragraphs, each in one line again."""
    return text.replace("\n  ", " ").splitlines()


def paragraph(text: str, heading: str) -> str:
    """The one paragraph that begins so."""
    (found,) = [each for each in paragraphs(text) if each.startswith(heading)]
    return found


def everything_at_once() -> ReportInput:
    """Every conclusion that the knowledge can draw, at its most urgent, with every reason."""
    known = knowledge()
    words = vocabulary()
    reasons = tuple(
        Reason(finding.id, side, finding.values[-1] if finding.values else 1)
        for finding in words.values()
        for side in finding.sides
    )
    missing = tuple(replace(reason, value=None) for reason in reasons)
    base = nasty_report()
    assessment = replace(
        base.assessment,
        categories=tuple(
            CategoryFound(
                each.id,
                "fits_with_cautions",
                "both",
                tuple(each.qualifiers),
                reasons,
                reasons,
                missing,
            )
            for each in known.categories.values()
        ),
        warnings=(
            *(
                WarningRaised(each.id, tier.urgency, because=reasons, missing=missing)
                for each in known.warnings.values()
                for tier in each.tier[:1]
            ),
            WarningRaised("fall_risk", "soon", level="open", missing=missing),
        ),
        next_steps=tuple(NextStep(each, "emergency") for each in known.steps),
        hazards=tuple(Hazard(each, reasons) for each in known.hazards),
        unexplained=reasons,
        conflicts=tuple(
            Conflict(each.findings, side, each.says) for each in known.conflicts for side in SIDES
        ),
        not_recognised=tuple(NotRecognised("word " * 40, ()) for _ in range(100)),
    )
    person = Person("x y " * 25, "z w " * 25, PERSON.birth_date, None, "1 2 " * 10)
    return replace(base, patient=person, reason="why " * 125, assessment=assessment)


def assert_keeps_its_limits(text: str) -> None:
    """Words, columns, characters."""
    assert len(text.split()) <= MOST_WORDS
    assert [] == [line for line in text.splitlines() if width(line) > COLUMNS]
    assert [] == [line for line in text.splitlines() if line != line.rstrip() or not line]
    assert all(character.isprintable() for line in text.split("\n") for character in line)
    assert text.startswith(("DRAFT, not signed", "SIGNED by ", "AMENDED, see amendment "))
    assert text.endswith(".\n")


# ---- what it says


@pytest.mark.parametrize("name", SAMPLES)
def test_the_note_reads_as_it_did(name: str) -> None:
    """Golden files; after a wanted change write them anew and read the difference:

    EVENHAND_WRITE_GOLDEN=1 python -m pytest tests/report/test_note.py -k reads_as_it_did
    """
    path = GOLDEN / f"{name}.txt"
    text = note(SAMPLES[name]())
    if os.environ.get("EVENHAND_WRITE_GOLDEN") == "1":
        path.write_text(text, encoding="utf-8")

    assert path.read_text(encoding="utf-8") == text


def test_two_identifiers_follow_the_draft_line() -> None:
    """Pasted into the wrong chart, the note must show it at once."""
    first, second, *_ = note(report(normal_exam())).splitlines()

    assert "DRAFT, not signed. Motor exam of 03-Feb-2026." == first
    assert (
        "KARLSSON, Maria Elena. Born 14-Jul-1945 (80 y), female, chart number A-2041-77" == second
    )


def test_unknown_sex_is_said_in_words() -> None:
    """Unknown is words, never a question mark or a gap."""
    someone = replace(PERSON, sex=None)

    assert "sex not recorded" in note(report(normal_exam(), patient=someone))


def test_demonstration_data_says_so() -> None:
    """Nobody may take an invented exam for a patient's."""
    assert "DEMONSTRATION, invented data" in note(report(normal_exam(), demo=True))
    assert "DEMONSTRATION" not in note(report(normal_exam()))


def test_an_emergency_comes_before_everything_that_was_found() -> None:
    """With what it rests on, RIGHT before LEFT."""
    lines = paragraphs(note(report(emergency_exam())))

    assert lines[3].startswith("EMERGENCY, now: ")
    assert "Plantar response (RIGHT up, LEFT up)" in lines[3]


def test_signs_stand_by_side_with_right_first() -> None:
    """In full words, and the same order as on screen and in print."""
    text = note(report(emergency_exam()))
    places = [text.index(f"\n{name}: ") for name in ("RIGHT", "LEFT")]

    assert sorted(places) == places
    assert "Plantar response (up)" in paragraph(text, "RIGHT: ")


def test_a_sign_on_one_side_says_that_the_other_was_not_examined() -> None:
    """Else the heading, "other side normal unless said", would call it normal."""
    text = note(
        report(
            read(
                {
                    "drift": {"right": 2},
                    "flap": {"right": 1, "left": {"untestable": "cast"}},
                    "dysmetria": {"right": 1, "left": 0},
                }
            )
        )
    )

    assert (
        "RIGHT: Pronator drift (2, LEFT not examined); Flapping of the hands (asterixis) (1, LEFT "
        "not testable); Misses the target (dysmetria) (1)" == paragraph(text, "RIGHT: ")
    )


def test_what_was_not_examined_is_always_said() -> None:
    """An empty exam most of all."""
    text = note(report(read({})))

    assert (
        "Not examined: All of: At rest; Arms held out; Finger to nose; Fast repeated movements; "
        "Tone; Rise, walk and turn; History. 91 findings beyond the quick pass. Medicines were not "
        "asked." == paragraph(text, "Not examined: ")
    )
    assert "Normal: nothing recorded" == paragraph(text, "Normal: ")
    assert "Abnormal signs: none recorded." in paragraphs(text)


def test_what_could_not_be_tested_keeps_its_reason() -> None:
    """The reason as it was typed, after the finding and its side."""
    text = note(report(emergency_exam()))

    assert "Could not be tested: Finger taps: slow (RIGHT): “arthritis”" in paragraphs(text)


# ---- its limits


def test_the_limit_holds_when_everything_is_raised_at_once() -> None:
    """More than any exam can give: every warning, category, step and hazard with every reason."""
    found = everything_at_once()
    text = note(found)
    warned = {paragraph for paragraph in paragraphs(text) if paragraph.startswith("EMERGENCY, now")}

    assert_keeps_its_limits(text)
    assert {
        f"EMERGENCY, now: {knowledge().warnings[raised.id].label}"
        for raised in found.assessment.warnings
        if raised.urgency == "emergency"
    } == warned
    assert paragraph(text, "Not examined: ").startswith("Not examined: 7 findings")
    assert paragraph(text, "Could not be tested: ")


def test_each_step_takes_room_and_the_last_ones_leave_none() -> None:
    """A step that gave room back would never end in the smallest note."""
    room = Room()
    for name, entries in SHORTER:
        assert entries < getattr(room, name)
        room = replace(room, **{name: entries})

    assert {field.name: 0 for field in fields(Room)} == vars(room)


@settings(max_examples=60 if WHOLE else 25, deadline=None)
@given(exams())
def test_the_limit_holds_for_any_exam(exam: Exam) -> None:
    """And no emergency is ever left out, nor that something was not examined."""
    found = report(exam)
    text = note(found)
    told = " ".join(text.split())
    gaps = [each for each in coverage(exam) if each.missing]

    assert_keeps_its_limits(text)
    assert [] == [
        raised.id
        for raised in found.assessment.warnings
        if raised.urgency in ("emergency", "same_day")
        and knowledge().warnings[raised.id].label not in told
    ]
    assert bool(gaps) is ("Not examined: Nothing of the quick pass" not in told)
    assert bool(list(exam.untestable())) is ("Could not be tested: " in told)


@settings(max_examples=30 if WHOLE else 12, deadline=None)
@given(exams())
def test_the_same_exam_gives_the_same_note(exam: Exam) -> None:
    """Also when its cells were recorded in another order."""
    turned = replace(exam, cells=dict(reversed(list(exam.cells.items()))))

    assert note(report(exam)) == note(report(turned))


def test_the_clinics_pathways_stay_out_of_the_note() -> None:
    """It is pasted into somebody else's record, and has no room for more than what was found."""
    found = report(emergency_exam())
    everywhere = dict.fromkeys((*knowledge().warnings, *knowledge().steps), "Ring 4417")

    assert note(found) == note(replace(found, pathways=everywhere))


def test_a_nasty_exam_leaves_a_quiet_note() -> None:
    """Markup, endless words, other scripts and invisible characters stay inside their line."""
    assert_keeps_its_limits(note(nasty_report()))


# ---- right and left


def turned_over(text: str) -> list[str]:
    """The paragraphs with the two side words changed over, each side list put back in order."""
    swapped = re.sub(
        r"\b(RIGHT|LEFT)\b", lambda side: "LEFT" if side[0] == "RIGHT" else "RIGHT", text
    )
    return sorted(in_order(each) for each in paragraphs(swapped))


def in_order(line: str) -> str:
    """The line with the parts of every bracket sorted, so that RIGHT may stand first in each."""
    return re.sub(r"\(([^()]*)\)", lambda held: f"({sorted(held[1].split(', '))})", line)


@settings(max_examples=40 if WHOLE else 12, deadline=None)
@given(exams())
def test_a_mirrored_exam_changes_the_side_words_and_nothing_else(exam: Exam) -> None:
    """Every word of a side is right, or this fails: the strongest guard against a side error."""
    found = report(exam)

    assert turned_over(note(found)) == sorted(map(in_order, paragraphs(note(mirrored(found)))))
