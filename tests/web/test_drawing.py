"""Pieces of the sheet that are drawn once and remembered, and answers that come compressed."""

import gzip
import re
from typing import Any

import pytest

from app.exam.vocabulary import Scale, vocabulary
from app.web.answers import Templates
from app.web.drawing import Kept
from app.web.sheet import CLEAR, dom_of, key_of, options_of
from app.web.sheet_view import CellView
from tests.web.clinic import Clinic


def test_what_was_remembered_of_one_exam_is_right_in_the_next(clinic: Clinic) -> None:
    """Each cell and each of its answers, in turn: none shows what another one holds."""
    templates: Templates = clinic.app.state.templates
    pieces: Any = templates.environment.get_template("_sheet.html").module
    answers, kept = pieces.answers, Kept()
    for finding in vocabulary().values():
        if finding.scale in (Scale.COUNT, Scale.NUMBER):
            continue
        for side in finding.sides:
            for value in ("", CLEAR, *(each.value for each in options_of(finding, ""))):
                cell = (finding.id, side)
                view = CellView(
                    key=key_of(cell), dom=dom_of(cell), finding=finding.id,
                    side=side.value if side else "", side_words=str(side), legend=finding.label,
                    options=options_of(finding, value), text="", unit="", is_whole=False, why="",
                    is_untestable=False, is_bulk=False, says="",
                )  # fmt: skip
                assert view.drawn_by is not None
                assert answers(view) == kept(answers, view.drawn_by, view)
                assert answers(view) == kept(answers, view.drawn_by, view)


def test_a_sheet_of_remembered_rows_is_the_sheet_drawn_anew(clinic: Clinic) -> None:
    """Whatever stands in a row: graded, in bulk, typed, untestable, measured, or last time's."""
    paths: list[str] = []
    for chart_number in ("HC-2043", "HC-2044"):
        exam_id = clinic.new_exam(chart_number=chart_number)
        clinic.cell(exam_id, "rest_tremor_hand", "right", str(len(paths) + 1))
        clinic.cell(exam_id, "stooped", "", "untestable", why="plaster")
        clinic.cell(exam_id, "tug_s", "", "9.5")
        if paths:
            # By hand what is marked in bulk in the other.
            clinic.cell(exam_id, "arm_resistance", "right", "0")
        clinic.sheet(exam_id, {"normal": "tone"})
        paths.append(f"/exams/{exam_id}")
    remembered = [sheet(clinic, path) for path in (*paths, *paths)]
    environment = clinic.app.state.templates.environment
    environment.globals["kept"] = lambda macro, _key, view: macro(view)
    environment.cache.clear()

    assert remembered == [sheet(clinic, path) for path in (*paths, *paths)]
    assert remembered[0] != remembered[1]


def sheet(clinic: Clinic, path: str) -> str:
    """The sheet without the form tokens, which are new with each page."""
    return re.sub("[0-9a-f]{128}", "", clinic.get(path).text)


@pytest.mark.parametrize("typed", [{"why": "secret-word"}, {"value": "secret-word"}])
def test_what_somebody_typed_is_not_remembered(clinic: Clinic, typed: dict[str, str]) -> None:
    """Neither a reason nor a value that was refused comes into another exam's page."""
    first, second = clinic.new_exam(), clinic.new_exam(chart_number="HC-2042")
    form = {"revision": "0", "value.turn_steps": typed.get("value", ""),
            "why.turn_steps": typed.get("why", "")}  # fmt: skip
    answer = clinic.client.post(f"/exams/{first}", data=form, follow_redirects=True)

    assert "secret-word" in answer.text
    assert "secret-word" not in clinic.get(f"/exams/{second}").text


def test_the_sheet_comes_compressed_and_small(clinic: Clinic) -> None:
    """A tenth of its text, with no more than few empty texts between its tags."""
    exam_id = clinic.new_exam()
    answer = clinic.get(f"/exams/{exam_id}")

    assert "gzip" == answer.headers["content-encoding"]
    assert "Accept-Encoding" in answer.headers["vary"]
    plain = clinic.client.get(f"/exams/{exam_id}", headers={"Accept-Encoding": "identity"})
    assert "content-encoding" not in plain.headers
    assert len(gzip.compress(plain.content, 5)) < len(plain.content) / 8


def test_fonts_and_pdf_files_are_not_compressed_again(clinic: Clinic) -> None:
    """They hold no air; it would only take time."""
    font = clinic.get("/static/fonts/source-sans-3-regular.woff2")

    assert (200, None) == (font.status_code, font.headers.get("content-encoding"))


def test_an_entry_says_only_the_counters_that_moved(clinic: Clinic) -> None:
    """Of its own station and of no other."""
    exam_id = clinic.new_exam()
    text = clinic.cell(exam_id, "stooped", "", "2").text

    assert 1 == text.count("innerHTML:#map-gait")
    assert "#map-limbs" not in text
    assert 2 == text.count("innerHTML:#map-")
