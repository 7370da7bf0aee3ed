"""A condition is decided exactly where three values alone say unknown (docs/decisions/0009).

Each condition is given a name in a copy of the knowledge and asked of an exam. The oracle fills in
every value that the findings can have.
"""

from collections.abc import Iterator
from dataclasses import replace
from itertools import product
from types import MappingProxyType

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.assess.assess import assess, world_of
from app.assess.exact import because_exactly, exactly
from app.assess.world import ExamWorld
from app.exam.record import Cell, Exam, Value
from app.exam.vocabulary import Side
from app.knowledge.load import Knowledge, knowledge
from app.logic.expression import (
    AnySide,
    Atom,
    BothSides,
    Definition,
    Expression,
    Not,
    OtherSide,
    Reference,
)
from app.logic.parse import parse
from app.logic.truth import NO, UNKNOWN, YES
from tests.assess.examined import exam_of
from tests.strategies import trees


def asking(condition: Expression) -> Knowledge:
    """A knowledge in which `asked` is the name of a condition."""
    known = knowledge()
    named = Definition(known.names.resolve(condition), False)
    definitions = {**known.definitions, "asked": named}
    return replace(known, definitions=definitions, tried=frozenset({"asked"}))


def asked_of(exam: Exam, condition: Expression) -> ExamWorld:
    """An exam under such a knowledge."""
    return world_of(exam, asking(condition))


ALWAYS = [
    # The same finding twice.
    ("hx_fever or not hx_fever", ""),
    ("tics >= definite or not tics >= definite", ""),
    ("tics or not tics >= marked", ""),
    ("base is wide or base in (normal, narrow)", ""),
    ("hx_years < essential_years or hx_years >= essential_years", ""),
    ("hx_years > recent_years or hx_years < essential_years", ""),
    ("hx_falls_12m >= one_fall or hx_falls_12m < repeated_falls", ""),
    ("takes(anticoagulant) or not takes(anticoagulant)", ""),
    ("any(drift) or not both(drift)", ""),
    ("any(clonus and not other(clonus)) or not any(clonus) or both(clonus)", ""),
    # By way of another name: stiff in both directions and not varying, it is rigid or spastic.
    (
        "any(rigid_arm) or any(spastic_arm)",
        "arm_resistance left 1; arm_resistance_varies left no; arm_resistance_directions left both",
    ),
    # A finding without a side among those of a side.
    ("any(clonus and tics) or any(clonus and not tics)", "clonus left yes"),
    # Two findings together.
    ("(hx_fever and hx_confusion) or not hx_fever or not hx_confusion", ""),
    ("at_least(1, hx_fever, hx_confusion, not hx_fever and not hx_confusion)", ""),
    # One that matters only for some values of another.
    ("(hx_fever and tics) or (hx_fever and not tics) or not hx_fever", ""),
    ("(hx_fever or hx_confusion or not hx_fever) and (hx_agitation or not hx_agitation)", ""),
]


@pytest.mark.parametrize(("sentence", "text"), ALWAYS, ids=[sentence for sentence, _ in ALWAYS])
def test_what_is_true_either_way_is_called_true(sentence: str, text: str) -> None:
    """And its opposite false, though three values alone say unknown of both."""
    world = asked_of(exam_of(text), parse(sentence))
    opposite = asked_of(exam_of(text), Not(parse(sentence)))

    assert UNKNOWN is world.truth(Reference("asked"))
    assert YES is exactly(world, "asked")
    assert NO is exactly(opposite, "asked")


@pytest.mark.parametrize(
    "sentence",
    [
        "hx_fever",
        "hx_fever or hx_confusion",
        "(hx_fever and hx_confusion) or (not hx_fever and hx_agitation)",
        "tics and not tics >= definite",
        "base is wide or base is narrow",
        "hx_years > essential_years or hx_years < recent_years",
        "hx_fever and (hx_fever or hx_confusion)",
        # One value, or one stretch of a number, makes the difference.
        "not hx_years < recent_years or not hx_years < essential_years",
        "hx_years <= recent_years or hx_years <= essential_years",
        "not (hx_years > recent_years and hx_years < essential_years)",
        # The values that are tried first all say yes.
        "(hx_fever and not hx_fever) or not (tics >= definite and not tics >= marked)",
        # Where not knowing is itself the point, and in arithmetic, three values have the last word.
        "hx_fever or (not hx_fever and known(hx_fever))",
        "(hx_fever or not hx_fever) and (surely(hx_fever) or not hx_fever)",
        "surely(hx_fever or hx_confusion) or not hx_fever",
        "any((clonus or not clonus) and (surely(clonus) or not clonus))",
        "surely(any(clonus)) or not any(clonus)",
        "surely(eye_sign) or not eye_sign",
        "systolic_fall >= drop_systolic or not systolic_fall >= drop_systolic",
        "lying_sys >= lying_high or lying_sys < lying_high or systolic_fall >= drop_systolic",
        "age > copper_age or age <= copper_age",
        "arms_equal or not arms_equal",
    ],
)
def test_what_may_come_out_either_way_stays_unknown(sentence: str) -> None:
    """Nothing is called true or false that an answer could turn around."""
    assert UNKNOWN is exactly(asked_of(Exam(), parse(sentence)), "asked")


@pytest.mark.parametrize("fever", ["hx_fever", "not hx_fever"])
@pytest.mark.parametrize(
    "tics",
    [
        "not tics",
        "(tics and not tics >= definite)",
        "(tics >= definite and not tics >= marked)",
        "tics >= marked",
    ],
)
def test_a_single_pair_of_values_that_turns_it_around_is_found(fever: str, tics: str) -> None:
    """Wherever it lies among the eight: the search may not stop at the values it tries first."""
    both_known = "(hx_fever or not hx_fever) and (tics or not tics)"
    varies = f"{both_known} and not ({fever} and {tics})"

    assert UNKNOWN is exactly(asked_of(Exam(), parse(varies)), "asked")
    assert YES is exactly(asked_of(Exam(), parse(f"({varies}) or ({fever} and {tics})")), "asked")


def test_a_search_that_grows_too_long_gives_up_with_unknown() -> None:
    """Sound, and no longer exact: a dozen findings, each of which would have to be tried."""
    twice = " and ".join(
        f"({name} or not {name})"
        for name in (
            *("tics", "face_still", "blink_reduced", "moves_little", "dystonia_midline"),
            *("head_tremor", "neck_resistance", "turn_en_bloc", "freezing", "stooped", "veering"),
        )
    )

    assert UNKNOWN is exactly(asked_of(Exam(), parse(twice)), "asked")


# ---- the reasons of what is true either way


def test_the_reasons_are_what_was_recorded_and_nothing_that_was_supposed() -> None:
    """Of a stiff arm: that it is stiff, and in both directions; not a speed that nobody tried."""
    text = "arm_resistance left 1; arm_resistance_varies left no;"
    text += " arm_resistance_directions left both"
    world = asked_of(exam_of(text), parse("any(rigid_arm) or any(spastic_arm)"))
    found = because_exactly(world, "asked")

    assert ["arm_resistance", "arm_resistance_directions"] == [each.finding for each in found]
    assert {Side.LEFT} == {each.side for each in found}


def test_a_medicine_that_was_supposed_is_no_reason() -> None:
    """Nobody said that it is taken."""
    world = asked_of(
        exam_of("hx_fever yes"),
        parse("(hx_fever and takes(anticoagulant)) or (hx_fever and not takes(anticoagulant))"),
    )

    assert YES is exactly(world, "asked")
    assert ["hx_fever"] == [each.finding for each in because_exactly(world, "asked")]


@pytest.mark.parametrize(
    "sentence",
    [
        "systolic_fall >= drop_systolic or not systolic_fall >= drop_systolic",
        "arms_equal or arms_equal",
    ],
)
def test_what_cannot_be_tried_does_not_stand_in_the_way(sentence: str) -> None:
    """A difference of pressures, or sums of grades: what stands beside it decides."""
    world = asked_of(Exam(), parse(f"{sentence} or hx_fever or not hx_fever"))

    assert YES is exactly(world, "asked")
    assert () == because_exactly(world, "asked")


# ---- against every completion

VALUES: dict[Cell, tuple[Value, ...]] = {
    ("tics", None): (0, 1, 2, 3),
    ("hx_fever", None): (False, True),
    ("base", None): ("normal", "narrow", "wide"),
    ("drift", Side.RIGHT): (0, 1, 2),
    ("drift", Side.LEFT): (0, 1, 2),
}
SINGLE: tuple[Expression, ...] = (
    Atom("tics"),
    Atom("tics", ">=", ("definite",)),
    Atom("hx_fever"),
    Atom("base", "is", ("wide",)),
    Atom("base", "in", ("narrow", "wide")),
)
PAIRED: tuple[Expression, ...] = (Atom("drift"), Atom("drift", ">=", ("definite",)))


def completions(exam: Exam) -> Iterator[Exam]:
    """The exam with every value in everything that is not known."""
    open_ = [cell for cell in VALUES if cell not in exam.cells]
    for values in product(*(VALUES[cell] for cell in open_)):
        filled = dict(zip(open_, values, strict=True))
        yield replace(exam, cells=MappingProxyType({**exam.cells, **filled}))


@st.composite
def asked_exams(draw: st.DrawFn) -> tuple[Exam, Expression]:
    """A condition over five cells, and an exam in which some of them are known."""
    sided = draw(trees((*SINGLE, *PAIRED), (Not, OtherSide)))
    held: Expression = AnySide(sided) if draw(st.booleans()) else BothSides(sided)
    condition = draw(trees((*SINGLE, held), (Not,)))
    known = draw(st.sets(st.sampled_from(list(VALUES))))
    cells = {cell: draw(st.sampled_from(VALUES[cell])) for cell in VALUES if cell in known}
    return Exam(cells=MappingProxyType(cells)), condition


@given(asked_exams())
def test_what_is_decided_is_so_in_every_completion(drawn: tuple[Exam, Expression]) -> None:
    """Sound always. Exact too, unless the search gives up: see the conditions by name above."""
    exam, condition = drawn
    known = asking(condition)
    outcomes = {world_of(whole, known).truth(Reference("asked")) for whole in completions(exam)}

    assert exactly(world_of(exam, known), "asked") in outcomes | {UNKNOWN}
    assert len(outcomes) == 1 or exactly(world_of(exam, known), "asked") is UNKNOWN


def test_what_takes_a_long_search_is_still_said() -> None:
    """A foot drop is of nerve and muscle, or the brisk sign is of the cord: another pattern fits.

    Sixty findings are open in the rule, and trying them one by one gave up before the end.
    """
    exam = exam_of("tremor_entrains yes; foot_drop right 2; hoffmann right yes")
    world = world_of(exam, knowledge())
    found = next(each for each in assess(exam, knowledge()).categories if each.id == "functional")

    assert UNKNOWN is world.truth(Reference("functional_cautioned"))
    assert YES is exactly(world, "functional_cautioned")
    assert "fits_with_cautions" == found.level
    assert {"foot_drop"} <= {each.finding for each in found.against}
