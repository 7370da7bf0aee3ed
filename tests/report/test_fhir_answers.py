"""The sheet as a Questionnaire, and exams as answers to it: equal both ways, faults by place."""

import json
from collections.abc import Callable
from types import MappingProxyType
from typing import Any

import pytest
from hypothesis import given, settings

from app.exam.faults import BadExam
from app.exam.layout import WHOLE as ORDER
from app.exam.record import Exam, Patient
from app.exam.vocabulary import GRADE_WORDS, vocabulary
from app.knowledge.load import knowledge
from app.report.fhir.questionnaire import questionnaire
from app.report.fhir.response import exam_from_response, response
from tests.report.drawn import exams as full_exams
from tests.report.fhir_rules import errors_in_node, validate_in_python
from tests.report.samples import emergency_exam, normal_exam, nurse_exam, one_sided_exam
from tests.sampling import WHOLE
from tests.strategies import exams

SAMPLES = (Exam(), normal_exam(), one_sided_exam(), nurse_exam(), emergency_exam())


@pytest.fixture(scope="module")
def sheet() -> dict[str, Any]:
    """The Questionnaire, parsed."""
    parsed: dict[str, Any] = json.loads(questionnaire(knowledge()))
    return parsed


def items_of(sheet: dict[str, Any]) -> dict[str, dict[str, Any]]:
    """Every question by its linkId."""
    return {item["linkId"]: item for group in sheet["item"] for item in group["item"]}


def test_both_are_valid() -> None:
    """By the classes of R4B and by the R4 validator."""
    asked, answered = questionnaire(knowledge()), [response(exam) for exam in SAMPLES]
    validate_in_python("Questionnaire", [asked])
    validate_in_python("QuestionnaireResponse", answered)

    assert [[] for _ in range(len(answered) + 1)] == errors_in_node([asked, *answered])


def test_the_sheet_asks_for_everything_once_in_order(sheet: dict[str, Any]) -> None:
    """Stations as they are done, RIGHT before LEFT, a question for why it cannot be tested."""
    stations = [group["linkId"].removeprefix("station.") for group in sheet["item"][1:-1]]
    wanted = [
        link
        for station in ORDER
        for finding in vocabulary().at(station)
        for side in finding.sides
        for link in [f"{finding.id}.{side.value}" if side else finding.id]
        for link in (link, f"{link}.untestable")
    ]

    assert list(ORDER) == stations
    links = [item["linkId"] for group in sheet["item"][1:-1] for item in group["item"]]
    assert wanted == links
    assert len(links) == len(set(links))


def test_a_question_says_its_side_its_choices_and_its_unit(sheet: dict[str, Any]) -> None:
    """So that a form drawn from it is read as the sheet is."""
    items = items_of(sheet)
    tremor, base, walk = (items[name] for name in ("rest_tremor_hand.left", "base", "walk_s"))

    assert "Hand tremor at rest, LEFT (the patient’s left)" == tremor["text"]
    assert [f"{grade} {words}" for grade, words in enumerate(GRADE_WORDS)] == [
        option["valueCoding"]["display"] for option in tremor["answerOption"]
    ]
    assert list(vocabulary()["base"].words) == [
        option["valueCoding"]["display"] for option in base["answerOption"]
    ]
    assert "s" == walk["extension"][-1]["valueCoding"]["code"]
    assert "decimal" == walk["type"]


@settings(max_examples=1000 if WHOLE else 60)
@given(exams())
def test_answers_give_the_same_exam_again(exam: Exam) -> None:
    """Nothing is lost and nothing is made up, digits of numbers among it."""
    again = exam_from_response(response(exam))

    assert exam == again
    assert [str(value) for *_, value in exam.known()] == [str(value) for *_, value in again.known()]


@settings(max_examples=100 if WHOLE else 10)
@given(full_exams())
def test_full_exams_come_back_too(exam: Exam) -> None:
    """Every finding at once, many of them not testable."""
    assert exam == exam_from_response(response(exam))


def test_a_mirrored_exam_mirrors_its_answers() -> None:
    """Only the sides of the links and of their words change."""
    pairs = (("right", "\0"), ("left", "right"), ("\0", "left"))
    loud = tuple(
        (a.upper(), b.upper()) for a, b in (("right", "\1"), ("left", "right"), ("\1", "left"))
    )
    answers = response(one_sided_exam()).decode()
    for here, there in (*pairs, *loud):
        answers = answers.replace(here, there)

    assert one_sided_exam().mirrored() == exam_from_response(answers.encode())


def test_markup_stays_text() -> None:
    """In a reason and in a medicine."""
    exam = Exam(Patient(), MappingProxyType({}), ('<script>"1"</script> & \\ 10 mg',))

    assert exam == exam_from_response(response(exam))


# ---- what is wrong


def answered(change: Callable[[dict[str, Any], dict[str, Any]], object]) -> bytes:
    """The answers of one exam with something wrong. change: takes the whole, and items by link."""
    raw = json.loads(response(emergency_exam()))
    change(raw, items_of(raw))
    return json.dumps(raw).encode()


PLANTAR = "plantar.right"


@pytest.mark.parametrize(
    ("change", "fault"),
    [
        (lambda raw, _: raw.update(resourceType="Patient"), "response: not a Questionnaire"),
        (lambda raw, _: raw.update(questionnaire="urn:x"), "questionnaire: urn:x is not"),
        (lambda raw, _: raw.update(status="final"), "status: final is not one of"),
        (lambda raw, _: raw.update(item={}), "item: not a list"),
        (lambda raw, _: raw["item"].append({"text": "x"}), "item: an item without its linkId"),
        (lambda _, at: at[PLANTAR].update(linkId="tail.left"), "tail.left: not a question"),
        (lambda _, at: at[PLANTAR].update(item=[]), f"{PLANTAR}: a question of this sheet has no"),
        (lambda _, at: at[PLANTAR].update(linkId="plantar.left"), "plantar.left: stands twice"),
        (lambda _, at: at[PLANTAR].update(answer="up"), f"{PLANTAR}: its answers are not a list"),
        (lambda _, at: at[PLANTAR]["answer"].append({}), f"{PLANTAR}: 2 answers; at most one"),
        (
            lambda _, at: at[PLANTAR].update(answer=[{"valueString": "up"}]),
            f"{PLANTAR}: expected valueCoding alone, found valueString",
        ),
        (
            lambda _, at: at[PLANTAR]["answer"][0]["valueCoding"].update(system="urn:x"),
            f"{PLANTAR}: expected a code of urn:oid",
        ),
        (
            lambda _, at: at[PLANTAR]["answer"][0]["valueCoding"].update(code="base.wide"),
            f"{PLANTAR}: base.wide is not one of down, up",
        ),
        (
            lambda _, at: at["leg_resistance.left"]["answer"][0]["valueCoding"].update(code="4"),
            "leg_resistance.left: 4 is not a grade",
        ),
        (
            lambda _, at: at["hx_years"].update(answer=[{"valueDecimal": 900}]),
            "hx_years: 900 is not from",
        ),
        (
            lambda _, at: at[PLANTAR].update(
                linkId="plantar.left.untestable", answer=[{"valueString": "pain"}]
            ),
            "plantar.left.untestable: has a value, and a reason",
        ),
        (
            lambda _, at: at["finger_tap_slow.right.untestable"].update(
                answer=[{"valueString": "  "}]
            ),
            "finger_tap_slow.right.untestable: untestable needs its reason",
        ),
        (
            lambda _, at: at["patient.age"].update(answer=[{"valueDecimal": 200}]),
            "patient.age: 200 is not an age",
        ),
        (
            lambda _, at: at["patient.sex"].update(answer=[{"valueString": "male"}]),
            "patient.sex: expected valueCoding alone",
        ),
        (
            lambda _, at: at["medicines.line"].update(answer=[{"valueInteger": 1}]),
            "medicines.line: expected valueString alone",
        ),
        (
            lambda _, at: at["medicines.line"].update(answer=[{"valueString": "x" * 300}]),
            "medicines.line: longer than",
        ),
        (
            lambda _, at: at[PLANTAR].update(
                linkId="medicines.none", answer=[{"valueBoolean": True}]
            ),
            "medicines.none: there are medicines as well",
        ),
        (
            lambda _, at: at["medicines.line"].update(
                linkId="medicines.none", answer=[{"valueInteger": 1}]
            ),
            "medicines.none: expected valueBoolean",
        ),
        (
            lambda raw, _: raw["item"][0].update(answer=[{"valueBoolean": True}]),
            "patient: a group has no answer",
        ),
    ],
)
def test_a_fault_names_its_place(
    change: Callable[[dict[str, Any], dict[str, Any]], object], fault: str
) -> None:
    """Whoever sent it finds the question, and nothing of it is taken."""
    with pytest.raises(BadExam) as bad:
        exam_from_response(answered(change))

    (told,) = bad.value.faults
    assert told.startswith(fault)


def test_every_fault_is_told_at_once() -> None:
    """Nobody sends an exam ten times to learn of ten faults."""

    def change(raw: dict[str, Any], at: dict[str, Any]) -> None:
        raw["status"] = "final"
        at[PLANTAR]["answer"] = [{"valueString": "up"}]
        at["hx_years"]["linkId"] = "hx_days"

    with pytest.raises(BadExam) as bad:
        exam_from_response(answered(change))

    assert 3 == len(bad.value.faults)


@pytest.mark.parametrize("text", [b"", b"[]", b'{"a":1,"a":2}', b"\xff", b"[" * 100_000])
def test_what_is_no_response_is_refused(text: bytes) -> None:
    """With one fault that says what it is not."""
    with pytest.raises(BadExam, match=r"^response: "):
        exam_from_response(text)


def test_what_was_not_answered_is_unknown() -> None:
    """No answer, an empty answer list and a "no" to taking none: all unknown, never normal."""
    raw = json.loads(response(Exam()))
    raw["item"] = [
        {
            "linkId": "station.rest",
            "item": [{"linkId": "face_still"}, {"linkId": "tics", "answer": []}],
        },
        {
            "linkId": "medicines",
            "item": [{"linkId": "medicines.none", "answer": [{"valueBoolean": False}]}],
        },
    ]

    assert Exam() == exam_from_response(json.dumps(raw).encode())
