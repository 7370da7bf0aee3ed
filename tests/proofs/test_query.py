"""SQL says what the program says, though SQL has Kleene logic alone: proved for every exam.

A gap is an exam in which a condition is unknown, and in which every value of one unknown thing
would settle it alike (tests/proofs/test_exact.py). What SQL concludes tells yes from everything
else; of a category's requirement it also tells no from unknown.
"""

from collections.abc import Iterator

from app.knowledge.load import Knowledge
from app.knowledge.names import tier_name
from app.logic.expression import Reference
from app.logic.truth import NO, YES, Truth
from app.store.registry.exactly import (
    LEFT_TO_THE_PROGRAM,
    TRIED,
    unlike_completions,
    values_of,
)
from app.store.registry.rows import asked_by
from tests.proofs.facts import Fact, all_of, any_of, not_
from tests.proofs.places import Asked, places
from tests.proofs.proving import Proofs
from tests.proofs.solver import AnyExam
from tests.proofs.test_exact import is_known, is_open, with_every_value


def told_apart(knowledge: Knowledge) -> Iterator[tuple[str, tuple[Truth, ...]]]:
    """Every condition that SQL concludes from, with the answers that it tells apart."""
    for each in knowledge.categories:
        yield f"{each}_fits", (YES, NO)
        yield f"{each}_cautioned", (YES,)
    for warning in knowledge.warnings.values():
        for tier in warning.tier:
            yield tier_name(warning.id, tier.urgency), (YES,)


def tried_by_the_program(proofs: Proofs, name: str) -> list[Asked]:
    """What a condition asks about and the program tries: not what stands under known or surely."""
    tried, _ = unlike_completions(proofs.knowledge, name)
    return [
        each for each in dict.fromkeys(places(proofs.knowledge, Reference(name))) if each in tried
    ]


def gaps(proofs: Proofs, name: str, settled: Fact) -> Fact:
    """The exams in which this is not so, and would be with every value of one unknown thing.

    The program tries what was tried in vain, too, unless a rule asks just that of it.
    """
    asked_in_vain = asked_by(proofs.knowledge).untestable
    found = []
    for asked in tried_by_the_program(proofs, name):
        every = list(with_every_value(proofs.exam, settled, asked))
        open_ = is_open if asked[0] in asked_in_vain else is_unknown
        found.append(all_of(open_(proofs.exam, asked), not_(settled), *every))
    return any_of(*found)


def is_unknown(exam: AnyExam, asked: Asked) -> Fact:
    """Not known, whether it was tried in vain or not."""
    return not_(is_known(exam, asked))


def test_kleene_logic_is_exact_for_all_that_is_not_treated(proofs: Proofs) -> None:
    """No exam is left in which SQL misses what the program says, but for the four conditions."""
    for name, answers in told_apart(proofs.knowledge):
        if name in TRIED or name in LEFT_TO_THE_PROGRAM:
            continue
        pair = proofs.exam.named(name)
        for answer in answers:
            settled = pair.yes if answer is YES else pair.no

            assert proofs.never(gaps(proofs, name, settled)) is None, (name, answer)


def test_trying_a_few_things_leaves_no_gap(proofs: Proofs) -> None:
    """Every value of each alone: with that, no other gap is left, in any exam."""
    for name, few in TRIED.items():
        yes = proofs.exam.named(name).yes
        alike = any_of(yes, *(all_of(*with_every_value(proofs.exam, yes, each)) for each in few))

        assert proofs.possible(alike, not_(yes)), "nothing to try"
        assert proofs.never(gaps(proofs, name, alike)) is None, name
        for each in few:
            assert len(values_of(each[0])) == len(list(with_every_value(proofs.exam, yes, each)))


def test_what_is_left_to_the_program_has_gaps(proofs: Proofs) -> None:
    """Else the program would be asked for nothing."""
    for name in LEFT_TO_THE_PROGRAM:
        assert proofs.possible(gaps(proofs, name, proofs.exam.named(name).yes)), name
