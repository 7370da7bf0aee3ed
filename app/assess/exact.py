"""Decide a condition exactly where Kleene logic alone says unknown.

Kleene logic loses something only where one unknown finding stands in several places of a
condition: it then takes the places for independent. So each such finding is tried with every value
that the condition can tell apart; where all of them give the same answer, that is the answer.
Findings that stand once need no trying: with the others fixed, Kleene logic is exact for them.
Left to Kleene logic are the inputs of arithmetic, and what stands under `known` or `surely`, where
not knowing is itself the point. See docs/decisions/0009.
"""

from collections import Counter
from collections.abc import Iterator, Mapping
from decimal import Decimal
from functools import lru_cache
from itertools import pairwise

from app.assess.assessment import Reason
from app.assess.completions import ways_in_every_completion
from app.assess.world import ExamWorld
from app.exam.measures import QUANTITIES
from app.exam.record import Value
from app.exam.vocabulary import GRADES, SIDES, Scale, Side, vocabulary
from app.knowledge.load import Knowledge
from app.knowledge.names import AGE
from app.logic.evaluate import Judged
from app.logic.expression import (
    AnySide,
    Atom,
    BothSides,
    Expression,
    Reference,
    Surely,
    children,
)
from app.logic.truth import UNKNOWN, YES, Truth

MOST_TRIED = 64
PROBES = 12
# What can be unknown: a cell, or whether a medicine of a class is taken (its side is None).
Open = tuple[str, Side | None]


def exactly(world: ExamWorld, name: str) -> Truth:
    """The truth of a named condition as far as a level or an urgency goes by it.

    Only what the knowledge names as `tried` is searched: of the rest it is proved that the search
    would find nothing that changes one. Where sentences say when it holds, they take the place of
    the search, which may give up before it finds that.
    """
    truth = world.named(name)
    if truth is not UNKNOWN or name not in world.knowledge.tried:
        return truth
    ways = ways_in_every_completion(world.knowledge, name)
    if ways:
        return YES if any(world.truth(way) is YES for way in ways) else UNKNOWN
    return in_every_completion(world, name)


def in_every_completion(world: ExamWorld, name: str) -> Truth:
    """The truth of a named condition in every completion of what is unknown, unknown if it varies.

    A search gives up, with unknown, after MOST_TRIED evaluations: sound, but then not exact.
    """
    return _Search(world.knowledge, name).answer(world)


def because_exactly(world: ExamWorld, name: str) -> tuple[Reason, ...]:
    """What was recorded that makes a condition true, also where it is so in every completion only.

    There is then no single way in which it is true; the way with the first values is shown.
    """
    search, supposed = _Search(world.knowledge, name), world
    while supposed.truth(search.condition) is UNKNOWN:
        each = search.deciding(supposed)[0]
        supposed = supposed.supposing({each: search.choices[each][0]})
    recorded = supposed.because(search.condition)
    return tuple(reason for reason in recorded if world.records(reason))


class _Search:
    def __init__(self, knowledge: Knowledge, name: str) -> None:
        self.condition = Reference(name)
        self.choices = _choices(knowledge, name)
        self.tried = 0

    def answer(self, world: ExamWorld) -> Truth:
        """The answer on which every choice of values agrees; unknown where two differ."""
        truth = world.truth(self.condition)
        if truth is not UNKNOWN or not self.choices or self.tried > MOST_TRIED:
            return truth
        deciding = self.deciding(world)
        enough = self._enough(world, deciding) if deciding else None
        if not enough:
            return UNKNOWN
        answers: set[Truth] = set()
        for value in self.choices[enough[0]]:
            answers.add(self.answer(self._supposing(world, {enough[0]: value})))
            if UNKNOWN in answers or len(answers) > 1:
                return UNKNOWN
        return answers.pop()

    def deciding(self, world: ExamWorld) -> list[Open]:
        """What is unknown, could change the answer, and stands in several places."""
        unsettled = world.evaluation.unsettled(self.condition)
        named = dict.fromkeys(_open(world.knowledge, *judged) for judged in unsettled)
        return [each for each in named if each in self.choices]

    def _enough(self, world: ExamWorld, deciding: list[Open]) -> list[Open] | None:
        """What, supposed alone, gives the answer on which a few choices for all together agree.

        None where two of them differ: then the answer varies. Almost always they do, so the search
        above is rarely needed. Where they agree, only another value of these can change the answer.
        """
        seen: Truth | None = None
        agreeing: list[tuple[ExamWorld, dict[Open, Value]]] = []
        for probe in range(PROBES):
            values = {
                each: _probed(self.choices[each], probe, place)
                for place, each in enumerate(deciding)
            }
            supposed = self._supposing(world, values)
            answer = supposed.truth(self.condition)
            if answer is UNKNOWN or answer is not (answer if seen is None else seen):
                return None
            agreeing.append((supposed, values))
            seen = answer
        carrying = [self._carrying(*each) for each in agreeing]
        # The first probe supposes everything normal; it or the one that rests on least says most.
        fewest = (self._fewest(world, each) for each in (carrying[0], min(carrying, key=len)))
        return min(fewest, key=len)

    def _fewest(self, world: ExamWorld, values: dict[Open, Value]) -> list[Open]:
        """Of these values a part that settles the answer by itself, and no part of which does."""
        for each in list(values):
            fewer = {other: value for other, value in values.items() if other != each}
            if self._supposing(world, fewer).truth(self.condition) is not UNKNOWN:
                values = fewer
        return list(values)

    def _carrying(self, supposed: ExamWorld, values: Mapping[Open, Value]) -> dict[Open, Value]:
        """What of the values the answer rests on."""
        grounds = supposed.evaluation.grounds(self.condition)
        resting = {_open(supposed.knowledge, *judged) for judged in grounds}
        return {each: value for each, value in values.items() if each in resting}

    def _supposing(self, world: ExamWorld, values: Mapping[Open, Value]) -> ExamWorld:
        self.tried += 1
        return world.supposing(values)


def _probed(values: tuple[Value, ...], probe: int, place: int) -> Value:
    """The value to try at a place: in the first probe every first, in the second every last."""
    if probe < 2:
        return values[-probe]
    return values[(7 * probe + 5 * place + probe * place) % len(values)]


def _held_back(knowledge: Knowledge, name: str) -> frozenset[Open | None]:
    """What is not tried: it stands under `known` or `surely`, or is an input of arithmetic."""
    atoms = _places(knowledge, name)
    special = {_open(knowledge, *judged) for judged, special in atoms if special}
    arithmetic = {
        (finding, None)
        for (atom, _), _ in atoms
        if atom.name in QUANTITIES
        for finding in QUANTITIES[atom.name].inputs
    }
    return frozenset(special | arithmetic)


@lru_cache(maxsize=512)
def _places(knowledge: Knowledge, name: str) -> list[tuple[Judged, bool]]:
    return list(_atoms(knowledge, knowledge.definitions[name].expression, None, under=False))


@lru_cache(maxsize=512)
def _choices(knowledge: Knowledge, name: str) -> dict[Open, tuple[Value, ...]]:
    """The findings that stand more than once in a named condition, with the values to try."""
    atoms, held_back = _places(knowledge, name), _held_back(knowledge, name)
    places = Counter(_open(knowledge, *judged) for judged, _ in atoms)
    choices: dict[Open, tuple[Value, ...]] = {}
    for each, count in places.items():
        if each is not None and count > 1 and each not in held_back:
            about = [judged[0] for judged, _ in atoms if _open(knowledge, *judged) == each]
            choices[each] = _values(knowledge, each, about)
    return choices


def _atoms(
    knowledge: Knowledge, expression: Expression, side: Side | None, *, under: bool
) -> Iterator[tuple[Judged, bool]]:
    """Every place of an atom, with whether not knowing it is itself the point there.

    Both sides are always gone through, so that `other` changes nothing.
    """
    match expression:
        case Atom(name, relation):
            at = side if knowledge.names.is_paired(name) else None
            yield (expression, at), under or relation == "known"
        case Reference(name):
            yield from _atoms(knowledge, knowledge.definitions[name].expression, side, under=under)
        case AnySide(inner) | BothSides(inner):
            for each in SIDES:
                yield from _atoms(knowledge, inner, each, under=under)
        case Surely(inner):
            yield from _atoms(knowledge, inner, side, under=True)
        case _:
            for child in children(expression):
                yield from _atoms(knowledge, child, side, under=under)


def _open(knowledge: Knowledge, atom: Atom, side: str | None) -> Open | None:
    """What an atom asks about, where it asks about one thing; None for arithmetic and sums."""
    if atom.name in QUANTITIES or atom.name in knowledge.balances or atom.name == AGE:
        return None
    return atom.name, Side(side) if side else None


def _values(knowledge: Knowledge, each: Open, about: list[Atom]) -> tuple[Value, ...]:
    """Values enough to give every answer that the atoms can tell apart."""
    finding = vocabulary().get(each[0])
    if finding is None or finding.scale is Scale.YESNO:
        return (False, True)
    if finding.scale is Scale.GRADE:
        return GRADES
    if finding.scale is Scale.CHOICE:
        return finding.values
    marks = sorted({Decimal(knowledge.thresholds[atom.operands[0]].value) for atom in about})
    low, high = finding.minimum or Decimal(0), finding.maximum or marks[-1] + 1
    between = [(one + two) / 2 for one, two in pairwise(marks)]
    tried = sorted({low, *marks, *between, high})
    return tuple(number for number in tried if low <= number <= high)
