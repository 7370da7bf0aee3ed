"""Why a finding is asked for: one press from the panel, what each answer would do, on one page."""

import re
from html import unescape

import pytest
from playwright.sync_api import expect

from app.assess.words import DISCLAIMER
from tests.web.clinic import Clinic
from tests.web.visitor import Visitor


@pytest.fixture
def exam_id(clinic: Clinic) -> str:
    """A new exam."""
    return clinic.new_exam()


def record(clinic: Clinic, exam_id: str, text: str) -> None:
    """Record what is written so: `drift right 2; hx_onset sudden`."""
    for statement in text.split("; "):
        finding, *side, value = statement.split()
        answer = clinic.cell(exam_id, finding, side[0] if side else "", value)

        assert 200 == answer.status_code, statement


def why(clinic: Clinic, exam_id: str, finding: str) -> str:
    """The page's words."""
    html = clinic.get(f"/exams/{exam_id}/next/{finding}").text
    body = html[html.index("<main") : html.index("</main>")]
    return re.sub(r"\s+", " ", unescape(re.sub(r"<[^>]+>", " ", body)))


def test_every_line_of_the_panel_leads_to_why_it_is_asked(clinic: Clinic, exam_id: str) -> None:
    """A link, so that it needs no script and is reached by keyboard."""
    record(clinic, exam_id, "drift left 2; posture_tremor right 1")
    sheet = clinic.get(f"/exams/{exam_id}").text
    lines = re.findall(
        r'class="because">([^<]+)</span>\s*<a class="why-asked"\s+href="([^"]+)"', sheet
    )

    assert len(lines) > 4
    for settles, href in lines:
        page = clinic.get(href)

        assert 200 == page.status_code
        assert DISCLAIMER in page.text
        for label in unescape(settles).split(", "):
            assert f"{label}" in unescape(page.text), (href, label)


def test_it_says_which_answer_would_do_what(clinic: Clinic, exam_id: str) -> None:
    """In words, beside what it is now."""
    record(clinic, exam_id, "drift left 2")
    text = why(clinic, exam_id, "hx_onset")

    assert "Now: not raised." in text
    assert "suddenly, over hours: raised: EMERGENCY, now" in text
    assert "over days or weeks: no change" in text


def test_both_sides_are_one_where_they_are_alike(clinic: Clinic, exam_id: str) -> None:
    """And two where they are not."""
    record(clinic, exam_id, "hx_onset sudden")

    assert "(RIGHT or LEFT) Now: not raised." in why(clinic, exam_id, "drift")

    record(clinic, exam_id, "arm_resistance right 2; arm_resistance_varies right no")
    text = why(clinic, exam_id, "arm_resistance_speed")

    assert "Upper motor neuron signs (RIGHT) Now: open, not enough examined." in text
    assert "Upper motor neuron signs (LEFT) Now: open, not enough examined." in text


def test_a_number_is_said_as_the_range_in_which_it_counts(clinic: Clinic, exam_id: str) -> None:
    """With its unit, and the threshold on the right side."""
    record(clinic, exam_id, "hx_falls_12m 0; hx_unsteady yes; hx_fear_of_falling no")
    text = why(clinic, exam_id, "tug_s")

    assert "up to 15 s: low by the questions and tests" in text
    assert "more than 15 s: intermediate" in text


def test_what_is_not_asked_for_says_so(clinic: Clinic, exam_id: str) -> None:
    """Somebody may have recorded it meanwhile; what nobody knows of is not found."""
    assert "It is not asked for" in why(clinic, exam_id, "chorea")
    assert 404 == clinic.get(f"/exams/{exam_id}/next/humours").status_code
    assert 404 == clinic.get("/exams/nobody/next/drift").status_code


def test_the_keyboard_alone_leads_there_and_back(plain_visitor: Visitor) -> None:
    """Without scripts."""
    plain_visitor.start_exam()
    link = plain_visitor.page.get_by_role("link", name=re.compile(r"^why \(")).first
    link.focus()
    link.press("Enter")
    expect(plain_visitor.page.locator("h1")).to_contain_text("Why examine next")

    plain_visitor.page.get_by_role("link", name="Back to the exam").press("Enter")
    expect(plain_visitor.page.locator("#sheet")).to_be_visible()
