"""What holds for every condition: drawn at random and compared with a plain reading of it.

The oracle goes through every way in which the unknown cells could turn out and reads the condition
in each (tests/logic/worlds.py); it knows nothing of three values.
"""

from hypothesis import given
from hypothesis import strategies as st

from app.logic.expression import AnySide, BothSides, Expression, OtherSide, rewrite
from app.logic.parse import BadExpression, parse
from app.logic.truth import UNKNOWN, YES, Truth
from tests.logic.worlds import OPPOSITE, Answers, Condition, completions, mirrored, true_cells
from tests.strategies import (
    EVERY_WRAP,
    answers_to,
    atoms,
    conditions,
    fuller,
    read_once_conditions,
    sentence,
    trees,
)


def outcomes(held: Condition, answers: Answers) -> set[bool]:
    """What the condition can come to, over everything that is not known."""
    return {held.holds(true_cells(whole)) for whole in completions(answers, held.cells())}


def oracle(held: Condition, answers: Answers) -> Truth:
    """What is so in every case; unknown where it depends."""
    found = outcomes(held, answers)
    return UNKNOWN if len(found) == 2 else Truth.of(found.pop())


# ---- the value


@given(st.data(), conditions())
def test_what_is_settled_stays_so_however_the_unknown_turns_out(
    data: st.DataObject, held: Condition
) -> None:
    """Sound, over every completion: the promise that the whole program rests on."""
    answers = data.draw(answers_to(held.cells()))
    truth = held.truth(answers)

    if truth is not UNKNOWN:
        assert {truth is YES} == outcomes(held, answers)


@given(st.data(), conditions())
def test_more_information_never_changes_what_is_settled(
    data: st.DataObject, held: Condition
) -> None:
    """Monotone, one finding after the other, through exams that are still incomplete."""
    answers = data.draw(answers_to(held.cells()))
    more = data.draw(fuller(answers))
    truth = held.truth(answers)

    assert truth in (UNKNOWN, held.truth(more))


@given(st.data(), conditions())
def test_where_everything_is_known_the_value_is_the_plain_reading(
    data: st.DataObject, held: Condition
) -> None:
    """Three values are two where nothing is unknown."""
    answers = data.draw(answers_to(held.cells()))

    for whole in completions(answers, held.cells()):
        assert Truth.of(held.holds(true_cells(whole))) is held.truth(whole)


@given(st.data(), conditions(EVERY_WRAP))
def test_surely_is_exact_where_everything_is_known(data: st.DataObject, held: Condition) -> None:
    """It only reads unknown as no, and here is none."""
    answers = data.draw(answers_to(held.cells()))

    for whole in completions(answers, held.cells()):
        assert Truth.of(held.holds(true_cells(whole))) is held.truth(whole)


@given(st.data(), read_once_conditions())
def test_a_condition_that_reads_each_cell_once_is_exact(
    data: st.DataObject, held: Condition
) -> None:
    """Unknown is said only where it depends; where one cell is read twice no one can promise it."""
    assert len(held.cells()) == len(set(held.cells())), "the strategy reads each cell once"

    answers = data.draw(answers_to(held.cells()))

    assert oracle(held, answers) is held.truth(answers)


@given(st.data(), conditions(EVERY_WRAP))
def test_the_mirror_of_a_world_gives_the_mirrored_result(
    data: st.DataObject, held: Condition
) -> None:
    """Right and left are treated alike in every rule that can be written."""
    answers = data.draw(answers_to(held.cells()))
    mirror = Condition(held.expression, held.definitions, OPPOSITE[held.side])

    assert held.truth(answers) is mirror.truth(mirrored(answers))


# ---- because


@given(st.data(), conditions((AnySide, BothSides, OtherSide)))
def test_the_reasons_alone_make_the_condition_true(data: st.DataObject, held: Condition) -> None:
    """Where nothing is negated, what is shown as the reason is reason enough."""
    answers = data.draw(answers_to(held.cells()))
    reasons = held.because(answers)

    assert (held.truth(answers) is YES) == bool(reasons)
    assert held.truth(answers) is held.truth(dict.fromkeys(reasons, YES)) or not reasons


@given(st.data(), conditions(EVERY_WRAP))
def test_every_reason_is_true(data: st.DataObject, held: Condition) -> None:
    """Nothing is given as a reason that was not recorded so."""
    answers = data.draw(answers_to(held.cells()))

    assert {YES} >= {answers[cell] for cell in held.because(answers)}


@given(st.data(), conditions())
def test_what_a_yes_or_no_rests_on_is_enough_for_it(data: st.DataObject, held: Condition) -> None:
    """With everything else unknown it is said all the same; and of unknown there are no grounds."""
    answers = data.draw(answers_to(held.cells()))
    grounds = held.grounds(answers)

    assert held.truth(answers) is held.truth({cell: answers[cell] for cell in grounds})
    assert (held.truth(answers) is UNKNOWN) == (not grounds)


# ---- unsettled


@given(st.data(), conditions())
def test_what_is_settled_asks_for_nothing_and_what_is_open_asks(
    data: st.DataObject, held: Condition
) -> None:
    """An open question always names something that could be looked at."""
    answers = data.draw(answers_to(held.cells()))

    assert (held.truth(answers) is UNKNOWN) == bool(held.unsettled(answers))


@given(st.data(), conditions())
def test_only_what_is_not_known_is_asked_for(data: st.DataObject, held: Condition) -> None:
    """What was recorded, or could not be tested, is not asked for again."""
    answers = data.draw(answers_to(held.cells()))
    final = frozenset(data.draw(st.sets(st.sampled_from(held.cells()))))
    asked = held.unsettled(answers, final)

    assert set() == {cell for cell in asked if cell in final or answers[cell] is not UNKNOWN}


@given(st.data(), conditions())
def test_what_is_not_asked_for_never_changes_the_value(
    data: st.DataObject, held: Condition
) -> None:
    """For every condition, settled or open: only what is asked for could change what is said.

    Also where some of the unknown cells stay unknown for good.
    """
    answers = data.draw(answers_to(held.cells()))
    final = frozenset(data.draw(st.sets(st.sampled_from(held.cells()))))
    asked = {*held.unsettled(answers, final), *final}
    more = data.draw(fuller(answers))
    aside = {cell: answers[cell] if cell in asked else more[cell] for cell in answers}

    assert held.truth(answers) is held.truth(aside)


@given(st.data(), read_once_conditions())
def test_where_each_cell_is_read_once_just_what_matters_is_asked_for(
    data: st.DataObject, held: Condition
) -> None:
    """Each cell asked for decides in some case, and no other does.

    Where a cell is read twice, more may be asked for than matters, and never less.
    """
    answers = data.draw(answers_to(held.cells()))
    wholes = list(completions(answers, held.cells()))
    matters = {
        cell
        for whole in wholes
        for cell in answers
        if answers[cell] is UNKNOWN
        and held.holds(true_cells(whole)) != held.holds(true_cells(whole) ^ {cell})
    }

    assert matters == set(held.unsettled(answers))


@given(st.data(), conditions())
def test_all_that_matters_is_asked_for(data: st.DataObject, held: Condition) -> None:
    """For every condition: an open question never hides the one finding that would decide."""
    answers = data.draw(answers_to(held.cells()))
    asked = set(held.unsettled(answers))

    if held.truth(answers) is UNKNOWN:
        for whole in completions(answers, held.cells()):
            for cell in answers:
                if held.holds(true_cells(whole)) != held.holds(true_cells(whole) ^ {cell}):
                    assert cell in asked or answers[cell] is not UNKNOWN


# ---- as it is written


@given(trees(atoms()))
def test_a_condition_that_is_written_down_is_read_back_the_same(expression: Expression) -> None:
    """Whatever an author can mean, the parser understands."""
    assert expression == parse(sentence(expression))
    assert expression == rewrite(expression, lambda atom: atom)


WORDS = ["a", "b", "and", "or", "not", "any", "at_least", "is", "in", "(", ")", ",", ">=", "2"]


@given(st.text("ab_ 12()<>=,\n") | st.lists(st.sampled_from(WORDS)).map(" ".join))
def test_any_text_gives_a_tree_or_points_at_a_place(text: str) -> None:
    """A slip of the pen never ends in a crash, and the mark stands within the sentence."""
    place = 0
    try:
        parse(text)
    except BadExpression as refused:
        text, place = refused.text, refused.position

    assert 0 <= place <= len(text)
