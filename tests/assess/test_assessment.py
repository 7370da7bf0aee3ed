"""An assessment as JSON: the same bytes for the same exam, wherever and whenever it is made."""

import json
import os
import subprocess
import sys
from fractions import Fraction
from pathlib import Path

import pytest

from app.assess.assess import assess
from app.assess.assessment import (
    Assessment,
    CategoryFound,
    CheckNext,
    Conflict,
    Hazard,
    NextStep,
    NotRecognised,
    Reason,
    Recognised,
    WarningRaised,
    as_text,
    faults_as_text,
)
from app.exam.vocabulary import Side
from app.knowledge.load import knowledge, load_knowledge
from tests.assess.examined import assessed, exam_of
from tests.knowledge.conftest import copied

ROOT = Path(__file__).parents[2]
MUCH = (
    "toe_tap_slow right 2; toe_tap_decrement right 2; rest_tremor_hand right 1; plantar each up;"
    " apraxia left yes; hx_bladder retention; hx_falls_12m 0; hx_fall_lie yes;"
    " veering 2; tug_s 15.60"
)
LINES = ["metoclopramide 10 mg", "levodopa/carbidopa", "haloperidole", "café"]
PROGRAM = """
import sys
from app.assess.assess import assess
from app.assess.assessment import as_text
from app.exam.reading import parse_exam
from app.knowledge.load import knowledge
sys.stdout.buffer.write(as_text(assess(parse_exam(sys.stdin.buffer.read()), knowledge())).encode())
"""


@pytest.mark.parametrize("seed", ["0", "1", "4242"])
def test_another_process_gives_the_same_bytes(seed: str) -> None:
    """However Python shuffles its sets and dictionaries there."""
    findings = {
        "toe_tap_slow": {"right": 2},
        "toe_tap_decrement": {"right": 2},
        "rest_tremor_hand": {"right": 1},
        "plantar": {"right": "up", "left": "up"},
        "apraxia": {"left": True},
        "hx_bladder": "retention",
        "hx_falls_12m": 0,
        "hx_fall_lie": True,
        "veering": 2,
        "tug_s": 15.6,
    }
    written = subprocess.run(
        [sys.executable, "-c", PROGRAM],
        input=json.dumps({"findings": findings, "medicines": LINES}).encode(),
        env={**os.environ, "PYTHONHASHSEED": seed},
        cwd=ROOT,
        capture_output=True,
        check=True,
    ).stdout

    assert as_text(assessed(MUCH, medicines=LINES)) == written.decode()


def test_an_assessment_changes_nothing_and_keeps_nothing() -> None:
    """The same exam again, after others, gives an equal assessment."""
    exam = exam_of(MUCH, medicines=LINES)
    before = dict(exam.cells)
    first = assess(exam, knowledge())
    assess(exam_of("chorea each 3"), knowledge())

    assert first == assess(exam, knowledge())
    assert before == dict(exam.cells)


def test_a_text_of_one_line_holds_the_same() -> None:
    """One exam a line in, one assessment a line out; else it is for people to read."""
    found = assessed(MUCH, medicines=LINES)
    line = as_text(found, indent=None)

    assert json.dumps(found.as_json(), ensure_ascii=False, separators=(",", ":")) == line
    assert "\n" in as_text(found)
    assert json.loads(as_text(found)) == json.loads(line) == found.as_json()


def test_a_text_holds_every_category_where_it_is_asked_to() -> None:
    """And else those that something points to."""
    found = assessed(MUCH)
    every = as_text(found, every_category=True)

    assert json.loads(every) == found.as_json(every_category=True)
    assert len(json.loads(as_text(found))["categories"]) < len(json.loads(every)["categories"])


def test_each_part_stands_under_its_key() -> None:
    """The form of the contract, with a side for contradictions and qualifiers for warnings."""
    recorded, lacking = Reason("drift", Side.LEFT, 2), Reason("base")
    taken, unlisted = Reason(medicine="m", medicine_class="c"), Reason(medicine_class="c")
    drift = {"finding": "drift", "side": "left", "value": 2}
    base = {"finding": "base", "side": None}
    whole = Assessment(
        knowledge="v",
        derived={"sign": {Side.RIGHT: Fraction(1, 2), Side.LEFT: None}},
        categories=(
            CategoryFound(
                "c", "open", "both", ("q",), (recorded,), (taken,), (lacking, unlisted), ("s",)
            ),
        ),
        warnings=(WarningRaised("w", "soon", "high", ("q",), (recorded,), (lacking,), ("s",)),),
        next_steps=(NextStep("n", "routine", ("c",), ("s",)),),
        check_next=(CheckNext("base", "right", ("c",)),),
        hazards=(Hazard("h", (recorded,)),),
        unexplained=(recorded,),
        conflicts=(Conflict(("drift", "base"), Side.LEFT, "Why."),),
        recognised=(Recognised("line", "m", ("c",)),),
        not_recognised=(NotRecognised("other", ("near",)),),
    )

    assert {
        "knowledge": "v",
        "derived": {"sign": {"right": 0.5, "left": None}},
        "categories": [
            {
                "id": "c",
                "level": "open",
                "side": "both",
                "qualifiers": ["q"],
                "for": [drift],
                "against": [{"medicine": "m", "class": "c"}],
                "missing": [base, {"class": "c"}],
                "sources": ["s"],
            }
        ],
        "warnings": [
            {
                "id": "w",
                "level": "high",
                "urgency": "soon",
                "qualifiers": ["q"],
                "because": [drift],
                "missing": [base],
                "sources": ["s"],
            }
        ],
        "next_steps": [{"id": "n", "urgency": "routine", "because": ["c"], "sources": ["s"]}],
        "check_next": [{"finding": "base", "side": "right", "settles": ["c"]}],
        "hazards": [{"id": "h", "because": [drift]}],
        "unexplained": [drift],
        "conflicts": [{"findings": ["drift", "base"], "side": "left", "says": "Why."}],
        "medicines": {
            "recognised": [{"text": "line", "ingredient": "m", "classes": ["c"]}],
            "not_recognised": [{"text": "other", "near": ["near"]}],
        },
    } == whole.as_json()


def test_letters_are_written_as_they_are() -> None:
    """A medicine keeps its accent, and can be read by a person."""
    assert "café" in as_text(assessed(medicines=["café"]))


def test_an_exam_of_which_nothing_is_known() -> None:
    """Everything unknown, nothing listed, and what is open is the falls group."""
    document = assessed().as_json()

    assert "2026.1" == document["knowledge"]
    assert [] == document["categories"]
    assert ["fall_risk"] == [each["id"] for each in document["warnings"]]
    assert ["examine_next"] == [each["id"] for each in document["next_steps"]]
    assert {"recognised": [], "not_recognised": []} == document["medicines"]
    assert ([], [], []) == (
        document["hazards"],
        document["unexplained"],
        document["conflicts"],
    )


def test_numbers_are_written_as_typed_and_speed_as_a_number() -> None:
    """15.60 reads the same as 15.6; a third of a metre is as near as a number comes."""
    document = assessed("tug_s 15.60; walk_m 1; walk_s 3").as_json()
    (tug,) = [reason for each in document["hazards"] for reason in each["because"]]

    assert {"finding": "tug_s", "side": None, "value": 15.6} == tug
    assert 1 / 3 == document["derived"]["walking_speed_m_per_s"]
    assert '"walking_speed_m_per_s": 0.8' in as_text(assessed("walk_m 4.48; walk_s 5.6"))


def test_only_the_signs_that_are_shown_are_part_of_it(tmp_path: Path) -> None:
    """The others decide in silence: whether one is shown stands in the knowledge."""
    copy = copied(tmp_path)
    text = (copy.folder / "signs.toml").read_text(encoding="utf-8")
    (copy.folder / "signs.toml").write_text(text.replace("shown = true\n", ""), encoding="utf-8")
    found = assess(exam_of("drift right 1"), load_knowledge(copy.folder))

    assert ["walking_speed_m_per_s"] == list(found.derived)


def test_an_exam_that_cannot_be_read_is_told_in_one_line() -> None:
    """In the place of its assessment."""
    assert '{"error":["findings.drift: needs its side","é"]}' == faults_as_text(
        ["findings.drift: needs its side", "é"]
    )
