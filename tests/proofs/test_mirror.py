"""Right and left are interchangeable: mirroring an exam mirrors what it adds up to."""

from typing import Any

from hypothesis import given, settings

from app.assess.assess import assess
from app.exam.record import Exam
from app.exam.vocabulary import Side
from app.knowledge.load import knowledge
from tests.proofs.proving import Json, Proofs
from tests.proofs.solver import Mirrored
from tests.strategies import exams


def test_mirroring_sides_mirrors_every_condition(proofs: Proofs) -> None:
    """A condition of the whole exam says the same of its mirror image.

    One that is judged on a side says on the other side what it said on this one.
    """
    mirrored = Mirrored(proofs.exam)
    with proofs.assuming(*mirrored.possible):
        for rule in proofs.rules.values():
            for side in rule.sides:
                here = proofs.exam.truth(rule.expression, side)
                there = mirrored.truth(rule.expression, side.other if side else None)

                assert proofs.never(here.is_not(there)) is None, rule.name


@settings(max_examples=60, deadline=None)
@given(exam=exams())
def test_mirroring_sides_mirrors_every_conclusion(exam: Exam) -> None:
    """The whole assessment of a mirrored exam is the mirrored assessment, in exams drawn at random.

    Levels, sides, reasons, what is missing, warnings, steps, what to examine next, conflicts.
    """
    found = assess(exam, knowledge()).as_json(every_category=True)
    of_mirrored = assess(exam.mirrored(), knowledge()).as_json(every_category=True)

    assert _in_order(_mirror(found)) == _in_order(of_mirrored)


def _mirror(told: Any) -> Any:
    match told:
        case dict():
            return {_other(key): _mirror(value) for key, value in told.items()}
        case list():
            return [_mirror(each) for each in told]
        case str():
            return _other(told)
        case _:
            return told


def _other(word: str) -> str:
    return Side(word).other.value if word in tuple(Side) else word


def _in_order(told: Json) -> Json:
    """With right before left in every list: what stands for each side comes in that order."""

    def sort(held: Any) -> Any:
        match held:
            case dict():
                return {key: sort(value) for key, value in held.items()}
            case list():
                return sorted((sort(each) for each in held), key=str)
            case _:
                return held

    return sort(told)
