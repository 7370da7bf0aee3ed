"""A condition written for two rails says what the reader of trees says."""

from hypothesis import given
from hypothesis import strategies as st

from app.logic.expression import And, AtLeast, Atom, Or
from app.logic.rails import Rail, Rails
from app.logic.truth import NO, UNKNOWN, YES, Truth
from tests.logic.worlds import LEFT, PAIRED, RIGHT, Answers, Condition
from tests.strategies import answers_to, conditions_on_a_side


def read(held: Condition, answers: Answers) -> Truth:
    """The truth that the two texts of a condition come to."""

    def atom(each: Atom, side: str | None, rail: Rail) -> str:
        answer = answers.get((each.name, side if each.name in PAIRED else None), UNKNOWN)
        return str(answer is YES if rail == "sure" else answer is not NO)

    rails = Rails(held.definitions, (RIGHT, LEFT), atom)
    sure, possible = (
        eval(rails.written(held.expression, rail, held.side)) for rail in ("sure", "possible")
    )
    assert possible or not sure
    return YES if sure else UNKNOWN if possible else NO


@given(st.data(), conditions_on_a_side())
def test_the_two_rails_are_the_three_values(data: st.DataObject, held: Condition) -> None:
    """Sure is yes, not possible is no, and possible without being sure is unknown."""
    answers = data.draw(answers_to(held.cells()))

    assert held.truth(answers) is read(held, answers)


def test_a_condition_without_members() -> None:
    """All of none hold, and none of none does."""
    found = [read(Condition(each, {}), {}) for each in (And(()), Or(()), AtLeast(1, ()))]

    assert [YES, NO, NO] == found
