"""The page that the patient takes home: what it says, and what it never says by itself."""

from datetime import UTC, date, datetime
from typing import Any

import pytest

from app.exam.reading import read_exam
from app.knowledge.load import knowledge
from app.report.leaflet import LeafletInput, LeafletPage, leaflet_page, leaflet_pdf
from app.report.page import Person
from tests.report.reading import words_of

TEXTS = knowledge().leaflet
PERSON = Person("Lindqvist", "Aurelia", date(1951, 3, 4), "female", "T-9")
SLOW = {
    "finger_tap_slow": {"right": 2, "left": 0},
    "finger_tap_decrement": {"right": 2},
    "rest_tremor_hand": {"right": 1, "left": 0},
}


def given(**changed: Any) -> LeafletInput:
    """What the page of one exam is made from."""
    values: dict[str, Any] = {
        "patient": PERSON,
        "exam_id": "c0ffee12" * 4,
        "examined_at": datetime(2026, 2, 3, 15, tzinfo=UTC),
        "exam": read_exam({"findings": SLOW}),
        "taken": ("refer_movement_untreated", "falls_advice"),
        "own_words": "",
        "clinic": "Harbour Clinic",
    }
    return LeafletInput(**values | changed)


def page(**changed: Any) -> LeafletPage:
    """The page in words."""
    return leaflet_page(given(**changed), knowledge())


def test_it_fits_on_one_page_and_says_whose_it_is() -> None:
    """One sheet for the kitchen table: five steps and the longest words that may be written."""
    taken = [*knowledge().steps][7:12]
    (text,) = words_of(
        leaflet_pdf(given(taken=taken, own_words="We will see you soon. " * 13), knowledge())
    )

    assert "Aurelia Lindqvist, born 04-Mar-1951, seen on 03-Feb-2026" in text
    assert "Page 1 of 1" in text
    assert TEXTS.reminds in text
    assert all(TEXTS.next[step] in text for step in taken)
    assert all(said.says in text for said in (*TEXTS.safe, *TEXTS.now, *TEXTS.soon))


def test_what_was_left_out_is_named() -> None:
    """Nobody may take it for something that was found to be well."""
    shown = page()

    assert "You sat still, and we watched your face, hands and legs (in part)." in shown.looked_at
    assert TEXTS.not_looked_at["gait"] in shown.not_looked_at
    assert TEXTS.not_looked_at["rest"] not in shown.not_looked_at


def test_an_empty_exam_claims_nothing() -> None:
    """Nothing was looked at, and nothing was decided."""
    shown = page(exam=read_exam({}), taken=())

    assert (TEXTS.nothing.looked_at,) == shown.looked_at
    assert len(TEXTS.not_looked_at) == len(shown.not_looked_at)
    assert (TEXTS.nothing.next,) == shown.next


@pytest.mark.parametrize("own_words", ["", "We think of parkinsonism."])
def test_a_pattern_is_named_by_the_physician_or_not_at_all(own_words: str) -> None:
    """The signs of this exam fit parkinsonism."""
    said = " ".join(map(str, vars(page(own_words=own_words)).values())).lower()

    assert bool(own_words) == ("parkinson" in said)


def test_markup_stays_text_and_the_bytes_are_the_same_again() -> None:
    """Names and words are typed by people."""
    typed = given(own_words="<b>rest</b> & <script>walk</script>", clinic="A & B <i>")
    first = leaflet_pdf(typed, knowledge())

    assert "<b>rest</b> & <script>walk</script>" in words_of(first)[0]
    assert first == leaflet_pdf(typed, knowledge())
