"""Practice pages over HTTP: a case is graded, compared and counted, and no patient is touched."""

import dataclasses
import re
from collections.abc import Iterator, Mapping
from html import unescape
from pathlib import Path

import pytest
from jinja2 import Environment, FileSystemLoader, nodes

from app.exam.record import Cell, Value
from app.exam.vocabulary import Side
from app.knowledge.practice import PracticeCase, practice_cases
from app.settings import ROOT
from app.web import practice_pages
from app.web.sheet import key_of
from tests.web.clinic import COLLEAGUE, NURSE, PHYSICIAN, Clinic
from tests.web.tables import audit_rows, kept

CASES = practice_cases()
LAP = CASES["lap_and_cup"]
NOTICE = "Practice: invented cases, nothing here enters a patient’s record."
TEMPLATES = ROOT / "templates" / "practice"
PAGE_OF = {
    "index.html": practice_pages.PracticePage,
    "team.html": practice_pages.TeamPage,
    "case.html": practice_pages.CasePage,
    "answer.html": practice_pages.AnswerPage,
}


def as_form(graded: Mapping[Cell, Value]) -> dict[str, str]:
    """A grading as the form sends it."""
    words = {True: "yes", False: "no"}
    return {
        f"value.{key_of(cell)}": words[value] if isinstance(value, bool) else str(value)
        for cell, value in graded.items()
    }


def mirrored(case: PracticeCase) -> dict[Cell, Value]:
    """The worked answer with the sides mistaken throughout."""
    return {(name, side and side.other): value for (name, side), value in case.worked().items()}


def tried(clinic: Clinic, case: PracticeCase, graded: Mapping[Cell, Value]) -> str:
    """Grade a case; the address of the answer."""
    answer = clinic.client.post(f"/practice/{case.id}", data=as_form(graded))
    assert 303 == answer.status_code, answer.text
    return str(answer.headers["location"])


def seen(html: str) -> str:
    """The text of the page itself, without tags and the frame."""
    main = html[html.index("<main") : html.index("</main>")]
    return re.sub(r"\s+", " ", unescape(re.sub(r"<[^>]*>", " ", main)))


def rows(html: str) -> list[tuple[str, ...]]:
    """The lines of every table of the page, cell by cell."""
    return [
        tuple(
            re.sub(r"\s+", " ", unescape(re.sub(r"<[^>]*>", "", held))).strip()
            for held in re.findall(r"<t[hd][^>]*>(.*?)</t[hd]>", row, re.DOTALL)
        )
        for row in re.findall(r"<tr[^>]*>(.*?)</tr>", html, re.DOTALL)
    ]


def test_a_grading_as_the_worked_answer_has_every_sign(clinic: Clinic) -> None:
    """From the form through the database to the answer nothing is lost or turned, in any case."""
    for case in CASES.values():
        text = clinic.get(tried(clinic, case, case.worked())).text
        told = seen(text)
        worked = len(case.worked()) + len(case.left_open())

        assert f"{worked} of {worked} signs as in the worked answer" in told, case.id
        assert {"agreed"} == {row[3] for row in rows(text) if len(row) == 4} - {"compared"}
        assert "mistaken" not in told
        for category in case.expects.categories:
            assert f'href="/knowledge/categories/{category}"' in text
        for warning in case.expects.warnings:
            assert f'href="/knowledge/warnings/{warning}"' in text


def test_the_sides_mistaken_is_said_first_and_loudly(clinic: Clinic) -> None:
    """It is the error that costs most, so it stands above everything else."""
    text = clinic.get(tried(clinic, LAP, mirrored(LAP))).text

    assert (
        "Hand tremor at rest: you have RIGHT 0 none, LEFT 2 definite; the worked answer has RIGHT "
        "2 definite, LEFT 0 none." in seen(text)
    )
    assert text.index('class="mistaken"') < text.index("What matters here")
    assert ("Hand tremor at rest, RIGHT", "0 none", "2 definite", "RIGHT and LEFT mistaken") in (
        rows(text)
    )
    # What has no side, or is the same on both, is not said to be turned.
    assert ("Still face", "1 slight", "1 slight", "agreed") in rows(text)
    assert ("Pronator drift, LEFT", "0 none", "0 none", "agreed") in rows(text)


def test_a_blank_is_missed_also_where_the_sign_is_normal(clinic: Clinic) -> None:
    """Unknown is never read as normal, not even in a lesson."""
    one = dict(list(LAP.worked().items())[:1])
    text = clinic.get(tried(clinic, LAP, one)).text

    assert "1 of 35 signs as in the worked answer" in seen(text)
    left_out = ("not examined", "0 none", "missed, left not examined")
    assert ("Pronator drift, RIGHT", *left_out) in rows(text)


def test_what_the_grading_gives_stands_beside_what_the_worked_answer_gives(clinic: Clinic) -> None:
    """A missed sign changes what there is to consider, and that is what is learned."""
    case = CASES["legs_since_sunday"]
    graded = {cell: 0 for cell in case.worked() if cell[0] in ("weak_leg", "drift")}
    text = clinic.get(tried(clinic, case, graded)).text

    assert (
        "Possible compression of the cord or of the nerve roots below it", "not listed",
        "EMERGENCY, now",
    ) in rows(text)  # fmt: skip
    assert "consider compression of the cord, now" in seen(text)
    assert "NICE NG234" in text


def test_nothing_graded_and_a_number_that_is_none_come_back_as_typed(clinic: Clinic) -> None:
    """Nothing is kept then, and nothing typed is lost."""
    before = kept(clinic.app)
    empty = clinic.client.post("/practice/lap_and_cup", data={"value.turn_steps": ""})
    wrong = clinic.client.post(
        "/practice/lap_and_cup", data={"value.turn_steps": "many", "value.face_still": "1"}
    )

    assert [422, 422] == [empty.status_code, wrong.status_code]
    assert "Nothing is graded yet" in empty.text
    assert 'href="#c-turn_steps"' in wrong.text
    assert "many is not a number from 1 to 60" in wrong.text
    assert 'value="many"' in wrong.text
    assert re.search(r'id="c-face_still-1"\s+value="1" checked', wrong.text)
    assert before == kept(clinic.app)


@pytest.mark.parametrize(
    "form",
    [{"value.face_still": "9"}, {"value.face_still": "untestable"}, {"value.plantar.left": "up"}],
)
def test_a_form_that_no_page_sends_keeps_nothing(clinic: Clinic, form: dict[str, str]) -> None:
    """A grade that there is not, an answer that is not offered, a sign that is not asked for."""
    before = kept(clinic.app)

    assert 422 == clinic.client.post("/practice/lap_and_cup", data=form).status_code
    assert before == kept(clinic.app)


def test_not_examined_can_be_chosen_again(clinic: Clinic) -> None:
    """Without scripts a radio button cannot be let go of, so there is one for it."""
    form = as_form(LAP.worked()) | {"value.face_still": "not-examined"}
    place = clinic.client.post("/practice/lap_and_cup", data=form).headers["location"]

    assert ("Still face", "not examined", "1 slight", "missed, left not examined") in (
        rows(clinic.get(place).text)
    )


def test_a_try_is_shown_to_whoever_made_it_and_to_nobody_else(clinic: Clinic) -> None:
    """Nobody has to fear to be looked at while they learn."""
    place = tried(clinic, LAP, LAP.worked())

    assert 200 == clinic.get(place).status_code
    assert 404 == clinic.colleague.get(place).status_code
    assert 403 == clinic.administrator.get(place).status_code
    assert 404 == clinic.get(place.replace("lap_and_cup", "soup_spoon")).status_code
    assert 404 == clinic.get("/practice/nothing").status_code
    assert 404 == clinic.client.post("/practice/nothing", data={"no": "1"}).status_code


def test_the_list_says_how_far_one_is_and_what_one_misses(clinic: Clinic) -> None:
    """The newest try counts as where one stands; the others are counted with it."""
    assert 12 == clinic.get("/practice").text.count("Not tried yet")
    tried(clinic, LAP, {("face_still", None): 0})
    last = tried(clinic, LAP, LAP.worked())
    text = clinic.get("/practice").text

    assert re.search(r"Tried 2 times, last \d\d-\w{3}-\d{4}: 35 of 35 signs", text)
    assert f'href="{last}"' in text
    assert ("Still face", "2", "1", "0", "0") in rows(text)
    assert "What you miss most" not in clinic.nurse.get("/practice").text


def test_the_team_is_counted_once_three_have_tried_and_never_named(clinic: Clinic) -> None:
    """With two, each would know the other's; the administrator sees counts as well, and no more."""
    tried(clinic, LAP, mirrored(LAP))
    tried(clinic.nurse, LAP, {("face_still", None): 0})
    for browser in (clinic, clinic.administrator):
        text = browser.get("/practice/team").text
        assert "Counts are shown once 3 people have tried a case" in seen(text)
        assert "Hand tremor at rest" not in text
    tried(clinic.colleague, LAP, {("drift", Side.LEFT): 1})

    for browser in (clinic, clinic.administrator):
        text = browser.get("/practice/team").text
        assert ("Hand tremor at rest", "3", "2", "1", "0") in rows(text)
        assert ("Still face", "3", "2", "0", "0") in rows(text)
        told = seen(text)
        assert [] == [each.name for each in (NURSE, PHYSICIAN, COLLEAGUE) if each.name in told]
    assert 403 == clinic.administrator.get("/practice/lap_and_cup").status_code
    assert 'href="/practice/lap_and_cup"' not in clinic.administrator.get("/practice").text


def test_practising_touches_no_exam_and_leaves_nothing_in_the_audit(clinic: Clinic) -> None:
    """Not a row changes but the try's own."""
    exam_id = clinic.new_exam()
    clinic.cell(exam_id, "rise", "", "slow")
    before, noted = kept(clinic.app), len(audit_rows(clinic.app))
    clinic.get(tried(clinic, LAP, LAP.worked()))
    after = kept(clinic.app)

    assert ["practice_attempt"] == [name for name in after if before[name] != after[name]]
    assert noted == len(audit_rows(clinic.app))


def test_every_page_says_that_it_is_practice_and_none_holds_a_script(clinic: Clinic) -> None:
    """So that nobody takes a case for a patient, or a patient for a case."""
    place = tried(clinic, LAP, LAP.worked())
    for path in ("/practice", "/practice/team", "/practice/lap_and_cup", place):
        assert NOTICE in seen(clinic.get(path).text), path
        assert 'href="/practice"' in clinic.get(path).text
    for file in TEMPLATES.glob("*.html"):
        assert not re.search(r"<style|\sstyle=|\son\w+=|<script", file.read_text()), file


def test_every_template_reads_just_what_its_page_holds() -> None:
    """A misspelt name fails here and not in front of a reader."""
    environment = Environment(loader=FileSystemLoader(ROOT / "templates"), autoescape=True)
    files = {file.name for file in TEMPLATES.glob("[!_]*.html")} - {"base.html"}

    assert files == set(PAGE_OF)
    for name, page in PAGE_OF.items():
        held = {field.name for field in dataclasses.fields(page)}
        read = set(names_read(environment, TEMPLATES / name))

        assert set() == read - held, name
        assert set() == held - read - {"title", "faults"}, name


def names_read(environment: Environment, file: Path) -> Iterator[str]:
    """The attributes that a template reads of its page."""
    for node in environment.parse(file.read_text()).find_all(nodes.Getattr):
        if isinstance(node.node, nodes.Name) and node.node.name == "page":
            yield node.attr
