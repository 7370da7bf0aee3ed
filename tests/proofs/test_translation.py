"""The formulas say what the program does: what is proved of them is so of the program.

Every condition of the knowledge is compared, in exams drawn at random with all that an exam can
hold: untestable cells, numbers at cutoffs, medicine lines that nobody recognised.
"""

from functools import cache

import z3  # type: ignore[import-untyped]
from hypothesis import given, settings

from app.assess.assess import world_of
from app.exam.record import Exam
from app.logic.truth import Truth
from tests.proofs.exams import exam_of, is_this
from tests.proofs.facts import Fact
from tests.proofs.proving import Proofs
from tests.sampling import WHOLE
from tests.strategies import exams


@cache
def everything_said(proofs: Proofs) -> z3.BitVecRef:
    """Every formula of every condition in one number, a bit each: so it is read off in one go."""
    pairs = [pair for rule in proofs.rules.values() for pair in rule.of(proofs.exam)]
    facts = [fact for pair in pairs for fact in (pair.yes, pair.no)]
    return z3.Concat([z3.If(fact, z3.BitVecVal(1, 1), z3.BitVecVal(0, 1)) for fact in facts])


def answers(proofs: Proofs, *facts: Fact) -> tuple[z3.ModelRef, dict[str, list[Truth]]]:
    """An exam with these facts, and what every formula says in it, by the name of its condition."""
    with proofs.assuming(*facts):
        assert proofs.solver.check() == z3.sat
        model = proofs.solver.model()
    said = everything_said(proofs)
    read = iter(f"{model.eval(said, model_completion=True).as_long():0{said.size()}b}")
    return model, {
        rule.name: [_truth(next(read) == "1", next(read) == "1") for _ in rule.sides]
        for rule in proofs.rules.values()
    }


def _truth(yes: bool, no: bool) -> Truth:
    assert not (yes and no)
    return Truth.of(None if yes == no else yes)


def program(proofs: Proofs, exam: Exam) -> dict[str, list[Truth]]:
    """What the program says of every condition in an exam."""
    world = world_of(exam, proofs.knowledge)
    return {
        rule.name: [world.truth(rule.expression, side) for side in rule.sides]
        for rule in proofs.rules.values()
    }


@settings(max_examples=150 if WHOLE else 60, deadline=None)
@given(exam=exams())
def test_every_formula_says_what_the_program_says(proofs: Proofs, exam: Exam) -> None:
    """Each of some 370 conditions, on each side, in several hundred exams."""
    medicines = world_of(exam, proofs.knowledge).medicines
    _, said = answers(proofs, *is_this(proofs.exam, exam, medicines))

    assert program(proofs, exam) == said


def test_the_solver_and_the_program_agree_where_each_condition_holds(proofs: Proofs) -> None:
    """Random exams hardly ever reach some conditions; the solver finds an exam for each of them."""
    reached: set[str] = set()
    for rule in proofs.rules.values():
        holds = rule.of(proofs.exam)[0].yes
        if rule.name not in reached and proofs.possible(holds):
            model, said = answers(proofs, holds)
            reached |= {name for name, truths in said.items() if Truth.YES in truths}

            assert program(proofs, exam_of(model, proofs.exam)) == said
