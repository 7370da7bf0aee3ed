"""What is so in every completion is said, where logic alone would call it unknown.

A gap is an exam in which a condition is unknown, and in which every value of one unknown finding
would settle it alike. Where a condition is unknown though every completion agrees, adding findings
one by one ends in a gap: so where there is no gap, nothing is missed.
"""

from collections import Counter
from collections.abc import Iterator
from decimal import Decimal

import z3  # type: ignore[import-untyped]
from hypothesis import given, settings

from app.assess.assess import world_of
from app.assess.exact import exactly
from app.exam.measures import QUANTITIES
from app.exam.record import Exam
from app.exam.vocabulary import GRADES, Scale, vocabulary
from app.knowledge.load import Knowledge
from app.knowledge.names import tier_name
from app.logic.expression import Reference
from app.logic.truth import NO, UNKNOWN, YES, Truth
from tests.proofs.exams import holds
from tests.proofs.facts import Fact, all_of, any_of, none_of, not_
from tests.proofs.places import Asked, places
from tests.proofs.proving import Proofs, recorded_as
from tests.proofs.solver import AnyExam
from tests.proofs.test_sound import EXEMPT as WITHDRAWN
from tests.strategies import exams

# Warnings that ask whether parkinsonism is listed: it is by a stiffness of unknown kind, which is
# open itself, and for openness not knowing is the point.
EXEMPT = {"antipsychotic_sensitivity_soon", "copper_disease_soon"}
# It asks what has not been recorded.
EXEMPT |= {"pull_test_unsafe_routine"}
ARITHMETIC = {finding for quantity in QUANTITIES.values() for finding in quantity.inputs}


def test_what_is_so_in_every_completion_is_called_so(proofs: Proofs) -> None:
    """Of every requirement, caution and urgency: what every completion agrees on is said.

    With the findings known that stand in several places of it, no gap is left in any exam; those
    the program tries one by one. Left out are inputs of arithmetic and sums of grades, which are
    unknown while one of them is.
    """
    for name in decided(proofs.knowledge):
        several = standing_several_times(proofs.knowledge, name)
        known = [is_known(proofs.exam, asked) for asked in several]
        gaps = [gap for asked, _, gap in gaps_of(proofs, name) if asked not in several]

        assert proofs.never(any_of(*gaps), *known) is None, name


def test_what_would_come_out_alike_either_way_is_not_waited_for(proofs: Proofs) -> None:
    """Where one unknown finding would settle a condition alike whatever its value, it is settled.

    By the program, in the smallest exam of every kind in which logic alone would wait for it, on
    each side. A limb that is stiff both ways and all the time is rigid or spastic, say. Where it
    changes nothing that the answer is no and not unknown, none is looked for. Just what needs it is
    what the knowledge has tried.
    """
    found: Counter[str] = Counter()
    for name in decided(proofs.knowledge):
        gaps = [gap for gap in gaps_of(proofs, name) if counts(name, gap[1])]
        if not proofs.possible(any_of(*(gap for _, _, gap in gaps))):
            continue
        for asked, answer, gap in gaps:
            exam = proofs.smallest(gap)
            if exam is not None:
                found[name] += 1
                world = world_of(exam, proofs.knowledge)

                assert world.truth(Reference(name)) is UNKNOWN
                assert exactly(world, name) is answer, (name, asked, exam)
    assert set(found) == proofs.knowledge.tried - EXEMPT


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
        for name in decided(proofs.knowledge):
            pair = proofs.exam.named(name)
            outcomes = [proofs.possible(pair.yes), proofs.possible(pair.no)]
            said = exactly(world, name)

            if name not in withdrawn:
                assert said in (UNKNOWN, Truth.of(outcomes == [True, False])), name
            settled = outcomes.count(True) == 1 and counts(name, Truth.of(outcomes[0]))
            if settled and not rests_on_sums(proofs.knowledge, name):
                assert said is not UNKNOWN, name


def decided(knowledge: Knowledge) -> list[str]:
    """What the program decides exactly: requirements, cautions, and how urgent a warning is."""
    names = [f"{each}_{what}" for each in knowledge.categories for what in ("fits", "cautioned")]
    for warning in knowledge.warnings.values():
        names += [tier_name(warning.id, tier.urgency) for tier in warning.tier]
    return [name for name in names if name not in EXEMPT]


def counts(name: str, answer: Truth) -> bool:
    """Whether it makes a difference that a condition has this answer and is not unknown.

    A caution or a warning is raised by a yes alone; a requirement that is not met and one that is
    open are two levels.
    """
    return answer is YES or name.endswith("_fits")


def rests_on_sums(knowledge: Knowledge, name: str) -> bool:
    """Whether arithmetic, or a sum of grades, stands in a condition."""
    named = {asked for asked, _ in places(knowledge, Reference(name))}
    return not named.isdisjoint({*QUANTITIES, *knowledge.balances})


def gaps_of(proofs: Proofs, name: str) -> Iterator[tuple[Asked, Truth, Fact]]:
    """For each thing that a condition asks about and each answer: the exams with that gap."""
    pair = proofs.exam.named(name)
    for asked in dict.fromkeys(places(proofs.knowledge, Reference(name))):
        for answer, settled in ((YES, pair.yes), (NO, pair.no)):
            tried = list(with_every_value(proofs.exam, settled, asked))
            if tried:
                yield asked, answer, all_of(is_open(proofs.exam, asked), pair.unknown, *tried)


def standing_several_times(knowledge: Knowledge, name: str) -> list[Asked]:
    """What a condition asks about in several places."""
    counts = Counter(places(knowledge, Reference(name)))
    return [asked for asked, count in counts.items() if count > 1]


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
