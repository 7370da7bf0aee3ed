"""What the clinic sets for everybody: it holds from the next page on, all of it or nothing."""

import json
import re
from datetime import timedelta
from html import unescape
from typing import Any

import pytest

from app.knowledge.load import knowledge
from app.store.clinic_settings import settings_revision
from app.store.engine import reading
from tests.web.clinic import ADMINISTRATOR, Clinic
from tests.web.tables import audit_rows, kept
from tests.web.test_lock import used

# As the page sends it where nothing was ever set, but for the pathways.
UNSET = {"name": "", "idle_minutes": "10", "absolute_hours": "12", "impression_first": "no"}
WARNING = "pathway.stroke_like"


def save(clinic: Clinic, **changed: str) -> Any:
    """Save the settings with some of them changed."""
    return clinic.administrator.client.post("/admin/clinic", data=UNSET | seen(clinic) | changed)


def seen(clinic: Clinic) -> dict[str, str]:
    """The revision that the page shows now."""
    with reading(clinic.app.state.engine) as session:
        return {"revision": str(settings_revision(session))}


def test_what_is_set_is_shown_again_and_names_who_set_it(clinic: Clinic) -> None:
    """The name stands on every page from the next one on."""
    saved = save(clinic, name="Quay Practice", impression_first="yes")
    row = audit_rows(clinic.app)[-1]
    page = clinic.administrator.get(saved.headers["location"]).text

    assert 303 == saved.status_code
    assert "Saved. It holds from the next page on." in page
    assert 'value="Quay Practice"' in page
    assert re.search(r'value="yes"\s+checked', page)
    assert "Quay Practice" in clinic.nurse.get("/").text
    assert ("setting", ADMINISTRATOR.name) == (row.action, row.name)
    # Which ones and not to what; the limits stand as they stood, and are not among them.
    assert {"names": ["impression_first", "name"]} == json.loads(row.detail)


def test_without_a_name_of_its_own_the_page_says_which_one_is_printed(clinic: Clinic) -> None:
    """That of the installation; an empty field must not read as no name."""
    assert "Empty: Harbour Clinic" in clinic.administrator.get("/admin/clinic").text


def test_saving_what_stands_there_writes_nothing(clinic: Clinic) -> None:
    """A press on Save is no act; lines come back as a browser ends them."""
    words = {WARNING: "Call 212\r\nor 213"}
    assert 303 == save(clinic, name="Quay Practice", **words).status_code
    before, acts = kept(clinic.app), len(audit_rows(clinic.app))
    assert 303 == save(clinic, name="Quay Practice", **words).status_code

    assert before == kept(clinic.app)
    assert acts == len(audit_rows(clinic.app))


def test_a_shorter_idle_limit_holds_for_the_next_request_of_everybody(clinic: Clinic) -> None:
    """Also for a screen that is open already."""
    nurse, administrator = clinic.nurse, clinic.administrator
    used(clinic, timedelta(minutes=3))
    assert 200 == nurse.get("/").status_code
    assert 200 == administrator.get("/admin/clinic").status_code
    assert 303 == save(clinic, idle_minutes="2").status_code
    used(clinic, timedelta(minutes=3))
    answer = nurse.get("/")

    assert 401 == answer.status_code
    assert "<h1>Locked</h1>" in answer.text


def test_the_absolute_limit_ends_every_sign_in(clinic: Clinic) -> None:
    """Whoever began longer ago signs in anew."""
    nurse = clinic.nurse
    assert 303 == save(clinic, absolute_hours="1", idle_minutes="60").status_code
    used(clinic, timedelta(minutes=59))
    assert 200 == nurse.get("/").status_code
    used(clinic, timedelta(minutes=60))
    answer = nurse.get("/")

    assert 401 == answer.status_code
    assert "<h1>Sign in</h1>" in answer.text


@pytest.mark.parametrize(
    ("field", "typed", "says"),
    [
        ("idle_minutes", "", "must be a whole number from 2 to 60"),
        ("idle_minutes", "a while", "must be a whole number from 2 to 60"),
        ("idle_minutes", "1", "must be a whole number from 2 to 60"),
        ("idle_minutes", "61", "must be a whole number from 2 to 60"),
        ("idle_minutes", "2.5", "must be a whole number from 2 to 60"),
        ("absolute_hours", "0", "must be a whole number from 1 to 24"),
        ("absolute_hours", "25", "must be a whole number from 1 to 24"),
        ("name", "x" * 81, "is longer than 80 characters"),
        ("name", "Quay\x00", "holds a character that cannot be kept"),
        ("impression_first", "maybe", "must be yes or no"),
        (WARNING, "x" * 501, "is longer than 500 characters"),
    ],
)
def test_a_fault_is_told_beside_its_field_and_nothing_is_saved(
    clinic: Clinic, field: str, typed: str, says: str
) -> None:
    """The line above names the field, as there are fifty of them; what was typed is kept."""
    clinic.administrator.get("/admin/clinic")
    before = kept(clinic.app)
    answer = save(
        clinic, **{"name": "Quay Practice", "pathway.rapid_weakness": "Ext. 212"} | {field: typed}
    )
    text = unescape(answer.text)
    above = re.search(rf'<li><a href="#{field}">([^<]+): {says}[^<]*</a></li>', text)
    label = re.search(rf'for="{field}">([^<]+)<', text) or re.search(r"<legend>([^<]+)<", text)

    assert 422 == answer.status_code
    assert above
    assert label
    assert label[1] == above[1]
    assert f'id="{field}-fault">{says[0].upper()}{says[1:]}' in text
    assert "Ext. 212</textarea>" in text
    assert field == "name" or 'value="Quay Practice"' in text
    assert before == kept(clinic.app)


def test_a_setting_that_there_is_not_is_refused_whole(clinic: Clinic) -> None:
    """A pathway beside a step that was retired would never be seen."""
    clinic.administrator.get("/admin/clinic")
    before = kept(clinic.app)
    answer = save(clinic, name="Quay Practice", **{"pathway.no_such_step": "Ext. 1"})

    assert 422 == answer.status_code
    assert "pathway.no_such_step: is not a setting" in answer.text
    assert before == kept(clinic.app)


def test_every_warning_and_step_has_a_place_for_the_clinics_own_words(clinic: Clinic) -> None:
    """Named as the screens name them; a group with a fault in it stands open."""
    text, known = clinic.administrator.get("/admin/clinic").text, knowledge()

    assert [f"pathway.{each}" for each in (*known.warnings, *known.steps)] == re.findall(
        r'<textarea id="([\w.]+)"', text
    )
    assert f"0 of {len(known.warnings)} written" in text
    assert '<details class="pathways" open>' not in text
    refused = save(clinic, **{WARNING: "x" * 501}).text
    assert 1 == refused.count('<details class="pathways" open>')


def test_a_pathway_stands_beside_its_warning_as_text(clinic: Clinic) -> None:
    """Word for word, in lines; markup in it is shown and never run."""
    words = "Call 212 <b>now</b>\n<script>alert(1)</script>"
    assert 303 == save(clinic, **{WARNING: words}).status_code
    settings = clinic.administrator.get("/admin/clinic").text
    exam_id = clinic.new_exam()
    # A physician who enters the last of it has seen it; a nurse calls one.
    for browser, finding, side, value in (
        (clinic, "hx_years", "", "0"),
        (clinic, "drift", "left", "2"),
        (clinic.nurse, "hx_onset", "", "sudden"),
    ):
        assert 200 == browser.cell(exam_id, finding, side, value).status_code

    for text in (settings, clinic.get("/").text, clinic.get(f"/exams/{exam_id}").text):
        assert "<script>alert(1)" not in text
        assert "<b>now</b>" not in text
        assert "Call 212 &lt;b&gt;now&lt;/b&gt;" in text
    assert "1 of" in settings


def test_people_without_a_second_factor_are_counted(clinic: Clinic) -> None:
    """The administrator is the one who can do something about it."""
    text = clinic.administrator.get("/admin/clinic").text

    assert "4 people sign in with a password alone, without a second factor." in text


# ---- two administrators


def test_a_stale_form_of_the_clinic_overwrites_nobody(clinic: Clinic) -> None:
    """Both texts beside the field, what was typed kept, the refusal told; then a person decides."""
    old = seen(clinic)
    assert (
        f'name="revision" value="{old["revision"]}"'
        in clinic.administrator.get("/admin/clinic").text
    )
    assert 303 == save(clinic, name="Quay Practice", **{WARNING: "Call 212"}).status_code
    before, acts = kept(clinic.app), len(audit_rows(clinic.app))
    mine = {WARNING: "Call 313", "idle_minutes": "5"}
    answer = save(clinic, **mine, **old)
    text = unescape(answer.text)
    row = audit_rows(clinic.app)[-1]

    assert 409 == answer.status_code
    said = (
        rf"{ADMINISTRATOR.name} \(\d\d:\d\d\) set “Call 212” meanwhile. Yours, “Call 313”, is not"
    )
    assert 2 == len(re.findall(said, text))
    assert "Call 313</textarea>" in text
    assert 'value="5"' in text
    # What I left alone stands as the other has set it, and is not mine to lose.
    assert 'value="Quay Practice"' in text
    assert 'id="name-fault"' not in text
    assert before == kept(clinic.app)
    assert acts + 1 == len(audit_rows(clinic.app))
    assert ("refused", ADMINISTRATOR.name) == (row.action, row.name)
    assert {"method": "POST", "route": "/admin/clinic", "status": 409} == json.loads(row.detail)
    assert 303 == save(clinic, name="Quay Practice", **mine).status_code
    assert "Call 313</textarea>" in clinic.administrator.get("/admin/clinic").text


def test_a_stale_form_that_sets_something_else_leaves_the_others_words_alone(
    clinic: Clinic,
) -> None:
    """Its untouched fields hold what stood there before, lines as a browser ends them."""
    assert 303 == save(clinic, **{WARNING: "Call 212\r\nor 213"}).status_code
    old = seen(clinic)
    assert 303 == save(clinic, **{WARNING: "Call 313"}).status_code
    late = save(clinic, idle_minutes="5", **{WARNING: "Call 212\r\nor 213"}, **old)
    text = clinic.administrator.get("/admin/clinic").text

    assert 303 == late.status_code
    assert "Call 313</textarea>" in text
    assert 'value="5"' in text


def test_a_stale_form_with_a_fault_stays_stale(clinic: Clinic) -> None:
    """The page that comes back with the fault must not make what is older look seen."""
    old = seen(clinic)
    assert 303 == save(clinic, name="Quay Practice").status_code
    answer = save(clinic, name="Dock Practice", idle_minutes="1", **old)

    assert 422 == answer.status_code
    assert f'name="revision" value="{old["revision"]}"' in answer.text
    assert 409 == save(clinic, name="Dock Practice", idle_minutes="2", **old).status_code
