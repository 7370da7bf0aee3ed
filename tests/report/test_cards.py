"""Cards for other programs: the standard's limits, and what a short line must never hide."""

import json
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given

from app.assess.assess import assess
from app.assess.words import DISCLAIMER
from app.exam.reading import parse_exam, read_exam
from app.exam.record import Exam
from app.knowledge.load import knowledge
from app.report.cards import LONGEST_SUMMARY, Card, cards
from tests.strategies import exams

INSTANCE = "0b2f3f0e-6d0f-4c58-9a53-9a0c4dbb7a11"
KNOWN = knowledge()


def cards_of(exam: Exam, address: str = "") -> list[Card]:
    """The cards of one exam."""
    return cards(assess(exam, KNOWN), KNOWN, instance=INSTANCE, address=address)


def examined(**findings: Any) -> Exam:
    """An exam with these findings."""
    return read_exam({"findings": findings})


# CDS Hooks 2.0, "CDS Service Response": summary (under 140 characters), indicator and source.label
# are required; the indicator is info, warning or critical.
@given(exams())
def test_every_card_keeps_to_the_standard(exam: Exam) -> None:
    """And every emergency has a card of its own, however many there are."""
    made = cards_of(exam)
    raised = [each for each in assess(exam, KNOWN).warnings if each.urgency == "emergency"]

    assert len(raised) == sum(each["indicator"] == "critical" for each in made)
    assert len(made) == len({each["uuid"] for each in made})
    for each in made:
        assert 0 < len(each["summary"]) < 140
        assert each["indicator"] in ("info", "warning", "critical")
        assert each["source"]["label"]
        assert each["detail"].endswith(DISCLAIMER)
        assert "suggestions" not in each


def test_no_summary_of_ours_has_to_be_cut() -> None:
    """A cut line could lose the word that matters."""
    longest = max(len(f"Emergency, now: {each.label}") for each in KNOWN.warnings.values())

    assert LONGEST_SUMMARY >= longest


def test_nothing_examined_is_not_nothing_abnormal() -> None:
    """The falls group is open, and no pattern is claimed."""
    (falls,) = cards_of(read_exam({}))

    assert "open" in falls["summary"]
    assert "info" == falls["indicator"]


def test_an_emergency_comes_first_with_what_to_consider_and_its_source() -> None:
    """A drift that came on suddenly: NICE NG127, as the rule cites it."""
    first = cards_of(
        examined(drift={"right": 2}, hx_onset="sudden", hx_years=0), "https://evenhand.example/"
    )[0]

    assert "critical" == first["indicator"]
    assert "Consider emergency transfer now" in first["detail"]
    assert "NG127" in first["detail"]
    assert "RIGHT" in first["detail"]
    assert first["source"]["url"].startswith("https://evenhand.example/knowledge/warnings/")


def test_what_somebody_typed_is_no_markup() -> None:
    """The detail is Markdown, and a medicine is typed by anybody."""
    exam = read_exam(
        {
            "findings": {"finger_tap_slow": {"right": 2}, "finger_tap_decrement": {"right": 2}},
            "medicines": ["metoclopramide <script> [x](http://x) `y`"],
        }
    )
    text = json.dumps(cards_of(exam))

    assert "metoclopramide" in text
    assert "<script>" not in text
    assert "[x](" not in text


@pytest.mark.parametrize("name", ["ex-01", "ex-06"])
def test_the_cards_of_an_example_name_its_patterns(name: str) -> None:
    """The contract's own example cases: whatever fits has a card."""
    lines = (Path(__file__).parents[1] / "contract" / "cases.ndjson").read_text().splitlines()
    (case,) = (each for each in map(json.loads, lines) if each["case"] == name)
    exam = parse_exam(json.dumps(case["exam"]))
    fitting = [
        KNOWN.categories[found.id].label
        for found in assess(exam, KNOWN).listed
        if found.level in ("fits", "fits_with_cautions")
    ]
    summaries = [each["summary"] for each in cards_of(exam)]

    assert fitting
    assert all(any(each.startswith(label) for each in summaries) for label in fitting)
