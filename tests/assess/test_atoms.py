"""An exam is read for the circuit as the tree reader would read it, cell by cell."""

from hypothesis import given, settings

from app.assess.assess import world_of
from app.assess.atoms import Reading, inputs_of
from app.exam.record import Exam
from app.exam.vocabulary import SIDES
from app.knowledge.load import knowledge
from app.logic.circuit import Circuit
from app.logic.evaluate import Evaluation
from app.logic.expression import Expression, Reference
from app.logic.parse import parse
from tests.assess.examined import exam_of
from tests.strategies import exams

KNOWN = knowledge()


@settings(max_examples=60, deadline=None)
@given(exam=exams())
def test_every_condition_is_what_the_tree_reader_makes_of_it(exam: Exam) -> None:
    """Of each sentence and each name in the knowledge, on each side; two readers, one result."""
    world = world_of(exam, KNOWN)
    by_tree = Evaluation(world, KNOWN.definitions)
    for name, definition in KNOWN.definitions.items():
        for side in SIDES if definition.paired else (None,):
            assert by_tree.truth(Reference(name), side) is world.named(name, side), name
    for sentence, expression in KNOWN.conditions.items():
        for side in SIDES if speaks_of_a_side(expression) else (None,):
            told = world.truth(expression, side)

            assert by_tree.truth(expression, side) is told, sentence


def speaks_of_a_side(expression: Expression) -> bool:
    """Whether a condition has to be judged on a side."""
    try:
        KNOWN.names.check_sides(expression, KNOWN.definitions, sided=False)
    except ValueError:
        return True
    return False


def test_an_answer_is_kept_for_what_was_recorded_and_not_for_a_cell() -> None:
    """A value that was seen before says the same; another one at the same place does not."""
    asked = KNOWN.names.resolve(parse("any(rest_tremor_hand >= definite)"))
    reading = Reading(KNOWN, Circuit([asked], KNOWN.definitions))
    given = [
        exam_of("rest_tremor_hand right 1"),
        exam_of("rest_tremor_hand right 2"),
        exam_of("rest_tremor_hand right 1"),
        exam_of("rest_tremor_hand left 2"),
        exam_of("rest_tremor_hand right untestable"),
    ]
    found = [reading.read(each, world_of(each, KNOWN).judge, medicines=False) for each in given]

    # Two bits a side: no is 0, unknown 1, yes 3; left in the upper two.
    assert [0b0100, 0b0111, 0b0100, 0b1101, 0b0101] == [each[0] for each in found]


def test_a_number_is_worked_out_from_its_inputs() -> None:
    """And a finding is its own input."""
    assert ("walk_m", "walk_s") == inputs_of("walking_speed_m_per_s")
    assert ("tug_s",) == inputs_of("tug_s")
