"""What is so in every completion is said, where three values alone would call it unknown.

A gap is an exam in which a condition is unknown, and in which every value of one unknown thing
would settle it alike. Where a condition is unknown though every completion agrees, adding findings
one by one ends in a gap: so where there is no gap, nothing is missed. A caution or a warning is
raised by a yes alone; a requirement that is not met and one that is open are two levels.

The sentences beside four conditions stand in completions.toml. The program and SQL both go by them.
"""

from collections.abc import Iterator
from decimal import Decimal

import z3  # type: ignore[import-untyped]
from hypothesis import given, settings

from app.assess.assess import world_of
from app.assess.exact import exactly
from app.exam.measures import QUANTITIES
from app.exam.record import Exam
from app.exam.vocabulary import GRADES, SIDES, Scale, Side, vocabulary
from app.knowledge.load import Knowledge
from app.knowledge.names import AGE, tier_name
from app.logic.expression import (
    AnySide,
    Atom,
    BothSides,
    Expression,
    Or,
    Reference,
    Surely,
    children,
)
from app.logic.truth import NO, UNKNOWN, YES, Truth
from app.store.registry.rows import asked_by
from tests.proofs.exams import holds
from tests.proofs.facts import Fact, all_of, any_of, none_of, not_
from tests.proofs.places import Asked, places
from tests.proofs.proving import Proofs, recorded_as
from tests.proofs.solver import AnyExam
from tests.proofs.test_sound import EXEMPT as WITHDRAWN
from tests.strategies import exams

ARITHMETIC = {finding for quantity in QUANTITIES.values() for finding in quantity.inputs}


def test_what_is_so_in_every_completion_is_called_so(proofs: Proofs) -> None:
    """Of every level and urgency: what every completion agrees on is said, and no gap is left.

    In any exam. Left out is what stands under `known` or `surely`, where not knowing is the point,
    and what goes into arithmetic, which is unknown while one of its inputs is.
    """
    for name, answers in told_apart(proofs.knowledge):
        for answer in answers:
            yes, no = said(proofs, name), proofs.exam.named(name).no

            assert proofs.never(gaps(proofs, name, yes if answer is YES else no)) is None, name


def test_no_further_way_says_what_an_answer_could_take_back(proofs: Proofs) -> None:
    """Each sentence beside a condition implies it once everything is known that it asks about."""
    for name in proofs.knowledge.completions:
        known = [not_(is_unknown(proofs, each)) for each in asked_about(proofs.knowledge, name)]
        holds_itself = proofs.exam.named(name).yes
        for way in ways(proofs.knowledge, name):
            assert proofs.never(proofs.exam.truth(way).yes, not_(holds_itself), *known) is None


def test_each_further_way_is_needed(proofs: Proofs) -> None:
    """Without it some exam is left in which it would be missed that every completion agrees."""
    for name in proofs.knowledge.completions:
        all_ways = [proofs.exam.truth(each).yes for each in ways(proofs.knowledge, name)]
        for place in range(len(all_ways)):
            rest = any_of(proofs.exam.named(name).yes, *all_ways[:place], *all_ways[place + 1 :])

            assert proofs.possible(gaps(proofs, name, rest)), (name, place)


@settings(max_examples=15, deadline=None)
@given(exam=exams(untestable=False))
def test_what_the_program_says_is_so_in_every_completion(proofs: Proofs, exam: Exam) -> None:
    """In exams drawn at random the program says yes, or no, just where every completion does.

    A completion has all that was recorded, and everything else known. What may be withdrawn by an
    answer (tests/proofs/test_sound.py) is said before every completion agrees.
    """
    withdrawn = set().union(*WITHDRAWN.values())
    world = world_of(exam, proofs.knowledge)
    recorded = holds(proofs.exam, exam, world.medicines)
    everything = [held.known for held in proofs.exam.everything]
    with proofs.assuming(*recorded, *everything, proofs.exam.list_is_whole):
        for name, answers in told_apart(proofs.knowledge):
            pair = proofs.exam.named(name)
            outcomes = [proofs.possible(pair.yes), proofs.possible(pair.no)]
            told = exactly(world, name)

            if name not in withdrawn:
                assert told in (UNKNOWN, Truth.of(outcomes == [True, False])), name
            settled = outcomes.count(True) == 1 and Truth.of(outcomes[0]) in answers
            if settled and not rests_on_more(proofs.knowledge, name):
                assert told is not UNKNOWN, name


def told_apart(knowledge: Knowledge) -> Iterator[tuple[str, tuple[Truth, ...]]]:
    """Every condition that a level or an urgency goes by, with the answers that it tells apart."""
    for each in knowledge.categories:
        yield f"{each}_fits", (YES, NO)
        yield f"{each}_cautioned", (YES,)
    for warning in knowledge.warnings.values():
        for tier in warning.tier:
            yield tier_name(warning.id, tier.urgency), (YES,)


def ways(knowledge: Knowledge, name: str) -> tuple[Expression, ...]:
    """The further ways in which a condition holds; none for most."""
    held = knowledge.exactly(name)
    return held.members[1:] if name in knowledge.completions and isinstance(held, Or) else ()


def said(proofs: Proofs, name: str) -> Fact:
    """Where it is said that a condition holds."""
    further = (proofs.exam.truth(each).yes for each in ways(proofs.knowledge, name))
    return any_of(proofs.exam.named(name).yes, *further)


def asked_about(knowledge: Knowledge, name: str) -> list[Asked]:
    """What a condition asks about, but under `known` or `surely` and as input of arithmetic."""
    held_back = {
        each for each, held in _places(knowledge, Reference(name), None, held=False) if held
    }
    asked = dict.fromkeys(places(knowledge, Reference(name)))
    return [each for each in asked if each not in held_back and each[0] not in (*QUANTITIES, AGE)]


def _places(
    knowledge: Knowledge, expression: Expression, side: Side | None, *, held: bool
) -> Iterator[tuple[Asked, bool]]:
    """Each place of a condition, and whether not knowing is the point there."""
    match expression:
        case Atom(name, relation):
            if name in QUANTITIES:
                yield from (((each, None), True) for each in QUANTITIES[name].inputs)
            at = side if knowledge.names.is_paired(name) else None
            yield (name, at), held or relation == "known"
        case Reference(name):
            yield from _places(knowledge, knowledge.definitions[name].expression, side, held=held)
        case AnySide(inner) | BothSides(inner):
            # What `other` looks at is gone through here as well.
            for each in SIDES:
                yield from _places(knowledge, inner, each, held=held)
        case Surely(inner):
            yield from _places(knowledge, inner, side, held=True)
        case _:
            for child in children(expression):
                yield from _places(knowledge, child, side, held=held)


def is_unknown(proofs: Proofs, asked: Asked) -> Fact:
    """Not known; what was tested in vain is, where a rule asks just that."""
    if asked[0] in asked_by(proofs.knowledge).untestable:
        return is_open(proofs.exam, asked)
    return not_(is_known(proofs.exam, asked))


def gaps(proofs: Proofs, name: str, settled: Fact) -> Fact:
    """The exams in which this is not so, and would be with every value of one unknown thing."""
    found = []
    for asked in asked_about(proofs.knowledge, name):
        every = list(with_every_value(proofs.exam, settled, asked))
        if every:
            found.append(all_of(is_unknown(proofs, asked), not_(settled), *every))
    return any_of(*found)


def rests_on_more(knowledge: Knowledge, name: str) -> bool:
    """Whether arithmetic, or a sum of grades, stands in a condition."""
    named = {asked for asked, _ in places(knowledge, Reference(name))}
    return not named.isdisjoint({*QUANTITIES, *knowledge.balances})


def is_known(exam: AnyExam, asked: Asked) -> Fact:
    if asked[0] in exam.takes:
        return not_(exam.takes[asked[0]].unknown)
    return exam.cells[asked].known if asked in exam.cells else z3.BoolVal(True)


def is_open(exam: AnyExam, asked: Asked) -> Fact:
    """Not known, and not tried in vain."""
    if asked in exam.cells:
        return none_of(exam.cells[asked].known, exam.cells[asked].untestable)
    return not_(is_known(exam, asked))


def with_every_value(exam: AnyExam, fact: Fact, asked: Asked) -> Iterator[Fact]:
    """The fact with every value of what is asked about; nothing for arithmetic and sums."""
    if asked[0] in exam.takes:
        taken = exam.takes[asked[0]]
        for yes in (z3.BoolVal(True), z3.BoolVal(False)):
            yield z3.substitute(fact, (taken.yes, yes), (taken.no, z3.Not(yes)))
    elif asked in exam.cells and asked[0] not in ARITHMETIC:
        held = exam.cells[asked]
        for value in _values(exam.knowledge, asked[0]):
            yield recorded_as(fact, held, value)


def _values(knowledge: Knowledge, finding_id: str) -> list[z3.ExprRef]:
    """Every value, or of a number enough to lie on both sides of every threshold, and on it."""
    finding = vocabulary()[finding_id]
    match finding.scale:
        case Scale.YESNO:
            return [z3.BoolVal(False), z3.BoolVal(True)]
        case Scale.GRADE:
            return [z3.IntVal(grade) for grade in GRADES]
        case Scale.CHOICE:
            return [z3.IntVal(place) for place in range(len(finding.values))]
        case _:
            low, high = finding.minimum or Decimal(0), finding.maximum or Decimal(0)
            step = Decimal(1) if finding.scale is Scale.COUNT else Decimal("0.01")
            near = {
                Decimal(each.value) + by
                for each in knowledge.thresholds.values()
                for by in (-step, 0, step)
            }
            whole = finding.scale is Scale.COUNT
            return [
                z3.IntVal(int(each)) if whole else z3.RealVal(str(each))
                for each in sorted({low, high, *near})
                if low <= each <= high and (each == int(each) or not whole)
            ]
