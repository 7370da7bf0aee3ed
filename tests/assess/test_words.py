"""The words that screen, note and print share."""

import pytest

from app.assess import words
from app.assess.assess import assess
from app.assess.assessment import LISTED, URGENCIES, Reason
from app.assess.words import finding_words, medicines_in_words, reason_words
from app.exam.record import Exam
from app.exam.vocabulary import Side
from app.knowledge import terms
from app.knowledge.load import knowledge


@pytest.mark.parametrize(
    ("finding", "side", "expected"),
    [
        ("drift", Side.LEFT, "Pronator drift, LEFT"),
        ("drift", "both", "Pronator drift, both sides"),
        ("base", None, "Distance between the feet"),
    ],
)
def test_a_finding_stands_with_its_side(
    finding: str, side: Side | str | None, expected: str
) -> None:
    """In full: a letter is misread."""
    assert expected == finding_words(finding, side)


@pytest.mark.parametrize(
    ("reason", "expected"),
    [
        (Reason("drift", Side.RIGHT, 2), "Pronator drift, RIGHT: 2 definite"),
        (Reason("drift", Side.RIGHT), "Pronator drift, RIGHT"),
        (Reason("base", None, "wide"), "Distance between the feet: wide"),
        (Reason("age", None, 23), "age 23"),
        (
            Reason(medicine="haloperidol", medicine_class="dopamine_blocking"),
            "haloperidol: blocks dopamine",
        ),
        (Reason(medicine_class="dopamine_blocking"), "medicines: blocks dopamine"),
    ],
)
def test_a_reason_is_one_line(reason: Reason, expected: str) -> None:
    """What was recorded, or what is missing."""
    assert expected == reason_words(reason, knowledge())


def test_every_level_urgency_and_side_has_its_words() -> None:
    """And the rooms above say the same as the knowledge does."""
    assert "EMERGENCY, now" == words.urgency_words("emergency")
    assert len({words.urgency_words(each) for each in URGENCIES}) == len(URGENCIES)
    assert len({words.level_words(each) for each in (*LISTED, "not_supported")}) == 5
    assert "high" == words.fall_level_words("high")
    assert ("RIGHT", "LEFT", "both sides", "") == tuple(
        words.side_words(each) for each in ("right", "left", "both", None)
    )
    assert terms.DISCLAIMER is words.DISCLAIMER


def test_a_line_with_two_ingredients_is_said_once() -> None:
    """A combined tablet is one medicine to whoever reads the print."""
    exam = Exam(medicines=("levodopa/carbidopa 100/25 mg", "albuterol", "fluphenazine"))

    assert (
        (
            "levodopa/carbidopa 100/25 mg",
            "levodopa: replaces dopamine; carbidopa: replaces dopamine",
        ),
        ("albuterol", "salbutamol: can cause tremor"),
        ("fluphenazine", "fluphenazine: can cause parkinsonism, blocks dopamine"),
    ) == medicines_in_words(assess(exam, knowledge()), knowledge())
