"""A clinic that works in German: from signing in to the signed page, and every page on the way."""

import re
import subprocess
from collections.abc import Iterator
from html import unescape
from pathlib import Path

import pytest

from app.language.words import speaking
from app.main import create_app
from app.settings import Settings
from tests.language.test_catalogues import pairs
from tests.sampling import WHOLE
from tests.web.clinic import ADMINISTRATOR, HTMX, NURSE, PHYSICIAN, Clinic
from tests.web.test_pages import every_page
from tests.web.test_review import settled

# Beside those of the clinic's own list: what there is to read, to keep, to practise, and errors.
OTHER_PAGES = (
    "/knowledge", "/knowledge/categories/parkinsonism", "/knowledge/warnings/stroke_like",
    "/knowledge/falls", "/knowledge/norms", "/knowledge/medicines", "/knowledge/steps",
    "/knowledge/exam", "/knowledge/signs/brady", "/about", "/practice", "/practice/soup_spoon",
    "/practice/team", "/nowhere",
)  # fmt: skip
OF_ADMINISTRATOR = (
    "/admin/accounts", "/admin/clinic", "/admin/audit", "/admin/verify", "/admin/export",
    "/emergency-access",
)  # fmt: skip
OF_NOBODY = ("/sign-in", "/first", "/invited")
# Elements inside a sentence.
INLINE = re.compile(r"</?(?:a|abbr|b|code|em|i|small|span|strong|time)\b[^>]*>")
# A label that a source's title holds too.
IN_A_TITLE = {"Re-emergent tremor"}


@pytest.fixture(scope="module")
def house(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Clinic]:
    """One clinic for all that is asked."""
    url = f"sqlite:///{tmp_path_factory.mktemp('german') / 'evenhand.db'}"
    settings = Settings(
        _env_file=None, database_url=url, clinic="Praxis am Hafen", language="de", demo=False
    )
    with Clinic.of(create_app(settings)) as opened:
        yield opened


@pytest.fixture(scope="module")
def exam_id(house: Clinic) -> str:
    """An exam with something of everything: signs, numbers, a warning, what cannot be tested."""
    made = house.new_exam(reason="Zittern seit dem Frühjahr")
    for finding, side, value in (
        ("rest_tremor_hand", "right", "2"), ("rest_tremor_hand", "left", "1"),
        ("finger_tap_slow", "right", "2"), ("finger_tap_decrement", "right", "2"),
        ("drift", "right", "1"), ("tug_s", "", "9,1"), ("hx_falls_12m", "", "1"),
        ("hx_onset", "", "sudden"),
    ):  # fmt: skip
        answer = house.cell(made, finding, side, value)
        assert 200 == answer.status_code, (finding, answer.text)
    house.cell(made, "toe_tap_slow", "left", "", why="Gips")
    return made


def leftovers() -> dict[str, str]:
    """Every piece of three English words or more that German says otherwise, with its German."""
    found: dict[str, str] = {}
    for english, german in pairs():
        for piece in re.split(r"\{[^}]*\}|</?\d+/?>", english):
            piece = piece.strip(" .,;:()“”")
            if len(re.findall(r"[A-Za-z’']{2,}", piece)) >= 3 and piece not in german:
                found[piece] = german
    return found


def text_of(page: str) -> str:
    """What a page says, to the eye and to the ear."""
    page = re.sub(r"<(script|style)\b.*?</\1>|<meta name=\"words\"[^>]*>", "", page, flags=re.S)
    said = re.findall(r'(?:title|aria-label|placeholder|alt)="([^"]*)"', page)
    return " ".join(unescape(re.sub(r"<[^>]*>", " | ", INLINE.sub("", page)) + str(said)).split())


def test_a_number_is_taken_with_a_comma_and_shown_with_one(house: Clinic, exam_id: str) -> None:
    """Kept as a number like any other; a point is taken too, and words are not."""
    page = house.get(f"/exams/{exam_id}").text

    assert "9.1" == str(house.value(exam_id, "tug_s"))
    assert re.search(r'name="value\.tug_s"[^>]*value="9,1"', page)
    with_point = house.cell(exam_id, "tug_s", "", "9.1")
    assert (200, "9.1") == (with_point.status_code, str(house.value(exam_id, "tug_s")))
    refused = house.cell(exam_id, "tug_s", "", "neun")
    assert "neun ist keine Zahl von" in text_of(refused.text)


def test_no_page_holds_an_english_sentence(house: Clinic, exam_id: str) -> None:
    """Every page there is, for everybody who has one; each English message is looked for."""
    nobody = house.other_browser(None)
    pages = {
        **{path: house.get(path) for path in (*every_page(house, exam_id), *OTHER_PAGES)},
        **{path: house.administrator.get(path) for path in OF_ADMINISTRATOR},
        **{f"{path} of nobody": nobody.get(path) for path in OF_NOBODY},
        "the nurse's sheet": house.nurse.get(f"/exams/{exam_id}"),
        "why": house.get(f"/exams/{exam_id}/why/categories/parkinsonism"),
        "a saved cell": house.cell(exam_id, "face_still", "", "1"),
        "a refused form": house.new_patient(birth_date="", chart_number=""),
    }
    english = [each for each in leftovers() if each not in IN_A_TITLE]
    assert len(english) > 1500

    for path, answer in pages.items():
        assert answer.status_code in (200, 404, 422), (path, answer.status_code)
        text = text_of(answer.text)
        assert not [each for each in english if each in text], path
        if answer.text.startswith("<!DOCTYPE"):
            assert '<html lang="de">' in answer.text, path
            assert "ersetzt sie nicht. Es stellt keine Diagnose" in text, path


def test_right_stands_before_left_and_both_in_full(house: Clinic, exam_id: str) -> None:
    """On the sheet, row by row."""
    page = text_of(house.get(f"/exams/{exam_id}").text)
    row = page[page.index("Ruhetremor der Hand") :]

    assert "/static/drawings.de.svg#" in house.get(f"/exams/{exam_id}").text
    assert row.index("RECHTS") < row.index("LINKS")
    assert not re.search(r"\bRIGHT\b|\bLEFT\b", page)


def test_what_was_not_examined_is_not_told_as_normal(house: Clinic, exam_id: str) -> None:
    """The note says both, each in its place."""
    note = unescape(house.get(f"/exams/{exam_id}/note").text)

    assert "Nicht untersucht: " in note
    assert "Nicht prüfbar: " in note
    assert "9,1 s" in note


def test_the_signed_page_is_german_and_programs_get_english(
    house: Clinic, exam_id: str, tmp_path: Path
) -> None:
    """The PDF as a reader of PDF sees it; the FHIR document and its numbers as a program does."""
    signed = house.client.post(f"/exams/{exam_id}/sign", data=settled(house, exam_id))
    assert 303 == signed.status_code, text_of(signed.text)
    file = tmp_path / "signed.pdf"
    file.write_bytes(house.get(f"/exams/{exam_id}/documents/0").content)
    text = " ".join(
        subprocess.run(
            ["pdftotext", str(file), "-"], check=True, capture_output=True, text=True
        ).stdout.split()
    )

    for says in (
        "UNTERSCHRIEBEN", "RECHTS (Patientenseite)", "LINKS (Patientenseite)", "9,1 s",
        "Nicht untersucht", "ersetzt sie nicht", "Dr I. Brandt, Arzt/Ärztin",
    ):  # fmt: skip
        assert says in text, says
    assert not [each for each in leftovers() if each in text and each not in IN_A_TITLE]
    assert text.index("RECHTS") < text.index("LINKS")
    if WHOLE:
        assert 200 == house.get(f"/exams/{exam_id}/leaflet").status_code
    fhir = house.get(f"/exams/{exam_id}/fhir").json()
    told = str(fhir)
    assert "9.1" in told
    assert "supports and does not replace clinical judgement" in told
    assert not re.search(r"RECHTS|LINKS|unterstützt", told)
    page = text_of(house.get(f"/exams/{exam_id}").text)
    assert not [each for each in leftovers() if each in page and each not in IN_A_TITLE]
    files = [("files", ("page.pdf", file.read_bytes(), "application/pdf"))]
    came_back = text_of(house.client.post("/verify", files=files).text)
    assert "UNVERÄNDERT page.pdf" in came_back
    assert f"Untersuchung {exam_id}, jetzt unterschrieben." in came_back


def test_the_scripts_say_what_the_page_brings_them(house: Clinic) -> None:
    """In the page's language; an English page brings nothing, and the scripts say their own."""
    page = house.get("/").text
    found = re.search(r'<meta name="words" content="([^"]*)">', page)
    assert found

    assert '"NOT SAVED. 1 entry kept.":"NICHT GESPEICHERT. 1 Eintrag aufbewahrt."' in unescape(
        found[1]
    )


def test_two_people_of_one_server_do_not_change_each_others_language(house: Clinic) -> None:
    """The language belongs to the answer; whoever asks inside the same process keeps theirs."""
    with speaking("en"):
        answer = house.client.get("/me", headers=HTMX)

    assert "Ihr Konto" in answer.text
    assert {NURSE.role, PHYSICIAN.role, ADMINISTRATOR.role} == {
        "nurse", "physician", "administrator",
    }  # fmt: skip
