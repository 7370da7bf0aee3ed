"""What a timed or measured value gives stands below it as soon as it is recorded."""

import re
from html import unescape

import pytest
from playwright.sync_api import expect

from tests.web.clinic import Clinic
from tests.web.visitor import Visitor


@pytest.fixture
def exam_id(clinic: Clinic) -> str:
    """A new exam of a woman of 75."""
    return clinic.new_exam()


def below(text: str, finding: str) -> str:
    """What stands below one row: of a page, or of the answer to an entry."""
    found = re.search(rf'(?:id="|innerHTML:#)m-{finding}">(.*?)</(?:p|div)>', text, re.DOTALL)
    assert found, finding
    return " ".join(unescape(re.sub(r"<[^>]+>", " ", found[1])).split())


def test_the_norm_comes_back_with_the_answer(clinic: Clinic, exam_id: str) -> None:
    """And stands there when the sheet is opened again."""
    expected = (
        "Below average for women of 75 to 79: under 10 stands; this is "
        "(CDC STEADI, read in a secondary copy; arms used counts as 0)"
    )
    answer = clinic.cell(exam_id, "stands_30s", "", "8").text

    assert expected == below(answer, "stands_30s")
    assert expected == below(clinic.get(f"/exams/{exam_id}").text, "stands_30s")
    assert expected == below(clinic.get(f"/exams/{exam_id}?part=nurse").text, "stands_30s")


def test_a_value_that_is_taken_back_takes_its_line_along(clinic: Clinic, exam_id: str) -> None:
    """A norm beside an empty field would be a riddle."""
    clinic.cell(exam_id, "stands_30s", "", "8")

    assert "" == below(clinic.cell(exam_id, "stands_30s", "", "").text, "stands_30s")


def test_a_person_without_a_sex_has_no_norm_and_that_is_said(clinic: Clinic) -> None:
    """The one for the other sex never stands in."""
    exam_id = clinic.new_exam(sex="not recorded")
    answer = clinic.cell(exam_id, "stands_30s", "", "8").text

    assert "Below average: the norm needs the person’s sex, not recorded" == below(
        answer, "stands_30s"
    )


def test_a_walk_gives_its_speed_once_both_of_its_numbers_are_there(
    clinic: Clinic, exam_id: str
) -> None:
    """Whichever of them comes last; 6 m in 7.5 s are 0.8 m/s."""
    assert "" == below(clinic.cell(exam_id, "walk_s", "", "7.5").text, "walk_s")
    says = below(clinic.cell(exam_id, "walk_m", "", "6").text, "walk_s")

    assert "Usual walking speed: 0.8 m/s" in says
    assert "Slow: 0.8 m/s or less; this is (" in says
    assert "Mean (not a lower limit) for women of 70 to 79: 1.13 m/s (Bohannon 2011, " in says


def test_a_test_without_a_norm_has_no_place_for_one(clinic: Clinic, exam_id: str) -> None:
    """Taps and blinks have no cutoff that was published and agreed."""
    clinic.cell(exam_id, "taps_10s", "right", "40")
    clinic.cell(exam_id, "blinks_per_min", "", "15")
    text = clinic.get(f"/exams/{exam_id}").text

    assert 'id="m-taps_10s"' not in text
    assert 'id="m-blinks_per_min"' not in text


def test_the_line_appears_and_the_hand_stays_where_it_went(visitor: Visitor) -> None:
    """What is being typed in the next field is never touched."""
    page = visitor.page
    visitor.start_exam()
    page.locator("#c-tug_s-text").fill("14")
    page.keyboard.press("Enter")
    page.keyboard.type("8")
    expect(page.locator("#m-tug_s")).to_contain_text(
        "Raised risk of falls: 12 s or more; this is (CDC STEADI, from memory, not yet checked"
    )

    expect(page.locator("#c-stands_30s-text")).to_be_focused()
    expect(page.locator("#c-stands_30s-text")).to_have_value("8")
    expect(page.locator("#m-stands_30s")).to_be_hidden()
    page.keyboard.press("Enter")
    expect(page.locator("#m-stands_30s")).to_contain_text("Below average for women of 75 to 79")
    expect(page.locator("#c-five_stands_s-text")).to_be_focused()
    visitor.expect_saved()
