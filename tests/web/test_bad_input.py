"""Bad input: a clear message at the place, what was typed is kept, nothing is half-written."""

from datetime import timedelta
from html import unescape

import pytest

from app.people.tokens import form_token
from app.web.forms import MAX_FIELDS
from app.web.guard import MAX_BODY_BYTES
from app.web.wording import today
from tests.web.clinic import COOKIE, HTMX, PERSON, PHYSICIAN, TOKEN_HEADER, Clinic

FORM = {"content-type": "application/x-www-form-urlencoded"}


@pytest.fixture
def exam_id(clinic: Clinic) -> str:
    """A new exam."""
    return clinic.new_exam()


@pytest.mark.parametrize(
    ("field", "typed", "says"),
    [
        ("chart_number", "", "The chart number is missing"),
        ("family_name", "  ", "The family name is missing"),
        ("given_name", "A" * 500, "The given name is longer than 100 characters"),
        ("family_name", "Lind\x00qvist", "The family name holds a character that cannot be kept"),
        ("birth_date", "", "The birth date is missing"),
        ("birth_date", "09.03.1951", "The birth date is not a date"),
        ("birth_date", "1951-02-30", "The birth date is not a date"),
        ("birth_date", "1851-02-03", "The birth date is more than 120 years ago"),
        (
            "birth_date",
            (today() + timedelta(days=1)).isoformat(),
            "The birth date lies in the future",
        ),
        ("sex", "", "Choose one; “not recorded” is an answer"),
        ("sex", "robot", "Choose female or male"),
        ("reason", "a\x1bb", "The reason holds a character that cannot be kept"),
    ],
)
def test_a_new_patient_with_a_fault_is_told_where(
    clinic: Clinic, field: str, typed: str, says: str
) -> None:
    """Beside the field and at the top, with everything that was typed."""
    answer = clinic.new_patient(**{field: typed})
    text = unescape(answer.text)

    assert 422 == answer.status_code
    assert "<title>Error: New patient" in text
    assert 2 == text.count(says), says
    assert 'role="alert"' in text
    for name, value in PERSON.items():
        if name not in (field, "sex"):
            assert f'value="{value}"' in text
    assert "No exam yet" in clinic.get("/").text


def test_every_fault_is_said_at_once(clinic: Clinic) -> None:
    """Five empty fields are five messages, each with a link to its field."""
    answer = clinic.client.post("/patients/new", data={"reason": ""})

    assert 422 == answer.status_code
    for anchor in ("chart_number", "family_name", "given_name", "birth_date", "sex"):
        assert f'href="#{anchor}"' in answer.text
        assert f'id="{anchor}"' in answer.text


def test_a_chart_number_that_is_taken_shows_whose_it_is(clinic: Clinic, exam_id: str) -> None:
    """It may be the same person, who is one press away."""
    answer = clinic.new_patient(given_name="Beata")

    assert 422 == answer.status_code
    assert "already taken" in answer.text
    assert f"/patients/{clinic.stored(exam_id).patient.id}" in answer.text


def test_sex_may_stay_unrecorded_but_not_by_oversight(clinic: Clinic) -> None:
    """It is an answer of its own."""
    exam_id = clinic.new_exam(sex="not recorded")

    assert clinic.stored(exam_id).patient.sex is None
    assert "sex not recorded" in clinic.get(f"/exams/{exam_id}").text


@pytest.mark.parametrize(
    ("finding", "side", "value", "says"),
    [
        ("rest_tremor_hand", "right", "7", "7 is not a grade from 0 to 3"),
        ("rest_tremor_hand", "right", "-1", "-1 is not a grade from 0 to 3"),
        ("rest_tremor_hand", "left", "two", "two is not a grade from 0 to 3"),
        ("rest_tremor_hand", "left", "²", "² is not a grade from 0 to 3"),
        ("rise", "", "flies", "flies is not one of normal, slow"),
        ("nystagmus", "", "maybe", "maybe is not true or false"),
        ("turn_steps", "", "999", "999 is not from 1 to 60 steps"),
        ("turn_steps", "", "4.5", "4.5 is not a whole number"),
        ("tug_s", "", "12,5", "12,5: write the number with a point"),
        ("tug_s", "", "1e3", "1e3 is not a number from 1 to 600"),
        ("tug_s", "", "9" * 5000, "is not a number from 1 to 600"),
        ("tug_s", "", "١٢", "is not a number from 1 to 600"),
        ("rise", "", "untestable", "“Cannot be tested” needs its reason"),
    ],
)
def test_a_wrong_value_is_told_beside_its_cell(
    clinic: Clinic, exam_id: str, finding: str, side: str, value: str, says: str
) -> None:
    """The same in the sheet with a script and in the plain form; nothing is recorded."""
    key = f"{finding}.{side}" if side else finding
    by_script = clinic.cell(exam_id, finding, side, value)
    by_form = clinic.sheet(exam_id, {f"value.{key}": value, "value.base": "wide"})

    for answer in (by_script, by_form):
        assert 422 == answer.status_code
        text = unescape(answer.text)
        slot = text.partition(f'c-{key.replace(".", "-")}-message">')[2]
        assert says.lower() in slot[: len(says) + 200].lower()
        assert "NOT SAVED" in text
    assert "<title>Error: " in by_form.text
    assert f'href="#c-{key.replace(".", "-")}"' in by_form.text
    assert [] == clinic.entries(exam_id)
    # What was right in the form is kept in it, though not recorded.
    assert 'id="c-base-wide" value="wide" checked' in by_form.text


@pytest.mark.parametrize(
    ("finding", "side"),
    [
        ("tail_wag", "right"), ("rest_tremor_hand", ""), ("rest_tremor_hand", "middle"),
        ("rise", "left"), ("", ""), ("medicines", ""),
    ],
)  # fmt: skip
def test_a_cell_that_no_exam_has_is_refused(
    clinic: Clinic, exam_id: str, finding: str, side: str
) -> None:
    """A wrong id or side is a mistake of a program, and is said so."""
    by_script = clinic.cell(exam_id, finding, side, "1")
    by_form = clinic.sheet(exam_id, {f"value.{finding}.{side}": "1", "value.rise": "slow"})

    assert 422 == by_script.status_code
    assert 422 == by_form.status_code
    assert "is not a finding of this exam" in by_form.text
    assert [] == clinic.entries(exam_id)


@pytest.mark.parametrize(
    ("medicines", "says"),
    [
        ("\n".join(f"medicine {n}" for n in range(500)), "500 lines; at most 100 medicines"),
        ("x" * 201, "Line 1 is longer than 200 characters"),
        ("aspirin\nbeta\x00blocker", "Line 2 holds a character that cannot be kept"),
    ],
)
def test_a_medicine_list_that_cannot_be_kept_is_told_why(
    clinic: Clinic, exam_id: str, medicines: str, says: str
) -> None:
    """And stands in its field as it was typed."""
    fields = {"medicines": medicines}
    by_form = clinic.sheet(exam_id, fields)
    by_script = clinic.client.post(
        f"/exams/{exam_id}/medicines", data=fields | {"revision": "0"}, headers=HTMX
    )

    for answer in (by_form, by_script):
        assert 422 == answer.status_code
        assert says in unescape(answer.text)
    assert medicines.splitlines()[-1] in unescape(by_form.text)
    assert clinic.stored(exam_id).exam.medicines is None


def test_none_and_a_list_at_once_is_a_contradiction(clinic: Clinic, exam_id: str) -> None:
    """Neither is guessed."""
    answer = clinic.sheet(exam_id, {"medicines": "aspirin", "no_medicines": "yes"})

    assert 422 == answer.status_code
    assert "“Takes no medicines” is ticked" in unescape(answer.text)


def test_an_unknown_medicine_is_kept_and_said_to_be_unchecked(clinic: Clinic, exam_id: str) -> None:
    """It is no fault: it is what the patient takes."""
    clinic.sheet(exam_id, {"medicines": "metoclopramde 10 mg\r\nZubrovin"})
    text = clinic.get(f"/exams/{exam_id}").text

    assert ("metoclopramde 10 mg", "Zubrovin") == clinic.stored(exam_id).exam.medicines
    assert "not recognised, not checked: did you mean metoclopramide?" in text
    assert "not recognised, not checked." in text


@pytest.mark.parametrize(
    "path", ["/", "/patients/new", "/exams/{id}", "/exams/{id}/cells", "/api/assess"]
)
def test_a_large_body_is_refused_before_it_is_read(clinic: Clinic, exam_id: str, path: str) -> None:
    """One megabyte, with and without its length said in advance."""
    path = path.replace("{id}", exam_id)
    body = b"reason=" + b"x" * 1_000_000
    for content in (body, iter([body[:500_000], body[500_000:]])):
        answer = clinic.client.post(path, content=content, headers=FORM)

        assert 413 == answer.status_code
        assert f"larger than {MAX_BODY_BYTES // 1024} KiB" in answer.text
    assert [] == clinic.entries(exam_id)


@pytest.mark.parametrize("path", ["/", "/patients/new", "/exams/{id}", "/exams/{id}/cells",
                                  "/exams/{id}/medicines", "/exams/{id}/normal"])  # fmt: skip
@pytest.mark.parametrize(
    ("content", "content_type", "status"),
    [
        (bytes(range(256)) * 8, "application/x-www-form-urlencoded", 422),
        (b"revision=%ff%fe", "application/x-www-form-urlencoded", 422),
        (b"\x00\x01\x02", "application/octet-stream", 415),
        (b'{"revision": 0}', "application/json", 415),
        (b"", "", 415),
        (b"--x\r\n\x00", "multipart/form-data; boundary=x", 415),
        (b"revision=0&revision=1", "application/x-www-form-urlencoded", 422),
        (b"&".join(b"a%d=1" % n for n in range(MAX_FIELDS + 1)),
         "application/x-www-form-urlencoded", 422),
    ],
)  # fmt: skip
def test_a_body_that_is_no_form_is_refused(
    clinic: Clinic, exam_id: str, path: str, content: bytes, content_type: str, status: int
) -> None:
    """Binary, another type, a field twice, fields without end."""
    answer = clinic.client.post(
        path.replace("{id}", exam_id), content=content, headers={"content-type": content_type}
    )

    assert status == answer.status_code, answer.text
    assert answer.text.startswith("<!DOCTYPE html>")
    assert [] == clinic.entries(exam_id)


@pytest.mark.parametrize("revision", ["", "-1", "1", "x", "1" * 30, "०"])
def test_a_revision_that_the_exam_never_had_is_refused(
    clinic: Clinic, exam_id: str, revision: str
) -> None:
    """The form was not made from this exam."""
    for answer in (
        clinic.cell(exam_id, "rise", "", "slow", revision=revision),
        clinic.sheet(exam_id, {"value.rise": "slow"}, revision=revision),
    ):
        assert 422 == answer.status_code
        assert "load the page again" in answer.text
    assert [] == clinic.entries(exam_id)


@pytest.mark.parametrize("wrong", ["0" * 32, "x", "%00", "..%2f..", "1' OR '1'='1", "ä" * 40])
def test_an_address_that_leads_nowhere_is_a_whole_page(clinic: Clinic, wrong: str) -> None:
    """With a way back to the exams."""
    for path in (
        f"/exams/{wrong}",
        f"/patients/{wrong}",
        f"/exams/{wrong}/pdf",
        f"/exams/{wrong}/note",
    ):
        answer = clinic.get(path)

        assert 404 == answer.status_code, path
        assert "Not found" in answer.text
        assert 'href="/"' in answer.text
    answer = clinic.client.post(
        f"/exams/{wrong}/cells",
        data={"finding": "rise", "side": "", "value": "slow", "revision": "0"},
    )
    assert 404 == answer.status_code


def test_a_station_that_cannot_be_marked_normal_is_refused(clinic: Clinic, exam_id: str) -> None:
    """History and measures have no normal that one act could give."""
    for station in ("history", "measures", "more", "", "x"):
        answer = clinic.client.post(
            f"/exams/{exam_id}/normal", data={"station": station, "revision": "0"}, headers=HTMX
        )
        assert 422 == answer.status_code
    assert 422 == clinic.sheet(exam_id, {"normal": "history"}).status_code
    assert [] == clinic.entries(exam_id)


def test_an_entry_by_nobody_is_refused(clinic: Clinic, exam_id: str) -> None:
    """Nothing is recorded that no one stands for."""
    nobody = clinic.other_browser(None)

    assert 401 == nobody.cell(exam_id, "rise", "", "slow").status_code
    assert 401 == nobody.sheet(exam_id, {"value.rise": "slow"}).status_code
    assert [] == clinic.entries(exam_id)


@pytest.mark.parametrize("cookie", ["", "x", "0" * 64, "nurse:%00", "x" * 4000])
def test_a_cookie_that_nobody_set_counts_as_none(clinic: Clinic, exam_id: str, cookie: str) -> None:
    """It is typed text like any other."""
    stranger = clinic.other_browser(None)
    stranger.client.cookies.set(COOKIE, cookie)
    stranger.client.headers[TOKEN_HEADER] = form_token(cookie)

    assert 401 == stranger.cell(exam_id, "rise", "", "slow").status_code
    assert 401 == stranger.get(f"/exams/{exam_id}").status_code


def test_a_recorder_in_the_form_is_nobody(clinic: Clinic, exam_id: str) -> None:
    """Who records is who is signed in, whatever a form says."""
    clinic.cell(exam_id, "rise", "", "slow", recorder="Dr X. Other", role="nurse")

    made = clinic.entries(exam_id)[0]
    assert (PHYSICIAN.name, "physician") == (made.by, made.role)


@pytest.mark.parametrize("text", ["", "   ", "a\x00b", "x" * 101])
def test_a_search_that_cannot_be_made_says_why(clinic: Clinic, text: str) -> None:
    """Beside the field, with what was typed."""
    answer = clinic.client.post("/", data={"search": text})

    assert 422 == answer.status_code
    assert 'id="search-fault"' in answer.text
    assert "<title>Error: Exams" in answer.text


@pytest.mark.parametrize(
    ("content", "says"),
    [
        ('{"findings": {"base": {"right": "wide"}}}', "findings.base: an object is not one of"),
        ('{"findings": {"clonus": {"right": 5}}}', "findings.clonus.right: 5 is not true or false"),
        ('{"findings": {"x": 1}}', "findings.x: not a finding"),
        ("nonsense", "exam: not JSON"),
        ("", "exam: not JSON"),
        (b"\xff\x00", "exam: not"),
    ],
)  # fmt: skip
def test_the_api_answers_bad_input_with_the_list_of_faults(
    clinic: Clinic, content: str | bytes, says: str
) -> None:
    """The same words as the command line."""
    for content_type in ("application/json", "text/plain"):
        answer = clinic.client.post(
            "/api/assess", content=content, headers={"content-type": content_type}
        )

        assert 422 == answer.status_code
        assert answer.json()["error"][0].startswith(says)
