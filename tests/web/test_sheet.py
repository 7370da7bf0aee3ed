"""What stands on the sheet, and where."""

import re
from collections import Counter
from html import unescape

import pytest
import tinyhtml5  # type: ignore[import-untyped]

from app.exam.layout import MORE_GROUPS, NURSE, WHOLE
from app.exam.vocabulary import vocabulary
from app.knowledge.model import STANDING_WORDS
from tests.web.clinic import Clinic


@pytest.fixture
def exam_id(clinic: Clinic) -> str:
    """A new exam."""
    return clinic.new_exam()


def test_every_finding_of_the_vocabulary_can_be_recorded_once(clinic: Clinic, exam_id: str) -> None:
    """A new finding must get a place on the sheet."""
    text = clinic.get(f"/exams/{exam_id}").text
    cells = re.findall(r'<fieldset class="cell [^"]*" id="c-([^"]+)"', text)

    assert sorted(
        f"{finding.id}-{side}" if side else finding.id
        for finding in vocabulary().values()
        for side in finding.sides
    ) == sorted(cells)


def test_no_two_things_on_the_sheet_have_one_name(clinic: Clinic, exam_id: str) -> None:
    """Labels, keys and the browser go by it, and would reach the first of the two."""
    names = re.findall(r' id="([^"]+)"', clinic.get(f"/exams/{exam_id}").text)

    assert [] == [name for name, times in Counter(names).items() if times > 1]


def test_the_groups_for_when_the_picture_asks_hold_every_finding_of_that_station() -> None:
    """None is lost in the grouping."""
    grouped = [finding for findings in MORE_GROUPS.values() for finding in findings]

    assert sorted(finding.id for finding in vocabulary().at("more")) == sorted(grouped)


@pytest.mark.parametrize(
    ("part", "expected"),
    [
        ("", ["history", "station-medicines", "rest", "posture", "reach", "repeat", "tone", "gait",
              "measures", "more"]),
        ("?part=nurse", ["history", "station-medicines", "gait", "measures"]),
        ("?part=nonsense", ["history", "station-medicines", "rest", "posture", "reach", "repeat",
                            "tone", "gait", "measures", "more"]),
    ],
)  # fmt: skip
def test_stations_stand_in_the_order_in_which_the_exam_is_done(
    clinic: Clinic, exam_id: str, part: str, expected: list[str]
) -> None:
    """The map and the sheet alike."""
    text = clinic.get(f"/exams/{exam_id}{part}").text

    assert expected == re.findall(r'<section class="station" id="([^"]+)"', text)
    assert expected == re.findall(
        r'href="#([a-z-]+)">', text.partition('class="map"')[2].partition("</nav>")[0]
    )


def test_the_nurses_part_holds_what_a_nurse_may_record() -> None:
    """And every finding that a nurse may record is in it."""
    assert {finding.station for finding in vocabulary().values() if finding.nurse} == set(NURSE)
    assert {station.id for station in vocabulary().stations} == set(WHOLE)


def test_every_station_with_sides_says_both_in_full(clinic: Clinic, exam_id: str) -> None:
    """RIGHT first, and whose RIGHT it is."""
    text = unescape(clinic.get(f"/exams/{exam_id}").text)
    for station in vocabulary().stations:
        block = text.partition(f'<section class="station" id="{station.id}"')[2]
        block = block.partition("</section>")[0]
        has_sides = any(finding.paired for finding in vocabulary().at(station.id))
        columns = "".join(re.findall(r'<p class="columns">.*?</p>', block))
        heads = re.findall(r"(RIGHT|LEFT) \(patient’s\)", columns)

        assert (["RIGHT", "LEFT"] if has_sides else []) == heads, station.id


def test_a_side_is_never_a_single_letter(clinic: Clinic, exam_id: str) -> None:
    """L and R are misread, and mean the picture's side to some."""
    clinic.cell(exam_id, "rest_tremor_hand", "right", "2")
    clinic.cell(exam_id, "arm_resistance", "left", "2")
    text = clinic.get(f"/exams/{exam_id}").text.replace("R. Okafor", "")
    seen = re.sub(r"<[^>]+>", " ", text)

    assert [] == re.findall(r"\b[LR]\b(?!\.)", seen)


def test_core_findings_are_in_view_and_the_others_folded(clinic: Clinic, exam_id: str) -> None:
    """The quick pass is what one sees; hand opening comes on request."""
    text = clinic.get(f"/exams/{exam_id}").text
    page = tinyhtml5.parse(text, namespace_html_elements=False)
    folded = {
        cell.get("id", "").removeprefix("c-").partition("-")[0]
        for fold in page.iter("details")
        if fold.get("class") == "group"
        for cell in fold.iter("fieldset")
    }
    for finding in vocabulary().values():
        parent = vocabulary()[finding.detail_of] if finding.detail_of else finding
        has_core = any(each.core for each in vocabulary().at(finding.station))
        expected = (has_core and not parent.core) or finding.station == "more"

        assert expected == (finding.id in folded), finding.id


def test_a_fold_with_an_entry_in_it_is_open(clinic: Clinic, exam_id: str) -> None:
    """Nothing that was recorded is out of sight."""
    clinic.cell(exam_id, "tics", "", "1")
    text = clinic.get(f"/exams/{exam_id}").text

    assert '<details class="group" id="group-rest-rest" open>' in text
    assert '<details class="group" id="group-gait-rest">' in text


def test_counts_ask_for_a_detail_only_where_the_finding_is_present(
    clinic: Clinic, exam_id: str
) -> None:
    """How a tremor starts is no gap where there is none."""
    assert "0 done, 9 left" in clinic.get(f"/exams/{exam_id}").text
    clinic.cell(exam_id, "posture_tremor", "right", "1")
    assert "1 done, 9 left" in clinic.get(f"/exams/{exam_id}").text
    clinic.cell(exam_id, "posture_tremor", "right", "0")
    assert "1 done, 8 left" in clinic.get(f"/exams/{exam_id}").text


def test_the_panel_names_an_emergency_first_and_says_what_to_consider(
    clinic: Clinic, exam_id: str
) -> None:
    """A sudden onset with a drift is read as stroke-like (nice_ng127, contract section 4)."""
    clinic.sheet(exam_id, {"value.hx_onset": "sudden", "value.hx_years": "0"})
    text = unescape(clinic.cell(exam_id, "drift", "right", "1").text)

    assert '<span class="headline"><strong class="alarm">EMERGENCY: ' in text
    assert text.index('class="warning emergency"') < text.index(">Patterns<")
    assert "Pronator drift: RIGHT 1 slight" in text
    assert "Consider" in text


def test_the_panel_counts_what_was_not_examined(clinic: Clinic, exam_id: str) -> None:
    """By station, of the quick pass."""
    clinic.cell(exam_id, "dysmetria", "right", "0")
    clinic.cell(exam_id, "rest_tremor_hand", "left", "untestable", why="plaster cast")
    text = clinic.get(f"/exams/{exam_id}").text.partition(">Not examined<")[2]

    assert "<li>At rest: 16 of 17</li>" in text
    assert "<li>Finger to nose: 5 of 6</li>" in text
    assert "<li>Medicines: not asked</li>" in text
    assert "Hand tremor at rest, LEFT: plaster cast" in text


def test_a_category_has_its_reasons_its_rule_and_its_sources(clinic: Clinic, exam_id: str) -> None:
    """Whoever doubts the line can check it on the spot."""
    fields = {
        "value.finger_tap_slow.left": "2", "value.finger_tap_decrement.left": "1",
        "value.rest_tremor_hand.left": "1",
    }  # fmt: skip
    clinic.sheet(exam_id, fields)
    text = unescape(clinic.get(f"/exams/{exam_id}").text)
    why = text.partition('id="why-parkinsonism"')[2].partition("</details>")[0]

    assert "Finger taps: slow: LEFT 2 definite" in why
    assert "bradykinesia" in why
    assert any(f"({standing})" in why for standing in STANDING_WORDS.values())
    assert "looks alike" in why
