"""The words that note and print share."""

from datetime import UTC, date, datetime, timedelta, timezone
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.assess.assessment import Reason
from app.exam.vocabulary import Side, vocabulary
from app.knowledge.load import knowledge
from app.report.phrases import age_on, by_finding, clean, day, folded, moment, said, value_words

RIGHT, LEFT = Side.RIGHT, Side.LEFT


@pytest.mark.parametrize(
    ("typed", "printed"),
    [
        ("  two\tspaces\n and  a line ", "two spaces and a line"),
        ("nul\x00bell\x07", "nul bell"),
        ("line\u2028separator", "line separator"),
        ("half \ud800 a character", "half \ufffd a character"),
        ("\u202eturned around\u202c", "turned around"),
        ("zero\u200bwidth\ufeff", "zerowidth"),
        ("می\u200cخواهم", "می\u200cخواهم"),
        ("e\u0301", "é"),
        ("z" + "\u0301" * 50, "ź" + "\u0301" * 4),
    ],
)
def test_text_that_somebody_typed_becomes_one_quiet_line(typed: str, printed: str) -> None:
    """It can break no line, turn no side around, and paint over no neighbour."""
    assert printed == clean(typed)


def test_a_cut_text_ends_in_an_ellipsis() -> None:
    """Within the length that was asked for."""
    assert "abcd…" == clean("abcdefgh", 5)
    assert "abcde" == clean("abcde", 5)


@given(st.text(st.characters()))
def test_cleaned_text_stays_as_it_is(text: str) -> None:
    """Cleaning twice changes nothing, and the result can always be written as UTF-8."""
    once = clean(text)

    assert once == clean(once)
    assert once == once.encode().decode()


def test_a_month_is_never_a_number() -> None:
    """03/02 is two different days to two readers."""
    assert "03-Feb-2026" == day(date(2026, 2, 3))


def test_a_time_is_printed_with_its_offset() -> None:
    """Else a reader elsewhere takes it for the local time."""
    east = timezone(timedelta(hours=1))
    west = timezone(-timedelta(hours=3, minutes=30))

    assert "03-Feb-2026 14:05 UTC" == moment(datetime(2026, 2, 3, 14, 5, tzinfo=UTC))
    assert "03-Feb-2026 14:05 UTC+01:00" == moment(datetime(2026, 2, 3, 14, 5, tzinfo=east))
    assert "03-Feb-2026 14:05 UTC-03:30" == moment(datetime(2026, 2, 3, 14, 5, tzinfo=west))


def test_age_counts_whole_years() -> None:
    """A birthday on the day itself counts; the day before does not."""
    assert 80 == age_on(date(1945, 7, 14), date(2026, 7, 13))
    assert 81 == age_on(date(1945, 7, 14), date(2026, 7, 14))
    assert 1 == age_on(date(2024, 2, 29), date(2025, 3, 1))


def test_pressure_is_written_as_on_paper() -> None:
    """The vocabulary holds the machine's spelling of the unit."""
    assert "132 mmHg" == value_words(vocabulary()["lying_sys"], Decimal(132))


def test_in_short_a_value_says_no_word_twice() -> None:
    """`Steps for a half turn (5)` needs no second `steps`; seconds must stay seconds."""
    words = vocabulary()

    assert "2" == said(words["drift"], 2, short=True)
    assert "2 definite" == said(words["drift"], 2)
    assert "5" == said(words["turn_steps"], 5, short=True)
    assert "16.4 s" == said(words["tug_s"], Decimal("16.4"), short=True)
    assert "12 /min" == said(words["blinks_per_min"], 12, short=True)
    assert "" == said(words["hx_fever"], True)
    assert "no" == said(words["hx_fever"], False)


def test_reasons_are_told_finding_by_finding_with_right_first() -> None:
    """Both sides of one finding stand in one phrase, in the same order everywhere."""
    reasons = [
        Reason("drift", LEFT, 1),
        Reason("hx_onset", None, "sudden"),
        Reason("drift", RIGHT, 2),
        Reason(medicine="olanzapine", medicine_class="dopamine_blocking"),
        Reason("dysmetria", RIGHT),
        Reason("flap", RIGHT),
        Reason("flap", LEFT),
    ]

    assert [
        ("Pronator drift", "RIGHT 2 definite, LEFT 1 slight"),
        ("How it began", "suddenly, over hours"),
        ("olanzapine: blocks dopamine", ""),
        ("Misses the target (dysmetria)", "RIGHT"),
        ("Flapping of the hands (asterixis)", ""),
    ] == by_finding(reasons, knowledge())


def test_findings_of_one_task_share_its_name() -> None:
    """In the order in which each task comes first."""
    items = [("Finger taps: slow", "RIGHT"), ("Drift", ""), ("Finger taps: halts", "")]

    assert ["Finger taps: slow (RIGHT), halts", "Drift"] == folded(items)
