"""What property tests draw: conditions, answers to them, and exams."""

from collections.abc import Callable
from dataclasses import replace
from decimal import Decimal
from functools import cache
from types import MappingProxyType

from hypothesis import strategies as st
from hypothesis.strategies import SearchStrategy

from app.exam.record import Cell as ExamCell
from app.exam.record import Exam, Patient, Recorded, Untestable, Value
from app.exam.vocabulary import Scale, vocabulary
from app.logic.expression import (
    And,
    AnySide,
    AtLeast,
    Atom,
    BothSides,
    Definition,
    Expression,
    Not,
    Or,
    OtherSide,
    Reference,
    Surely,
)
from app.logic.truth import NO, UNKNOWN, YES, Truth
from tests.logic.worlds import LEFT, PAIRED, RIGHT, SINGLE, Cell, Condition

SIDED = (RIGHT, LEFT)
truths = st.sampled_from((YES, NO, UNKNOWN))


# ---- conditions


Wrap = Callable[[Expression], Expression]
EVERY_WRAP: tuple[Wrap, ...] = (Not, AnySide, BothSides, OtherSide, Surely)
JOINS = st.sampled_from(("and", "or", "at_least"))


def joined(kind: str, count: int, members: tuple[Expression, ...]) -> Expression:
    """Members joined by a kind of node; `count` counts for at_least alone."""
    if kind == "at_least":
        return AtLeast(count, members)
    return And(members) if kind == "and" else Or(members)


@st.composite
def trees(
    draw: st.DrawFn,
    leaves: tuple[Expression, ...] | SearchStrategy[Expression],
    wraps: tuple[Wrap, ...] = EVERY_WRAP,
) -> Expression:
    """A condition over some leaves, which may stand in it many times.

    Built from the leaves up, which draws much faster than from the top down.
    """
    leaf = st.sampled_from(leaves) if isinstance(leaves, tuple) else leaves
    parts = draw(st.lists(leaf, min_size=1, max_size=6))
    while True:
        wrap = draw(st.sampled_from((None, *wraps)))
        if wrap is not None:
            parts[0] = wrap(parts[0])
        if len(parts) == 1:
            return parts[0]
        size = draw(st.integers(2, min(3, len(parts))))
        members, parts = tuple(parts[:size]), parts[size:]
        parts.append(joined(draw(JOINS), draw(st.integers(1, size)), members))


ATOMS: tuple[Expression, ...] = tuple(Atom(name) for name in (*PAIRED[:2], *SINGLE[:2]))
NAMES: tuple[Expression, ...] = (Reference("a_side"), Reference("whole"))


@st.composite
def conditions(draw: st.DrawFn, wraps: tuple[Wrap, ...] = EVERY_WRAP[:-1]) -> Condition:
    """Any condition over six cells, with two named conditions, one of them judged on a side.

    wraps: the kinds of node with one condition inside; `surely`, which is not sound, is left out.
    """
    return Condition(
        draw(trees((*ATOMS, *NAMES), wraps)),
        {
            "a_side": Definition(draw(trees(ATOMS, wraps)), True),
            "whole": Definition(draw(trees((*ATOMS, NAMES[0]), wraps)), False),
        },
        draw(st.sampled_from(SIDED)),
    )


def conditions_on_a_side() -> SearchStrategy[Condition]:
    """Any condition, `surely` included. What it names is judged on its side, too.

    A circuit has no room for a paired finding without a side; nor has the knowledge.
    """
    return conditions(EVERY_WRAP).map(
        lambda held: replace(
            held,
            definitions={n: replace(each, paired=True) for n, each in held.definitions.items()},
        )
    )


@st.composite
def read_once_conditions(draw: st.DrawFn) -> Condition:
    """A condition that reads each of its cells once, though through any kind of node but `surely`.

    Each part knows whether it may stand under any() or both(), which it may while everything in it
    is judged on one side.
    """
    names = draw(st.lists(st.sampled_from(PAIRED + SINGLE), min_size=1, max_size=5, unique=True))
    parts: list[tuple[Expression, bool]] = [(Atom(name), name in PAIRED) for name in names]
    definitions: dict[str, Definition] = {}
    while True:
        part, on_a_side = parts[0]
        wrap = draw(st.sampled_from((None, *(EVERY_WRAP[:-1] if on_a_side else (Not,)))))
        if wrap is not None:
            parts[0] = wrap(part), on_a_side and wrap in (Not, OtherSide)
        if len(parts) == 1:
            return Condition(parts[0][0], definitions, draw(st.sampled_from(SIDED)))
        size = draw(st.integers(2, len(parts)))
        members, parts = parts[:size], parts[size:]
        whole = joined(draw(JOINS), draw(st.integers(1, size)), tuple(part for part, _ in members))
        if draw(st.booleans()):
            definitions[f"named{len(definitions)}"] = Definition(whole, True)
            whole = Reference(f"named{len(definitions) - 1}")
        parts.append((whole, all(on_a_side for _, on_a_side in members)))


def answers_to(cells: list[Cell]) -> SearchStrategy[dict[Cell, Truth]]:
    """Some answer, or none, to each of these cells."""
    return st.fixed_dictionaries(dict.fromkeys(cells, truths))


@st.composite
def fuller(draw: st.DrawFn, answers: dict[Cell, Truth]) -> dict[Cell, Truth]:
    """The same answers, with some of the unknown ones known by now."""
    return {cell: draw(truths) if truth is UNKNOWN else truth for cell, truth in answers.items()}


def sentence(expression: Expression) -> str:
    """A condition as its author would write it, with a bracket around every part."""

    def listed(members: tuple[Expression, ...], joint: str) -> str:
        return joint.join(f"({sentence(member)})" for member in members)

    match expression:
        case Atom(name, relation, operands):
            if relation == "is":
                return f"{name} is {operands[0]}"
            if relation == "in":
                return f"{name} in ({', '.join(operands)})"
            if operands:
                return f"{name} {relation} {operands[0]}"
            return f"{relation}({name})" if relation else name
        case Not(inner):
            return f"not ({sentence(inner)})"
        case And(members):
            return listed(members, " and ")
        case Or(members):
            return listed(members, " or ")
        case AtLeast(count, members):
            return f"at_least({count}, {listed(members, ', ')})"
        case AnySide(inner):
            return f"any({sentence(inner)})"
        case BothSides(inner):
            return f"both({sentence(inner)})"
        case OtherSide(inner):
            return f"other({sentence(inner)})"
        case Surely(inner):
            return f"surely({sentence(inner)})"
        case _:
            raise AssertionError(f"{expression} cannot be written")


@st.composite
def atoms(draw: st.DrawFn) -> Atom:
    """A statement of any form that can be written."""
    names = st.sampled_from(["drift", "base", "walk_s", "hx_onset", "a1"])
    values = st.sampled_from(["wide", "short", "any", "both", "surely"])
    name = draw(names)
    relation = draw(st.sampled_from(["", "known", "takes", "is", "in", ">=", ">", "<=", "<"]))
    if relation == "in":
        return Atom(name, relation, tuple(draw(st.lists(values, min_size=1, max_size=3))))
    if relation == "is":
        return Atom(name, relation, (draw(values),))
    if relation in ("", "known", "takes"):
        return Atom(name, relation)
    return Atom(name, relation, (draw(names),))


# ---- exams

CELLS: tuple[ExamCell, ...] = tuple(
    (finding.id, side) for finding in vocabulary().values() for side in finding.sides
)
NORMAL_CORE: dict[ExamCell, Recorded] = {
    (finding.id, side): normal
    for finding in vocabulary().values()
    for side in finding.sides
    if finding.core and finding.is_sign
    if (normal := 2 if finding.id == "turn_steps" else finding.normal_value()) is not None
}
# Numbers on both sides of the cutoffs, which a plain range would hardly ever hit.
NEAR_CUTOFFS: dict[str, tuple[str, ...]] = {
    "hx_years": ("0", "0.25", "0.26", "2.9", "3", "5", "12"),
    "posture_tremor_delay_s": ("0", "1.99", "2", "9.4"),
    "tug_s": ("11.9", "12", "15", "15.1"),
    "walk_m": ("4.48", "5.6"),
    "walk_s": ("5.6", "5.7", "7"),
    "lying_sys": ("120", "149.9", "150", "160"),
    "standing_sys": ("100", "101", "120", "130"),
    "lying_dia": ("70", "80"),
    "standing_dia": ("60", "70", "71"),
    "lying_hr": ("60", "64"),
    "standing_hr": ("70", "74", "75"),
    "tandem_stand_s": ("9.9", "10"),
    "five_stands_s": ("15", "15.1"),
}
MEDICINES = (
    *("metoclopramide 10 mg", "haloperidol", "lithium carbonate", "levodopa/carbidopa 100/25"),
    *("sertraline 50 mg", "warfarin", "temazepam", "tetrabenazine", "phenytoin", "paracetamol"),
    *("salbutamol inhaler", "vitamin D"),
)
ages = st.none() | st.integers(0, 120).map(Decimal)
sexes = st.sampled_from((None, "female", "male"))
medicine_lists = st.none() | st.lists(st.sampled_from(MEDICINES), max_size=3).map(tuple)


@cache
def values_of(finding_id: str) -> SearchStrategy[Value]:
    """Every value that can be recorded of a finding."""
    finding = vocabulary()[finding_id]
    if finding_id in NEAR_CUTOFFS:
        return st.sampled_from(NEAR_CUTOFFS[finding_id]).map(Decimal)
    match finding.scale:
        case Scale.GRADE:
            return st.sampled_from((0, 1, 2, 3))
        case Scale.YESNO:
            return st.booleans()
        case Scale.CHOICE:
            return st.sampled_from(finding.values)
        case Scale.COUNT:
            return st.integers(int(finding.minimum or 0), min(int(finding.maximum or 0), 12))
        case Scale.NUMBER:
            return st.decimals(finding.minimum, finding.maximum, places=2)


def cells_of(*starts: str) -> tuple[ExamCell, ...]:
    """The cells of every finding whose id begins so."""
    return tuple(cell for cell in CELLS if cell[0].startswith(starts))


# What is found together: a draw from all findings alike would hardly ever make a pattern.
PICTURES = (
    cells_of("rest_tremor", "finger_tap_slow", "finger_tap_d", "finger_tap_h", "arm_res"),
    cells_of("rest_tremor", "toe_tap", "leg_resistance", "hx_years", "hx_levodopa", "hx_onset"),
    cells_of("posture", "kinetic", "endpoint", "head_tremor", "voice_tremor", "hx_years"),
    cells_of("finger_tap_slow", "hand_open_slow", "hand_open_h", "kinetic", "walking_tremor"),
    cells_of("dysmetria", "endpoint", "toe_tap_uneven", "nystagmus", "speech_s", "veering", "base"),
    cells_of("romberg", "vibration", "reflexes_absent", "base", "hx_unsteady", "nystagmus"),
    cells_of("plantar", "clonus", "hoffmann", "reflexes_brisk", "drift", "stiff_leg", "weak_leg"),
    cells_of("step_length", "turn_", "freezing", "feet_stuck", "rise", "pull_test", "tandem_walk"),
    cells_of("drift", "weak_", "dysmetria", "speech_s", "hx_onset", "hx_years", "hx_swallowing"),
    cells_of("foot_drop", "hip_waddle", "weak_", "reflexes_absent", "clonus", "hx_swallowing"),
    cells_of("dystonia", "head_tremor", "sensory_trick", "tremor_", "movement_in", "knee_buckling"),
    cells_of("chorea", "myoclonus", "flap", "tics", "painful", "standing_leg", "hx_confusion"),
    cells_of("arm_resistance", "leg_resistance", "arm_activation", "leg_activation", "neck"),
    cells_of("hx_onset", "hx_years", "hx_bladder", "hx_bowel", "hx_back", "hx_cancer", "plantar"),
    cells_of("hx_fever", "hx_agitation", "hx_confusion", "hx_dopamine", "clonus", "neck", "hx_on"),
    cells_of("hx_head", "hx_poor", "hx_heavy", "hx_eye", "vertical_gaze", "nystagmus", "hx_conf"),
    cells_of("hx_fall", "hx_unsteady", "hx_fear", "hx_frailty", "walk_", "tug_s", "walking_aid"),
    cells_of("lying", "standing_sys", "standing_dia", "standing_hr", "hx_years", "hx_bladder"),
    cells_of("hx_memory", "hx_hall", "hx_fluct", "hx_early", "hx_wheel", "hx_lower", "apraxia"),
)


@st.composite
def recorded(draw: st.DrawFn, *, gaps: bool = True) -> dict[ExamCell, Value]:
    """Up to three pictures, with gaps or whole, and a few findings that belong to none of them."""
    held: dict[ExamCell, Value] = {}
    for picture in draw(st.lists(st.sampled_from(PICTURES), max_size=3)):
        left_out = draw(st.sets(st.sampled_from(picture))) if gaps else set()
        for cell in picture:
            if cell not in left_out:
                held[cell] = draw(values_of(cell[0]))
    for cell in draw(st.lists(st.sampled_from(CELLS), max_size=8)):
        held[cell] = draw(values_of(cell[0]))
    return held


@st.composite
def exams(draw: st.DrawFn, *, untestable: bool = True) -> Exam:
    """An exam of which nothing else was recorded, or with the rest of the quick pass normal.

    untestable: whether some of it may have been untestable.
    """
    held: dict[ExamCell, Recorded] = dict(draw(st.sampled_from(({}, NORMAL_CORE))))
    held |= draw(recorded())
    if held:
        for cell in draw(st.sets(st.sampled_from(sorted(held)), max_size=8)):
            if untestable and draw(st.booleans()):
                held[cell] = Untestable("pain")
            else:
                del held[cell]
    return Exam(Patient(draw(ages), draw(sexes)), MappingProxyType(held), draw(medicine_lists))


@st.composite
def fuller_exams(draw: st.DrawFn, exam: Exam) -> Exam:
    """The same exam with more of it examined; nothing that was recorded changes."""
    added = draw(recorded()) | draw(recorded())
    return replace(exam, cells=MappingProxyType({**added, **exam.cells}))
