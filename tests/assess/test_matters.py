"""What could still change a condition, against every way in which all that is open may turn out."""

from collections.abc import Callable, Iterator, Mapping
from itertools import product

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.assess.answers import answers_to
from app.assess.assess import world_of
from app.assess.matters import cells_deciding, deciding
from app.assess.residue import (
    NEVER,
    SURE,
    UNSURE,
    Joint,
    Leaf,
    Open,
    Residue,
    Residues,
    Settled,
    joint,
)
from app.assess.world import ExamWorld
from app.exam.record import Exam
from app.exam.vocabulary import Side, vocabulary
from app.knowledge.load import knowledge
from app.logic.expression import (
    And,
    AnySide,
    Atom,
    Expression,
    Not,
    Or,
    OtherSide,
    Reference,
    Surely,
    walk,
)
from app.logic.truth import NO, UNKNOWN, YES
from tests.assess.examined import exam_of
from tests.strategies import exams, trees

KNOWN = knowledge()
RANK = {NO: NEVER, UNKNOWN: UNSURE, YES: SURE}
# Four things that may be open; how many answers each has.
OPENS: dict[Open, int] = {("a", None): 2, ("b", Side.RIGHT): 2, ("b", Side.LEFT): 2, ("c", None): 3}
CONDITIONS = [
    *(Reference(f"{name}_{what}") for name in KNOWN.categories for what in ("fits", "cautioned")),
    *(Reference(f"{name}_raised") for name in KNOWN.warnings),
]


# ---- trees of which every completion can be gone through


@st.composite
def leaves(draw: st.DrawFn) -> Leaf:
    """One place of one thing: what each answer makes of it, and what none does."""
    each = draw(st.sampled_from(list(OPENS)))
    given = draw(st.tuples(*[st.sampled_from((NEVER, SURE))] * OPENS[each]))
    # Answers are told apart from each other, or, under `known`, from none.
    none = draw(st.sampled_from((UNSURE, UNSURE, NEVER, SURE)))
    if len(set(given)) == 1:
        none = SURE - given[0]
    return Leaf(each, (*given, none))


def residues() -> st.SearchStrategy[Residue]:
    """So many of these, of those, … as `Residues` puts them together."""

    def joints(members: st.SearchStrategy[Residue]) -> st.SearchStrategy[Residue]:
        return st.lists(members, min_size=2, max_size=4).flatmap(
            lambda held: st.integers(1, len(held)).map(lambda count: joint(count, held))
        )

    parts = st.one_of(leaves(), leaves(), leaves(), st.just(UNSURE))
    return joints(st.recursive(parts, joints, max_leaves=7))


def result(residue: Residue, answered: Mapping[Open, int]) -> Settled:
    """How a residue comes out where everything open in it is answered, the last being no answer."""
    if isinstance(residue, Leaf):
        return residue.answers[answered[residue.open]]
    if isinstance(residue, Joint):
        held = sorted((result(each, answered) for each in residue.members), reverse=True)
        return held[residue.least - 1]
    return residue


def places(residue: Residue) -> Iterator[Leaf]:
    """Every leaf, from the left."""
    if isinstance(residue, Leaf):
        yield residue
    elif isinstance(residue, Joint):
        for each in residue.members:
            yield from places(each)


def decide(residue: Residue, told_apart: Callable[[Settled], object]) -> set[Open]:
    """What decides, by going through every completion of the rest."""
    found = list(places(residue))
    may_stay_open = {each.open for each in found if each.answers[-1] != UNSURE}
    answers = {each: range(count + (each in may_stay_open)) for each, count in OPENS.items()}

    def decides(one: Open) -> bool:
        rest = [each for each in OPENS if each != one]
        return any(
            len(
                {
                    told_apart(result(residue, {**dict(zip(rest, chosen, strict=True)), one: own}))
                    for own in range(OPENS[one])
                }
            )
            > 1
            for chosen in product(*(answers[each] for each in rest))
        )

    return {each.open for each in found if decides(each.open)}


@given(residue=residues())
def test_what_decides_is_what_some_completion_lets_decide(residue: Residue) -> None:
    """No cell is asked for in vain, and none is left out that could change a level."""
    assert decide(residue, lambda each: each) == deciding(residue, only_if_sure=False)


@given(residue=residues())
def test_a_warning_asks_only_for_what_could_raise_it_or_not(residue: Residue) -> None:
    """Between no and unknown it makes no difference: neither raises a warning."""
    assert decide(residue, lambda each: each == SURE) == deciding(residue, only_if_sure=True)


def test_what_is_answered_away_decides_nothing() -> None:
    """Leaving the result to the place of one thing may leave nothing of that thing.

    What else stands in several places is then near nothing; it was a fault to measure how near.
    """
    right, left, other = ("b", Side.RIGHT), ("b", Side.LEFT), ("c", None)
    one: Open = ("a", None)
    doubled = Joint(1, (Leaf(left, (SURE, NEVER, NEVER)), Leaf(right, (SURE, SURE, NEVER))))
    counted = (Leaf(one, (SURE, SURE, NEVER)), Leaf(one, (NEVER, NEVER, SURE)))
    around = (Leaf(right, (SURE, SURE, NEVER)), Leaf(one, (NEVER, SURE, UNSURE)))
    residue = Joint(
        2,
        (
            Joint(1, (Leaf(right, (SURE, NEVER, SURE)), doubled)),
            Joint(
                1,
                (
                    Joint(2, (*counted, Leaf(other, (NEVER, SURE, SURE, SURE)))),
                    Joint(1, (*around, Leaf(other, (SURE, NEVER, NEVER, UNSURE)))),
                ),
            ),
        ),
    )

    assert decide(residue, lambda each: each) == deciding(residue, only_if_sure=False)
    assert decide(residue, lambda each: each == SURE) == deciding(residue, only_if_sure=True)


def test_three_of_four_are_counted_to_the_third() -> None:
    """Two could not be tested: the two others cannot make it three, only that it is not."""
    open_: list[Open] = [("a", None), ("c", None)]
    residue = Joint(3, (UNSURE, *(Leaf(each, (NEVER, SURE, UNSURE)) for each in open_), UNSURE))

    assert set() == deciding(residue, only_if_sure=True)
    assert set(open_) == deciding(residue, only_if_sure=False)


# ---- how members join


@pytest.mark.parametrize(("least", "size"), [(n, m) for m in (1, 2, 3, 4) for n in range(1, m + 1)])
def test_so_many_of_these_is_reduced_by_what_is_settled(least: int, size: int) -> None:
    """Whatever is settled among the members, the rest comes out as all together would."""
    kinds: list[Residue] = [NEVER, UNSURE, SURE, Leaf(("a", None), (NEVER, SURE, UNSURE))]
    for members in product(kinds, repeat=size):
        for answer in range(3):
            whole = sorted((result(each, {("a", None): answer}) for each in members), reverse=True)

            assert whole[least - 1] == result(joint(least, list(members)), {("a", None): answer})


def test_what_is_settled_or_single_is_no_joint() -> None:
    """Else a result that is sure would be looked into as if it were open."""
    one, other = (Leaf((name, None), (NEVER, SURE, UNSURE)) for name in "ab")

    assert SURE == joint(1, [SURE, one])
    assert SURE == joint(1, [SURE, SURE])
    assert NEVER == joint(2, [NEVER, one])
    assert one == joint(2, [SURE, one])
    assert one == joint(1, [NEVER, one])
    assert UNSURE == joint(1, [UNSURE, UNSURE])
    assert Joint(1, (one, other)) == joint(2, [one, SURE, other])


# ---- the residue of a condition


# What several cells go into, by the words under which a residue speaks of it.
ATOMS = {
    " ".join((atom.name, atom.relation, *atom.operands)): atom
    for whole in (
        *(each.expression for each in KNOWN.definitions.values()),
        *KNOWN.conditions.values(),
    )
    for atom in walk(whole)
    if isinstance(atom, Atom)
}


# Conditions of every kind of node, over cells, calculations, sums and medicines.
ANY_CONDITION = trees(
    tuple(
        Atom(*each)
        for each in (
            ("drift",),
            ("clonus",),
            ("drift", "known"),
            ("posture_tremor_onset", "known"),
            ("hx_years", ">=", ("essential_years",)),
            ("rest_tremor_jaw",),
            ("walking_speed_m_per_s", "known"),
            ("systolic_fall", ">=", ("drop_systolic",)),
            ("stands_30s", "<", ("chair_stands_30s",)),
            ("dopamine_blocking", "takes"),
            ("arms_equal",),
        )
    )
)


@given(exam=exams(), conditions=st.lists(ANY_CONDITION, min_size=2, max_size=4), data=st.data())
def test_a_residue_comes_out_as_its_condition_does(
    exam: Exam, conditions: list[Expression], data: st.DataObject
) -> None:
    """With some of what is open answered and the rest left open, of any condition and of the rules.

    What is asked for is found in the residue, so it must say what the condition says.
    """
    world = world_of(exam, KNOWN)
    made = Residues(world)
    rules = data.draw(st.lists(st.sampled_from(CONDITIONS), min_size=2, max_size=4))
    asked: list[Expression] = [*map(AnySide, conditions), *rules]
    found = {each: made.of(each) for each in asked}
    named = dict.fromkeys(leaf.open for residue in found.values() for leaf in places(residue))
    cells = [each for each in named if each[0] in vocabulary()]
    # What was tried and could not be judged is not open.
    assert set(cells).isdisjoint(exam.cells)
    chosen = data.draw(st.lists(st.sampled_from(cells), unique=True)) if cells else []
    answers = {each: answers_to(KNOWN, each[0]) for each in chosen}
    answered = {each: data.draw(st.integers(0, len(answers[each]) - 1)) for each in chosen}
    supposed = world.supposing({each: answers[each][place] for each, place in answered.items()})
    for each in named:
        answered.setdefault(each, -1 if each in cells else came_out(supposed, ATOMS[each[0]]))
    for condition, residue in found.items():
        assert RANK[supposed.truth(condition)] == result(residue, answered)


def test_not_and_surely_go_down_into_the_leaves() -> None:
    """Not both is one that is not, surely too: what is open in it can decide like any other."""
    one, other, sided = Atom("rest_tremor_jaw"), Atom("hx_unsteady"), Atom("drift")
    made = Residues(world_of(exam_of(), KNOWN))

    assert made.of(Not(And((one, other)))) == made.of(Or((Not(one), Not(other))))
    assert made.of(Surely(Not(And((one, other))))) == made.of(
        Or((Surely(Not(one)), Surely(Not(other))))
    )
    assert made.of(Not(OtherSide(sided)), Side.RIGHT) == made.of(Not(sided), Side.LEFT)


def came_out(world: ExamWorld, atom: Atom) -> int:
    """The place of the answer that a calculation or a medicine list gives."""
    answers = (YES, NO) if atom.relation == "known" else (NO, YES, UNKNOWN)
    return answers.index(world.judge(atom, None))


def test_what_goes_into_a_calculation_is_asked_for_as_a_whole() -> None:
    """No single pressure says whether it fell on standing."""
    warning = Reference("orthostatic_drop_raised")
    found = cells_deciding(Residues(world_of(exam_of(), KNOWN)), [warning], only_if_sure=True)

    assert {("lying_sys", None), ("standing_sys", None)} <= found
