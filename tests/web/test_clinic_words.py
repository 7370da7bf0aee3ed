"""The clinic's own words: its name on every page, its pathways beside warning and step.

Also whom a nurse calls in an emergency, and what an administrator's pages say of emergency access.
"""

import re
from datetime import UTC, datetime
from html import unescape
from typing import Any

from sqlmodel import col, select

from app.store.actor import PROGRAM
from app.store.audit_tables import EmergencyAccessRow
from app.store.clinic_settings import change_settings, settings_revision
from app.store.engine import reading, writing
from app.web.wording import local
from tests.report.reading import words_of
from tests.web.clinic import HTMX, PASSWORD, Clinic
from tests.web.test_review import amendment, examined, send, settled

# A nurse may record both; together they point to the nerve roots below the cord. See the cases of
# the warning in the knowledge.
CORD = (("hx_bladder", "", "retention"), ("hx_bowel_or_saddle", "", "yes"))
WARNING, STEP = "pathway.cord_compression", "pathway.emergency_transfer"
CALL = "Call the physician now"
NOW, LATER = "Ring <b>5050</b>\nthen book the scanner", "Ring 6060"


def set_words(clinic: Clinic, **changes: str) -> None:
    """Change settings; a pathway by its whole name."""
    with writing(clinic.app.state.engine) as session:
        change_settings(
            session,
            changes,
            at_revision=settings_revision(session),
            actor=PROGRAM,
            now=datetime.now(UTC),
        )


def seen(text: str) -> str:
    """The words of a page, without its markup."""
    return " ".join(unescape(re.sub("<[^>]+>", " ", text)).split())


def emergency_block(answer: Any) -> str:
    """The emergency in the panel of a sheet or of an answer to it."""
    found = re.search(r'<section class="warning emergency">(.*?)</section>', answer.text, re.DOTALL)
    assert found, answer.text
    return seen(found[1])


# ---- the name


def test_the_name_that_was_set_stands_on_every_page(clinic: Clinic) -> None:
    """In title and head, also where nobody is signed in; what was emptied gives the other back."""
    nobody, exam_id = clinic.other_browser(None), clinic.new_exam()
    asked = [(clinic, "/"), (clinic, "/me"), (clinic, "/nowhere"), (nobody, "/sign-in")]
    for name, shown in (("", "Harbour Clinic"), ("Hill <i>", "Hill <i>"), ("", "Harbour Clinic")):
        set_words(clinic, name=name)
        for browser, path in asked:
            text = unescape(browser.get(path).text)

            assert f" – Evenhand, {shown}</title>" in text, path
            assert f'<span class="clinic">{shown}</span>' in text, path
        assert f"Evenhand, {shown}</title>" in unescape(clinic.get(f"/exams/{exam_id}").text)


def test_the_name_that_was_set_makes_a_bad_password(clinic: Clinic) -> None:
    """It is the first thing that somebody tries who stands in the clinic."""
    set_words(clinic, name="Meadowbank Practice")
    for guessed in ("Meadowbank Practice 1 Meadowbank", "Harbour Clinic 1 Harbour Clinic"):
        form = {"password": PASSWORD, "new_password": guessed, "again": guessed}
        answer = clinic.client.post("/me/password", data=form)

        assert 422 == answer.status_code
        assert "too easy to guess" in answer.text


def test_a_signed_page_keeps_the_words_of_its_day(clinic: Clinic) -> None:
    """Its bytes never change, and below an addendum the pathways are still those of then."""
    set_words(clinic, name="Hill Clinic", **{WARNING: NOW, STEP: "Ambulance desk 7070"})
    exam_id = examined(clinic, *CORD)
    draft = " ".join(words_of(clinic.get(f"/exams/{exam_id}/pdf").content))
    assert 303 == send(clinic, exam_id, settled(clinic, exam_id)).status_code
    first = clinic.get(f"/exams/{exam_id}/pdf").content
    set_words(clinic, name="Dale Clinic", **{WARNING: LATER, STEP: ""})
    again = clinic.get(f"/exams/{exam_id}/pdf").content
    assert 303 == send(clinic, exam_id, amendment(clinic, exam_id), "amend").status_code
    signed = " ".join(words_of(first))
    amended = " ".join(words_of(clinic.get(f"/exams/{exam_id}/pdf").content))

    assert first == again == clinic.get(f"/exams/{exam_id}/documents/0").content
    for text, name in ((draft, "Hill Clinic"), (signed, "Hill Clinic"), (amended, "Dale Clinic")):
        assert name in text
        assert "Clinic’s pathway Ring <b>5050</b> / then book the scanner" in text
        assert "Clinic’s pathway Ambulance desk 7070" in text
        assert LATER not in text
    assert "Hill Clinic" not in amended


# ---- the pathways on the sheet, and the call


def test_pathways_stand_beside_their_warning_and_their_step(clinic: Clinic) -> None:
    """In their own lines and as text; a step or a warning without one says nothing."""
    exam_id = examined(clinic, *CORD)
    assert "Clinic’s pathway" not in clinic.get(f"/exams/{exam_id}").text
    set_words(clinic, **{WARNING: NOW, STEP: "Ambulance desk 7070"})
    page = clinic.get(f"/exams/{exam_id}")

    assert f"Clinic’s pathway:</b> {NOW}" in unescape(page.text)
    assert "<b>5050" not in page.text
    assert "Clinic’s pathway: Ring <b>5050</b> then book the scanner" in emergency_block(page)
    assert re.search(
        r"Consider emergency transfer now[^.]*Clinic’s pathway: Ambulance desk 7070",
        seen(page.text),
    )
    assert 2 == page.text.count('class="pathway"')


def test_a_warning_that_can_wait_has_its_pathway_too(clinic: Clinic) -> None:
    """In view without opening the warning."""
    set_words(clinic, **{"pathway.short_course": LATER})
    exam_id = examined(clinic, ("step_length", "", "short"), ("hx_years", "", "0.1"))
    text = clinic.get(f"/exams/{exam_id}").text

    assert re.search(rf"</details>\s*<p class=\"pathway\">.*{LATER}", text)


def test_a_nurse_is_told_to_call_the_physician_first_of_all(clinic: Clinic) -> None:
    """In the sheet, in the answer to the entry, and in what comes of a colleague's entry."""
    set_words(clinic, **{WARNING: NOW})
    exam_id = examined(clinic, CORD[0])
    told = clinic.nurse.cell(exam_id, *CORD[1])
    heard = clinic.nurse.client.get(f"/exams/{exam_id}/updates?since=1", headers=HTMX)
    answers = [told, heard, clinic.nurse.get(f"/exams/{exam_id}")]

    for answer in answers:
        assert 200 == answer.status_code
        assert emergency_block(answer).startswith(
            f"{CALL} Clinic’s pathway: Ring <b>5050</b> then book the scanner EMERGENCY, now"
        )
        assert re.search(rf'class="alarm">{CALL}\. EMERGENCY: ', answer.text)
        assert 1 == emergency_block(answer).count("Clinic’s pathway")


def test_a_physician_sees_the_emergency_without_the_call(clinic: Clinic) -> None:
    """They are who is called."""
    set_words(clinic, **{WARNING: NOW})
    exam_id = examined(clinic.nurse, *CORD)
    told = clinic.cell(exam_id, "hx_unsteady", "", "yes")
    heard = clinic.client.get(f"/exams/{exam_id}/updates?since=1", headers=HTMX)
    sheet, review = clinic.get(f"/exams/{exam_id}"), clinic.get(f"/exams/{exam_id}/review")

    for answer in (told, heard, sheet, review):
        assert CALL not in answer.text
        assert emergency_block(answer).startswith("EMERGENCY, now")
    for answer in (told, heard, sheet):
        assert "Clinic’s pathway: Ring <b>5050</b>" in emergency_block(answer)
    # There it stands once, in the box in which the emergency is acknowledged.
    box = review.text[review.text.index('id="emergencies-title"') :].split("</section>")[0]
    assert "Clinic’s pathway: Ring <b>5050</b>" in seen(box)
    assert 1 == review.text.count("Clinic’s pathway")


def test_without_an_emergency_nobody_is_called(clinic: Clinic) -> None:
    """A line that is always there is read by nobody."""
    exam_id = examined(clinic, CORD[0])

    assert CALL not in clinic.nurse.get(f"/exams/{exam_id}").text


# ---- emergency access, and the way to the administration


def test_emergency_access_says_so_on_every_page_until_it_is_over(clinic: Clinic) -> None:
    """Nobody should forget that they look where they usually may not."""
    exam_id, administrator = clinic.new_exam(), clinic.administrator
    assert "Emergency access until" not in administrator.get("/me").text
    form = {"reason": "The ward asks and nobody is here"}
    assert 303 == administrator.client.post("/emergency-access", data=form).status_code
    with reading(clinic.app.state.engine) as session:
        until = session.exec(select(col(EmergencyAccessRow.until))).one()

    for path in ("/", f"/exams/{exam_id}", "/me", "/admin/accounts", "/knowledge", "/nowhere"):
        assert f"Emergency access until {local(until):%H:%M}." in administrator.get(path).text, path
    assert "Emergency access until" not in clinic.get("/").text
    administrator.client.post("/lock")
    assert "Emergency access until" not in administrator.get("/me").text


def test_only_an_administrator_finds_the_way_to_the_administration(clinic: Clinic) -> None:
    """From their own account and from the head of the page; others would be refused there."""
    ways = ('href="/admin/accounts"', 'href="/emergency-access"')
    page = clinic.administrator.get("/me").text

    assert (True, True) == tuple(way in page for way in ways)
    assert ways[0] in clinic.administrator.get("/knowledge").text
    for browser in (clinic.nurse, clinic.physician):
        assert (False, False) == tuple(way in browser.get("/me").text for way in ways)
