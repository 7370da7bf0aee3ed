"""A query over many exams concludes of each what the program concludes of it alone.

A gap is an exam in which a condition is unknown, and in which every value of one unknown thing
would settle it alike (tests/proofs/test_exact.py). What SQL concludes tells yes from everything
else; of a category's requirement it also tells no from unknown.
"""

from collections.abc import Iterator

from app.assess.completions import IN_EVERY_COMPLETION, ways_in_every_completion
from app.exam.measures import QUANTITIES
from app.exam.vocabulary import SIDES, Side
from app.knowledge.load import Knowledge
from app.knowledge.names import AGE, tier_name
from app.logic.expression import (
    AnySide,
    Atom,
    BothSides,
    Expression,
    Reference,
    Surely,
    children,
)
from app.logic.truth import NO, YES, Truth
from app.store.registry.rows import asked_by
from tests.proofs.facts import Fact, all_of, any_of, not_
from tests.proofs.places import Asked, places
from tests.proofs.proving import Proofs
from tests.proofs.test_exact import is_known, is_open, with_every_value


def told_apart(knowledge: Knowledge) -> Iterator[tuple[str, tuple[Truth, ...]]]:
    """Every condition that SQL concludes from, with the answers that it tells apart."""
    for each in knowledge.categories:
        yield f"{each}_fits", (YES, NO)
        yield f"{each}_cautioned", (YES,)
    for warning in knowledge.warnings.values():
        for tier in warning.tier:
            yield tier_name(warning.id, tier.urgency), (YES,)


def tried_by_the_program(knowledge: Knowledge, name: str) -> list[Asked]:
    """What a condition asks about and the program tries.

    It does not try what stands under `known` or `surely`, nor the inputs of arithmetic.
    """
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
    """Not known, and to be tried.

    The program also tries what was tested in vain, unless a rule asks just that of it.
    """
    if asked[0] in asked_by(proofs.knowledge).untestable:
        return is_open(proofs.exam, asked)
    return not_(is_known(proofs.exam, asked))


def gaps(proofs: Proofs, name: str, settled: Fact) -> Fact:
    """The exams in which this is not so, and would be with every value of one unknown thing."""
    found = []
    for asked in tried_by_the_program(proofs.knowledge, name):
        every = list(with_every_value(proofs.exam, settled, asked))
        if every:
            found.append(all_of(is_unknown(proofs, asked), not_(settled), *every))
    return any_of(*found)


def said_in_sql(proofs: Proofs, name: str) -> Fact:
    """Where SQL says that a condition holds."""
    others = ways_in_every_completion(proofs.knowledge, name)
    return any_of(proofs.exam.named(name).yes, *(proofs.exam.truth(each).yes for each in others))


def test_a_query_misses_nothing_that_is_so_in_every_completion(proofs: Proofs) -> None:
    """With the sentences that stand beside four conditions, no gap is left in any exam.

    Of every level and urgency: what every completion agrees on is said in SQL as well.
    """
    for name, answers in told_apart(proofs.knowledge):
        for answer in answers:
            yes, no = said_in_sql(proofs, name), proofs.exam.named(name).no

            assert proofs.never(gaps(proofs, name, yes if answer is YES else no)) is None, name


def test_a_query_says_nothing_that_an_answer_could_take_back(proofs: Proofs) -> None:
    """Each sentence implies its condition once everything is known that the program would try."""
    for name in IN_EVERY_COMPLETION:
        known = [
            not_(is_unknown(proofs, each)) for each in tried_by_the_program(proofs.knowledge, name)
        ]
        holds = proofs.exam.named(name).yes
        for sentence in ways_in_every_completion(proofs.knowledge, name):
            assert proofs.never(proofs.exam.truth(sentence).yes, not_(holds), *known) is None, name


def test_each_sentence_beside_a_rule_is_needed(proofs: Proofs) -> None:
    """Without it some exam is left in which the query would miss what the program says."""
    for name in IN_EVERY_COMPLETION:
        said = [
            proofs.exam.truth(each).yes for each in ways_in_every_completion(proofs.knowledge, name)
        ]
        for place in range(len(said)):
            rest = any_of(proofs.exam.named(name).yes, *said[:place], *said[place + 1 :])

            assert proofs.possible(gaps(proofs, name, rest)), (name, place)
