"""Nothing is asked for that cannot change a level or a warning; what could is not left out.

A completion of an exam holds all that was recorded, and answers to some or all of the rest; what
could not be tested stays so.
"""

import json
from collections.abc import Iterator
from itertools import combinations

import z3  # type: ignore[import-untyped]
from hypothesis import given, settings

from app.assess.answers import answers_to
from app.assess.assess import assess, world_of
from app.assess.assessment import CheckNext
from app.assess.results import result_of
from app.assess.world import ExamWorld
from app.exam.faults import BadExam
from app.exam.reading import parse_exam
from app.exam.record import Cell, Exam
from app.exam.vocabulary import SIDES, Side, vocabulary
from app.knowledge.load import knowledge
from app.logic.expression import Reference
from tests.assess.test_contract import CASES
from tests.proofs.claims import FALL_LEVELS, fall_level, levels, urgencies
from tests.proofs.exams import exam_of, holds, in_solver
from tests.proofs.facts import Fact, any_of
from tests.proofs.proving import Proofs, recorded_as
from tests.sampling import WHOLE, sampled
from tests.strategies import exams


def test_what_is_asked_of_the_contracts_examples_could_change_what_it_names(
    proofs: Proofs,
) -> None:
    """Of every example of the contract: each rule on some side, and each side for some rule.

    Two answers to the finding give another level or urgency, in some completion of what else is
    unknown.
    """
    for exam in examples():
        assert [] == list(idle(proofs, exam))


@settings(max_examples=12 if WHOLE else 6, deadline=None)
@given(exam=exams())
def test_what_is_asked_could_change_what_it_names(proofs: Proofs, exam: Exam) -> None:
    """The same of exams drawn at random."""
    assert [] == list(idle(proofs, exam))


@settings(max_examples=12 if WHOLE else 6, deadline=None)
@given(exam=exams())
def test_what_is_missing_and_not_asked_for_could_change_nothing(proofs: Proofs, exam: Exam) -> None:
    """Of an open category whatever is unexamined is asked for, unless no completion lets it decide.

    But for a detail of what is known not to be there, which would only be a contradiction.
    """
    found, world = assess(exam, proofs.knowledge), world_of(exam, proofs.knowledge)
    asked = {(each.finding, side) for each in found.check_next for side in sides_of(each)}
    for category in found.categories:
        if category.level == "open":
            for each in world.unsettled(Reference(f"{category.id}_fits")):
                cell = (each.finding or "", each.side)
                if cell not in asked and is_worth_asking(exam, cell):
                    assert not could_change(proofs, exam, category.id, cell), (category.id, cell)


@given(exam=exams())
def test_what_a_pattern_misses_is_what_is_asked_for_its_sake(exam: Exam) -> None:
    """The line beside it and the list of what to ask next agree, in exams drawn at random."""
    found = assess(exam, knowledge())
    asked = {
        (rule, each.finding, side)
        for each in found.check_next
        for rule in each.settles
        for side in sides_of(each)
    }
    for category in found.categories:
        missing = [(each.finding or "", each.side) for each in category.missing]
        for cell in missing if category.level == "open" else ():
            assert (category.id, *cell) in asked or not is_worth_asking(exam, cell)


def examples() -> Iterator[Exam]:
    """The exams of the contract's examples that can be read."""
    for case in sampled(CASES, 3):
        try:
            yield parse_exam(json.dumps(case["exam"]))
        except BadExam:
            continue


def idle(proofs: Proofs, exam: Exam) -> Iterator[tuple[str, str]]:
    """What is asked for in vain: a finding with a rule, or with a side, that it cannot change."""
    for asked in assess(exam, proofs.knowledge).check_next:
        could = {
            (rule, side)
            for rule in asked.settles
            for side in sides_of(asked)
            if could_change(proofs, exam, rule, (asked.finding, side))
        }
        yield from (
            (asked.finding, each) for each in {*asked.settles} - {rule for rule, _ in could}
        )
        yield from (
            (asked.finding, str(side)) for side in {*sides_of(asked)} - {s for _, s in could}
        )


def sides_of(asked: CheckNext) -> tuple[Side | None, ...]:
    """The sides on which a finding is asked for."""
    if asked.side == "both":
        return SIDES
    return (Side(asked.side) if asked.side else None,)


def is_worth_asking(exam: Exam, cell: Cell) -> bool:
    """Whether it is a finding not tried, and no detail of what is known not to be there."""
    if cell[0] not in vocabulary() or exam.is_untestable(*cell):
        return False
    described = vocabulary()[cell[0]].detail_of
    return described is None or exam.value(described, cell[1]) != 0


def could_change(proofs: Proofs, exam: Exam, rule: str, cell: Cell) -> bool:
    """Whether two answers to a cell give another result of a rule, in some completion.

    Looked for first where all the rest is known, then where some of it may be left open; then the
    program has to say so too, since the solver does not decide exactly what is open.
    """
    if changed(proofs, exam, rule, cell, is_whole=True):
        return True
    found = changed(proofs, exam, rule, cell, is_whole=False)
    if found is None:
        return False
    world = world_of(found, proofs.knowledge)
    return len({result_of(each, rule) for each in answered(world, cell)}) > 1


def answered(world: ExamWorld, cell: Cell) -> Iterator[ExamWorld]:
    """The exam with each answer to one cell."""
    for answer in answers_to(world.knowledge, cell[0]):
        yield world.supposing({cell: answer})


def changed(proofs: Proofs, exam: Exam, rule: str, cell: Cell, *, is_whole: bool) -> Exam | None:
    """A completion in which two answers to a cell give another result; None where there is none."""
    any_exam, medicines = proofs.exam, world_of(exam, proofs.knowledge).medicines
    facts = list(holds(any_exam, exam, medicines))
    for each, held in any_exam.cells.items():
        facts.append(held.untestable == exam.is_untestable(*each))
        if is_whole and each != cell and not exam.is_untestable(*each):
            facts.append(held.known)
    if is_whole:
        facts += [any_exam.age.known, any_exam.sex.known]
    if is_whole or (medicines.asked and not medicines.not_recognised):
        facts.append(any_exam.list_is_whole)
    differing = [
        any_of(*(first != second for first, second in zip(one, other, strict=True)))
        for one, other in combinations(list(_with_each_answer(proofs, rule, cell)), 2)
    ]
    with proofs.assuming(*facts, any_of(*differing)):
        answer = proofs.solver.check()
        assert answer != z3.unknown, "the solver gave up"
        return exam_of(proofs.solver.model(), any_exam) if answer == z3.sat else None


def _with_each_answer(proofs: Proofs, rule: str, cell: Cell) -> Iterator[list[Fact]]:
    """For each answer, in which exams a rule gives each of its results then."""
    exam, known = proofs.exam, proofs.knowledge
    held = exam.cells[cell]
    if rule in known.categories:
        results = list(levels(exam, known.categories[rule]).values())
    elif rule in known.warnings:
        results = list(urgencies(exam, known.warnings[rule]).values())
    else:
        results = [fall_level(exam, level) for level in FALL_LEVELS]
    for answer in answers_to(known, cell[0]):
        value = in_solver(cell, answer)
        # Python numbers become the solver's, as a substitution asks for.
        written = value if isinstance(value, z3.ExprRef) else held.value.sort().cast(value)
        yield [recorded_as(result, held, written) for result in results]
