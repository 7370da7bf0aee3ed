"""Patients: what a form must hold, and how they are found again."""

import threading
from dataclasses import asdict
from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st
from sqlalchemy import Engine
from sqlmodel import select

from app.store.audit_tables import AuditRow
from app.store.engine import reading, writing
from app.store.patients import (
    PatientCard,
    add_patient,
    age_on,
    check_patient,
    find_patients,
    patient,
)
from app.store.refusals import BadForm, NotFound
from tests.store.clinic import NOW, NURSE, TODAY, a_patient, form, wait_until_blocked

NOBODY = "0" * 32


def found(engine: Engine, typed: str) -> list[str]:
    """The chart numbers that a search finds, in its order."""
    with reading(engine) as session:
        return [card.chart_number for card in find_patients(session, typed)]


def refused(**changed: str) -> dict[str, str]:
    """The faults of a form."""
    with pytest.raises(BadForm) as fault:
        check_patient(form(**changed), TODAY)
    return fault.value.faults


def test_a_patient_is_kept_as_typed(engine: Engine) -> None:
    """Names, number, date and sex come back unchanged, under an id that says nothing."""
    added = a_patient(engine, family_name="Ó Sampla", given_name="Bríd", sex="")
    with reading(engine) as session:
        kept = patient(session, added.id)

    assert added == kept
    assert PatientCard(added.id, "T-1", "Ó Sampla", "Bríd", date(1950, 5, 6), None) == kept


def test_the_audit_tells_who_added_a_patient(engine: Engine) -> None:
    """Only of one who was added; without a person it is the program, as in the demonstration."""
    new = check_patient(form(), TODAY)
    with writing(engine) as session:
        added = add_patient(session, new, NOW, actor=NURSE)
        with pytest.raises(BadForm, match="already taken"):
            add_patient(session, new, NOW, actor=NURSE)
    with writing(engine) as session:
        other = add_patient(session, check_patient(form(chart_number="2"), TODAY), NOW)
    with reading(engine) as session:
        acts = [(row.action, row.name, row.patient_id) for row in session.exec(select(AuditRow))]

    assert [
        ("add_patient", NURSE.name, added.id),
        ("add_patient", "Evenhand", other.id),
    ] == acts


def test_ids_are_random(engine: Engine) -> None:
    """They stand in addresses, which are logged and sent about."""
    first, second = (a_patient(engine, chart_number=number) for number in ("1", "2"))

    assert first.id != second.id
    assert [32, 32] == [len(first.id), len(second.id)]
    assert not set(asdict(first).values()) & set(asdict(second).values()) - {
        "Mustermann",
        "Erika",
        date(1950, 5, 6),
        "female",
    }


@pytest.mark.parametrize(
    ("field", "typed", "says"),
    [
        ("chart_number", " ", "the chart number is missing"),
        ("chart_number", "-", "the chart number has no letter or digit"),
        ("chart_number", "9" * 41, "the chart number is longer than 40 characters"),
        ("family_name", "", "the family name is missing"),
        ("family_name", "x" * 101, "the family name is longer than 100 characters"),
        (
            "family_name",
            "Muster\x07mann",
            "the family name holds a character that cannot be kept (U+0007)",
        ),
        ("given_name", "\u200d", "the given name has no letter or digit"),
        ("birth_date", "", "the birth date is missing"),
        ("birth_date", "6.5.1950", "the birth date is not a date: write it as 1950-12-31"),
        ("birth_date", "1950-02-30", "the birth date is not a date: write it as 1950-12-31"),
        ("birth_date", "19500506", "the birth date is not a date: write it as 1950-12-31"),
        ("birth_date", "1950-W18-6", "the birth date is not a date: write it as 1950-12-31"),
        ("birth_date", "２０００-01-01", "the birth date is not a date: write it as 1950-12-31"),
        ("birth_date", "2026-03-05", "the birth date lies in the future"),
        ("birth_date", "1905-03-04", "the birth date is more than 120 years ago"),
        ("sex", "f", "choose female or male, or leave it out if unknown"),
    ],
)
def test_a_faulty_field_is_named(field: str, typed: str, says: str) -> None:
    """The message stands beside the field, and what was typed stays in it."""
    assert {field: says} == refused(**{field: typed})


def test_all_faults_are_told_at_once() -> None:
    """An empty form is a form, too."""
    with pytest.raises(BadForm) as fault:
        check_patient({}, TODAY)

    assert ["chart_number", "family_name", "given_name", "birth_date"] == list(fault.value.faults)


@pytest.mark.parametrize("typed", ["2026-03-04", "1905-03-05"])
def test_the_youngest_and_the_oldest_are_accepted(typed: str) -> None:
    """Born today, and one day short of 121 years."""
    assert date.fromisoformat(typed) == check_patient(form(birth_date=typed), TODAY).birth_date


@given(st.dictionaries(st.sampled_from(list(form())), st.text(st.characters(codec=None))))
def test_no_form_breaks_the_check(typed: dict[str, str]) -> None:
    """Whatever a browser sends gives a patient, who passes again, or a fault of what was sent."""
    faults: dict[str, str] = {}
    try:
        new = check_patient(form(**typed), TODAY)
        again = {field: str(held or "") for field, held in asdict(new).items()}
        passed = new == check_patient(again, TODAY)
    except BadForm as fault:
        faults, passed = fault.faults, False

    assert passed or set() < set(faults) <= set(typed)


@pytest.mark.parametrize("typed", ["T-1", "t-1", " T-1 ", "Ｔ-1"])
def test_a_chart_number_is_given_once(engine: Engine, typed: str) -> None:
    """Two patients under one number would be mixed up; case does not tell them apart."""
    first = a_patient(engine, chart_number="T-1")
    with pytest.raises(BadForm) as fault:
        a_patient(engine, chart_number=typed, family_name="Other")

    assert ["chart_number"] == list(fault.value.faults)
    with reading(engine) as session:
        assert [first] == find_patients(session, "")


def test_a_chart_number_that_two_add_at_once_is_given_once(engine: Engine) -> None:
    """The second waits for the first, and is then told; it sees no error of the database."""
    faults: list[dict[str, str]] = []

    def add_the_same() -> None:
        try:
            a_patient(engine, family_name="Second")
        except BadForm as fault:
            faults.append(fault.faults)

    second = threading.Thread(target=add_the_same)
    with writing(engine) as session:
        add_patient(session, check_patient(form(family_name="First"), TODAY), NOW)
        second.start()
        wait_until_blocked(engine, second)
    second.join()

    assert [{"chart_number": "the chart number T-1 is already taken"}] == faults
    assert ["T-1"] == found(engine, "first")


def test_nobody_is_found_under_a_wrong_id(engine: Engine) -> None:
    """An address can hold anything; the answer is the same and no database sees it."""
    a_patient(engine)
    for wrong in (NOBODY, "", "1", "\x00", "é" * 32, "\ud800", "' OR 1=1 --"):
        with reading(engine) as session, pytest.raises(NotFound, match="no such patient"):
            patient(session, wrong)


@pytest.fixture
def clinic(engine: Engine) -> Engine:
    """Patients whose names need care."""
    for number, family_name, given_name in (
        ("A-7", "Örnek", "Kemal"),
        ("A-8", "ornella", "Ágnes"),
        ("B-1", "de la Cruz", "Ana"),
        ("B-2", "Straße", "Jürgen"),
        ("B-3", "नमूना", "सरला"),
        ("B-4", "山田", "太郎"),
        ("100%", "Percent_", "Per"),
    ):
        a_patient(engine, chart_number=number, family_name=family_name, given_name=given_name)
    return engine


FINDS = {
    "ÖRN": ["A-7", "A-8"],
    "orn": ["A-7", "A-8"],
    "örnek": ["A-7"],
    "KEM": ["A-7"],
    "ágn": ["A-8"],
    "STRASSE": ["B-2"],
    "straß": ["B-2"],
    "juer": [],
    "नमू": ["B-3"],
    "सर": ["B-3"],
    "山": ["B-4"],
    "山田\u3000太郎": ["B-4"],
    "de la c": ["B-1"],
    "cruz": [],
    "de la Cruz, Ana": ["B-1"],
    "ana de la": ["B-1"],
    "a-": ["A-7", "A-8"],
    "A-7": ["A-7"],
    "100%": ["100%"],
    "%": [],
    "_": [],
    "per": ["100%"],
    ",": [],
    "\u0301": [],
    "\x00": [],
    "\ud800": [],
}


def test_patients_are_found_by_the_beginning_of_a_name_or_number(clinic: Engine) -> None:
    """The same on both databases, whatever their language settings are."""
    assert FINDS == {typed: found(clinic, typed) for typed in FINDS}


def test_an_empty_search_shows_everybody_in_one_order(clinic: Engine) -> None:
    """By code point of the search key: the databases would not agree on an alphabet."""
    assert ["B-1", "A-7", "A-8", "100%", "B-2", "B-3", "B-4"] == found(clinic, "  ")


def test_at_most_fifty_are_shown(engine: Engine) -> None:
    """A longer list is not read; one types more."""
    with writing(engine) as session:
        for number in range(51):
            new = check_patient(form(chart_number=f"N{number:02}"), TODAY)
            add_patient(session, new, NOW)

    assert [f"N{number:02}" for number in range(50)] == found(engine, "muster")


# Common practice: a year of age is complete on the birthday; a leap day's is counted on 1 March.
@pytest.mark.parametrize(
    ("born", "day", "age"),
    [
        ("1950-05-06", "2026-05-05", 75),
        ("1950-05-06", "2026-05-06", 76),
        ("2026-05-06", "2026-05-06", 0),
        ("1952-02-29", "2026-02-28", 73),
        ("1952-02-29", "2026-03-01", 74),
        ("1952-02-29", "2024-02-29", 72),
    ],
)
def test_age_is_whole_years(born: str, day: str, age: int) -> None:
    """It decides which norms apply."""
    assert age == age_on(date.fromisoformat(born), date.fromisoformat(day))
