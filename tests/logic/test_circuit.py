"""A circuit gives what the reader of the trees gives, in one pass."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.logic.circuit import Circuit, WorkedOut, bits
from app.logic.expression import And, AtLeast, Atom, Not, Or, Reference
from app.logic.parse import parse
from app.logic.truth import NO, UNKNOWN, YES, Truth
from tests.logic.worlds import LEFT, PAIRED, RIGHT, Answers, Condition, TableWorld
from tests.strategies import answers_to, conditions_on_a_side


def worked_out(held: Condition, answers: Answers) -> WorkedOut:
    """An evaluation by circuit, in the world of these answers."""
    world = TableWorld(answers)
    named = [each.expression for each in held.definitions.values()]
    circuit = Circuit([held.expression, *named], held.definitions)
    sides = [(RIGHT, LEFT) if atom.name in PAIRED else (None, None) for atom in circuit.atoms]
    atoms = [
        bits(world.judge(atom, right), world.judge(atom, left))
        for atom, (right, left) in zip(circuit.atoms, sides, strict=True)
    ]
    return WorkedOut(world, circuit, atoms)


@given(st.data(), conditions_on_a_side())
def test_it_says_what_the_reader_of_trees_says(data: st.DataObject, held: Condition) -> None:
    """Of a condition and of every condition that it names, on its side, `surely` included."""
    answers = data.draw(answers_to(held.cells()))
    evaluation = worked_out(held, answers)

    assert held.truth(answers) is evaluation.truth(held.expression, held.side)
    for name, each in held.definitions.items():
        told = evaluation.truth(each.expression, held.side)

        assert held.evaluation(answers).truth(Reference(name), held.side) is told


@given(st.data(), conditions_on_a_side())
def test_it_names_the_same_reasons_and_gaps(data: st.DataObject, held: Condition) -> None:
    """What is passed over as settled would have added nothing."""
    answers = data.draw(answers_to(held.cells()))
    plain, circuit = held.evaluation(answers), worked_out(held, answers)
    asked = (held.expression, held.side)

    assert list(plain.because(*asked)) == list(circuit.because(*asked))
    assert list(plain.grounds(*asked)) == list(circuit.grounds(*asked))
    assert list(plain.unsettled(*asked)) == list(circuit.unsettled(*asked))


@given(st.data(), conditions_on_a_side())
def test_what_is_settled_is_known_whatever_is_answered(
    data: st.DataObject, held: Condition
) -> None:
    """Each further answer leaves it as it is."""
    answers = data.draw(answers_to(held.cells()))
    evaluation = worked_out(held, answers)
    if evaluation.is_settled(held.expression, held.side):
        more = {cell: data.draw(st.sampled_from((YES, NO))) for cell in held.cells()}
        fuller = {**more, **{c: a for c, a in answers.items() if a is not UNKNOWN}}

        assert held.truth(answers) is held.truth(fuller) is not UNKNOWN


def test_what_asks_for_gaps_is_never_settled() -> None:
    """A finding that is not known yet may be known with the next entry."""
    asked = parse("not known(x) and not untestable(x)")
    circuit = Circuit([asked], {})
    evaluation = WorkedOut(TableWorld({}), circuit, [0, 0])

    assert YES is evaluation.truth(asked)
    assert not evaluation.is_settled(asked)


def test_equal_parts_stand_once() -> None:
    """However often a condition is written, it is worked out once."""
    once, twice = parse("x and (y or z)"), parse("(y or z) and not (y or z)")
    circuit = Circuit([once, twice], {})
    assert isinstance(once, And)
    assert isinstance(twice, And)

    assert 3 == len(circuit.atoms)
    assert circuit.place(once.members[1]) == circuit.place(twice.members[0])
    assert 7 == len(circuit.run([0, 0, 0]))


def test_a_condition_made_on_the_spot_is_worked_out() -> None:
    """From the parts that are in the circuit."""
    held = Condition(parse("x and y"), {})
    evaluation = worked_out(held, {("x", None): YES, ("y", None): NO})

    assert YES is evaluation.truth(Not(held.expression))
    assert not evaluation.is_settled(Not(held.expression))


@pytest.mark.parametrize(
    ("expression", "truth"),
    [(And(()), YES), (Or(()), NO), (AtLeast(0, (Atom("x"),)), YES), (AtLeast(1, ()), NO)],
)
def test_a_condition_without_members(expression: And | Or | AtLeast, truth: Truth) -> None:
    """All of none hold, and none of none does."""
    assert truth is worked_out(Condition(expression, {}), {}).truth(expression)
