"""What is given as a reason, what is asked for, and the document: for every exam."""

import json
from collections.abc import Iterator
from itertools import chain
from types import MappingProxyType

from hypothesis import given, settings

from app.assess.assess import assess
from app.assess.assessment import URGENCIES, Assessment, Reason, as_text
from app.exam.record import Exam
from app.exam.vocabulary import Side, vocabulary
from app.knowledge.load import knowledge
from tests.strategies import exams

KNOWN = knowledge()
FEW = settings(max_examples=settings().max_examples * 2 // 5)


# ---- reasons and questions


def reasons(found: Assessment) -> Iterator[Reason]:
    """Everything that is given as recorded."""
    for category in found.categories:
        yield from (*category.reasons_for, *category.against)
    for warning in found.warnings:
        yield from warning.because
    for hazard in found.hazards:
        yield from hazard.because
    yield from found.unexplained


@FEW
@given(exams())
def test_every_reason_was_recorded_with_that_value(exam: Exam) -> None:
    """On that side; a medicine stands in the list and in that class."""
    found = assess(exam, KNOWN)
    taken = {(each.ingredient, one) for each in found.recognised for one in each.classes}
    taken |= {(each.ingredient, each.ingredient) for each in found.recognised}

    for reason in reasons(found):
        if reason.medicine:
            assert (reason.medicine, reason.medicine_class) in taken
        elif reason.finding == "age":
            assert exam.patient.age == reason.value
        else:
            assert reason.finding is not None
            assert exam.value(reason.finding, reason.side) == reason.value is not None


@FEW
@given(exams())
def test_what_is_missing_is_not_known(exam: Exam) -> None:
    """And carries no value."""
    found = assess(exam, KNOWN)

    missing = [each.missing for each in found.categories]
    missing += [each.missing for each in found.warnings]

    for reason in chain.from_iterable(missing):
        assert reason.value is None
        if reason.finding in vocabulary():
            assert exam.value(reason.finding or "", reason.side) is None


@FEW
@given(exams())
def test_nothing_is_asked_for_that_was_recorded_or_could_not_be_tested(exam: Exam) -> None:
    """On that side; a pair is one entry."""
    found = assess(exam, KNOWN)

    assert len(found.check_next) == len({ask.finding for ask in found.check_next})
    for ask in found.check_next:
        assert ask.settles
        asked = ("right", "left") if ask.side == "both" else (ask.side,)
        for side in asked:
            assert (ask.finding, Side(side) if side else None) not in exam.cells


# ---- the document


# The keys of the contract, and two that the program adds: on which side a contradiction is, and the
# qualifiers of a warning, which the contract's rules name (`neurogenic`) without a place for them.
SHAPE = {
    "categories": {"id", "level", "side", "qualifiers", "for", "against", "missing", "sources"},
    "warnings": {"id", "urgency", "because", "missing", "sources"},
    "next_steps": {"id", "urgency", "because", "sources"},
    "check_next": {"finding", "side", "settles"},
    "hazards": {"id", "because"},
    "unexplained": {"finding", "side", "value"},
    "conflicts": {"findings", "says"},
}
ADDED = {"conflicts": {"side"}, "warnings": {"qualifiers"}}


@FEW
@given(exams())
def test_the_document_has_just_the_keys_of_the_contract(exam: Exam) -> None:
    """And is JSON, in which nothing is a number that it is not."""
    document = json.loads(as_text(assess(exam, KNOWN)))

    assert [
        *("knowledge", "derived", "categories", "warnings", "next_steps", "check_next", "hazards"),
        *("unexplained", "conflicts", "medicines"),
    ] == list(document)
    for key, keys in SHAPE.items():
        for each in document[key]:
            level = {"level"} if each.get("id") == "fall_risk" else set()
            assert keys | ADDED.get(key, set()) | level == each.keys(), key
    for listed in document["categories"]:
        for key in ("for", "against", "missing"):
            for reason in listed[key]:
                expected = {"finding", "side"} if "finding" in reason else {"class"}
                if key != "missing":
                    expected |= {"value"} if "finding" in reason else {"medicine"}
                assert expected == reason.keys()


@FEW
@given(exams())
def test_warnings_stand_by_urgency_and_then_in_the_order_of_the_knowledge(exam: Exam) -> None:
    """Emergencies above everything else."""
    found = [(URGENCIES.index(each.urgency), each.id) for each in assess(exam, KNOWN).warnings]
    order = [*KNOWN.warnings, "fall_risk"]
    # fall_risk stands after the others of its urgency that the contract names before it.
    assert sorted(rank for rank, _ in found) == [rank for rank, _ in found]
    for rank in range(len(URGENCIES)):
        same = [order.index(name) for at, name in found if at == rank]
        assert sorted(same) == same


@FEW
@given(exams())
def test_the_same_exam_gives_the_same_text(exam: Exam) -> None:
    """Recorded in another order, too."""
    backwards = MappingProxyType(dict(reversed(list(exam.cells.items()))))
    again = Exam(exam.patient, backwards, exam.medicines)

    assert as_text(assess(exam, KNOWN)) == as_text(assess(again, KNOWN))
