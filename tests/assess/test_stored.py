"""An assessment that was kept with a signature reads back as it was concluded."""

import json
from pathlib import Path

import pytest

from app.assess.assess import assess
from app.assess.assessment import as_text
from app.assess.stored import BadAssessment, parse_assessment
from app.exam.reading import parse_exam
from app.knowledge.load import knowledge
from tests.assess.examined import exam_of

CASES = [
    json.loads(line)
    for line in (Path(__file__).parents[1] / "contract" / "cases.ndjson").read_text().splitlines()
    if '"error"' not in line
]


@pytest.mark.parametrize("case", CASES, ids=lambda case: case["case"])
def test_what_was_written_reads_back_to_the_same_text(case: dict[str, object]) -> None:
    """An amended page is made from what was concluded when the exam was signed."""
    kept = as_text(assess(parse_exam(json.dumps(case["exam"])), knowledge()), indent=None)

    assert kept == as_text(parse_assessment(kept), indent=None)


def test_it_keeps_the_version_that_it_was_made_with() -> None:
    """The page names it, whatever version is in force by now."""
    kept = as_text(assess(parse_exam("{}"), knowledge())).replace(knowledge().version, "1999.9")

    assert "1999.9" == parse_assessment(kept).knowledge


def test_what_is_no_more_than_listed_compares_equal_to_what_was_concluded() -> None:
    """Not only its text: measured values too are the values that were recorded."""
    text = '{"findings": {"tug_s": 16.40, "hx_falls_12m": 1, "hx_frailty": false}}'
    made = assess(parse_exam(text), knowledge())
    read = parse_assessment(as_text(made))

    assert (made.listed, made.warnings, made.next_steps, made.hazards) == (
        *(read.categories, read.warnings, read.next_steps, read.hazards),
    )


def test_with_the_exam_at_hand_a_measured_value_has_the_digits_that_were_typed() -> None:
    """An amended page says "9.10 s" where the signed page said it; the kept text has 9.1."""
    exam = parse_exam(
        '{"findings": {"hx_falls_12m": 1, "tug_s": 16.40, "walk_m": 10.0, "walk_s": 9.10}}'
    )
    read = parse_assessment(as_text(assess(exam, knowledge())), exam.cells)
    said = {
        reason.finding: str(reason.value)
        for warning in read.warnings
        for reason in warning.because
        if reason.finding in {"tug_s", "walk_m", "walk_s"}
    }

    assert said
    assert {name: str(exam.value(name, None)) for name in said} == said


def test_what_contradicts_itself_and_what_was_not_checked_reads_back_too() -> None:
    """A conflict keeps its side, a line that was not recognised its near misses."""
    text = "arm_resistance right 0; arm_resistance_speed right catch; posture_tremor left 2"
    made = assess(exam_of(text, medicines=["haloperidoll", "levodopa"]), knowledge())
    read = parse_assessment(as_text(made))

    assert made.conflicts
    assert made.not_recognised
    assert (made.conflicts, made.recognised, made.not_recognised) == (
        *(read.conflicts, read.recognised, read.not_recognised),
    )
    assert (made.check_next, made.unexplained) == (read.check_next, read.unexplained)


def test_a_warning_kept_before_warnings_had_qualifiers_reads_as_having_none() -> None:
    """What was signed by then must still open."""
    document = assess(exam_of("drift right 1; hx_onset sudden"), knowledge()).as_json()
    for raised in document["warnings"]:
        del raised["qualifiers"]

    assert {()} == {each.qualifiers for each in parse_assessment(json.dumps(document)).warnings}


@pytest.mark.parametrize("text", ["", "{}", "[]", '{"knowledge": "1", "derived": {}}'])
def test_anything_else_is_refused(text: str) -> None:
    """A page made from half of it would look whole."""
    with pytest.raises(BadAssessment):
        parse_assessment(text)
