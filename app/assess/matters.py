"""What could still change a condition: tried against every way in which the rest may turn out.

Where nothing that is open stands in two places of a condition, whatever is open in it can decide.
Else a first pass takes the places for independent: what cannot decide even so never does. Of the
rest that which stands in several places is tried with each of its answers. See docs/decisions/0012.
"""

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from functools import lru_cache

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
from app.logic.expression import Expression

# What each answer to one thing gives, in one completion of the rest.
_Row = tuple[Settled, ...]
_Rows = dict[Open, frozenset[_Row]]
# The joints from the root to a place, each with the member that leads on.
_Path = tuple[tuple[Joint, int], ...]


def cells_deciding(
    residues: Residues, conditions: Iterable[Expression], *, only_if_sure: bool
) -> set[Open]:
    """Every unexamined cell that could change one of the conditions.

    Of what goes into a calculation every part is taken to.
    """
    found: set[Open] = set()
    for condition in conditions:
        for each in deciding(residues.of(condition), only_if_sure=only_if_sure):
            found.update(residues.inputs.get(each, (each,)))
    return found


@lru_cache(maxsize=4096)
def deciding(residue: Residue, *, only_if_sure: bool) -> frozenset[Open]:
    """Everything open of which two answers give different results, in some completion.

    only_if_sure: it counts whether the condition holds, not why it does not.
    A completion has answers for the rest; what stands under `known` or `surely` may also stay open.
    The cache holds nothing of a patient, only what may be open in conditions.
    """
    places = Counter(leaf.open for leaf in _leaves(residue))
    several = [each for each, count in places.items() if count > 1]
    if not several:
        return frozenset(_possible(residue, set(places), only_if_sure))
    return frozenset(
        each
        for each in places
        if any(_is_left_to(residue, each, path, only_if_sure) for path in _paths(residue, each))
        or _is_found(residue, each, only_if_sure)
    )


@lru_cache(maxsize=4096)
def _is_found(residue: Residue, each: Open, only_if_sure: bool) -> bool:
    """Whether one thing can decide: of the others, those in several places tried one by one."""
    if not _possible(residue, {each}, only_if_sure):
        return False
    leaves = list(_leaves(residue))
    tried = _nearest(leaves, each)
    if tried is None:
        return True
    return any(
        _is_found(_with(residue, {tried: answer}), each, only_if_sure)
        for answer in _told_apart(leaves, tried)
    )


def _nearest(leaves: list[Leaf], each: Open) -> Open | None:
    """What stands in several places, nearest to the thing that is looked at; None where nothing."""
    counts = Counter(leaf.open for leaf in leaves)
    own = [place for place, leaf in enumerate(leaves) if leaf.open == each]
    near = [
        (min(abs(place - at) for at in own), place)
        for place, leaf in enumerate(leaves)
        if leaf.open != each and counts[leaf.open] > 1
    ]
    return leaves[min(near)[1]].open if near else None


def _possible(residue: Residue, wanted: set[Open], only_if_sure: bool) -> set[Open]:
    """What could decide if everything else that stands in several places were independent there."""
    rows = _rows(residue, wanted, _blank(residue))[1]
    return {each for each, held in rows.items() if any(_differs(row, only_if_sure) for row in held)}


def _blank(residue: Residue) -> set[Open]:
    """What may stay open: that it is not known is itself the point somewhere."""
    return {leaf.open for leaf in _leaves(residue) if leaf.answers[-1] != UNSURE}


def _leaves(residue: Residue) -> Iterator[Leaf]:
    if isinstance(residue, Leaf):
        yield residue
    elif isinstance(residue, Joint):
        for member in residue.members:
            yield from _leaves(member)


def _differs(row: _Row, only_if_sure: bool) -> bool:
    return len({each == SURE for each in row} if only_if_sure else set(row)) > 1


def _told_apart(leaves: list[Leaf], tried: Open) -> Iterator[int]:
    """The places of those answers that do not all come out like an earlier one."""
    own = [leaf.answers for leaf in leaves if leaf.open == tried]
    *given, none = enumerate(zip(*own, strict=True))
    told: set[_Row] = set()
    for place, row in given if set(none[1]) == {UNSURE} else (*given, none):
        if row not in told:
            told.add(row)
            yield place


def _with(residue: Residue, answered: Mapping[Open, int]) -> Residue:
    """The residue with some things answered."""
    if isinstance(residue, Leaf):
        answer = answered.get(residue.open)
        return residue if answer is None else residue.answers[answer]
    if isinstance(residue, Joint):
        return joint(residue.least, [_with(each, answered) for each in residue.members])
    return residue


# ---- a completion in which one place decides


def _is_left_to(residue: Residue, each: Open, path: _Path, only_if_sure: bool) -> bool:
    """Whether a completion that leaves the result to one place of a thing lets it decide.

    It may fail where one exists: what is beside the place is answered without looking back.
    """
    answered: dict[Open, int] = {}
    for around, at in reversed(path):
        beside = [*around.members[:at], *around.members[at + 1 :]]
        for place, other in enumerate(beside):
            wanted = SURE if place < around.least - 1 else NEVER
            _force(_with(other, answered), wanted, each, answered)
    rest = _with(residue, answered)
    # Where nothing of it is left, it cannot decide, and nothing is near it.
    can_decide = bool(_possible(rest, {each}, only_if_sure))
    return can_decide and _nearest(list(_leaves(rest)), each) is None


def _paths(residue: Residue, each: Open) -> Iterator[_Path]:
    """The ways from the root to the places of a thing."""
    if isinstance(residue, Leaf) and residue.open == each:
        yield ()
    elif isinstance(residue, Joint):
        for at, member in enumerate(residue.members):
            for path in _paths(member, each):
                yield ((residue, at), *path)


def _force(residue: Residue, wanted: Settled, each: Open, answered: dict[Open, int]) -> None:
    """Answer what is open in a residue so that it comes out as wanted, as far as that goes."""
    if isinstance(residue, Joint):
        enough = residue.least if wanted == SURE else len(residue.members) - residue.least + 1
        for member in residue.members[:enough]:
            _force(member, wanted, each, answered)
    elif isinstance(residue, Leaf) and residue.open != each and wanted in residue.answers:
        answered.setdefault(residue.open, residue.answers.index(wanted))


# ---- every result that there can be, the places of one thing taken together, others as independent


def _rows(residue: Residue, wanted: set[Open], blank: set[Open]) -> tuple[frozenset[_Row], _Rows]:
    """How a residue can come out; and, for each thing wanted, what its answers can give."""
    if isinstance(residue, Leaf):
        given = residue.answers[:-1]
        own = residue.answers if residue.open in blank else given
        rows = {residue.open: frozenset({given})} if residue.open in wanted else {}
        return frozenset((each,) for each in own), rows
    if not isinstance(residue, Joint):
        return frozenset({(residue,)}), {}
    parts = [_rows(member, wanted, blank) for member in residue.members]
    outcomes = _joined(residue, [held for held, _ in parts])
    return outcomes, {
        each: _joined(residue, [known.get(each, held) for held, known in parts])
        for each in dict.fromkeys(each for _, known in parts for each in known)
    }


def _joined(residue: Joint, parts: list[frozenset[_Row]]) -> frozenset[_Row]:
    """What a joint makes of one row of each member, in every combination.

    So many hold as truly as the member that is so many-th when the truest stands first.
    A row of one truth is that for every answer.
    """
    least, size = residue.least, len(residue.members)
    width = max(len(row) for part in parts for row in part)
    if least in (1, size):
        # Of members that come out alike, whatever the answer, one is enough.
        even = {part for part in parts if all(len(row) == 1 for row in part)}
        varied = [part for part in parts if part not in even]
        take = max if least == 1 else min
        found = {(NEVER,) * width if least == 1 else (SURE,) * width}
        for part in (*even, *varied):
            found = {tuple(map(take, row, _wide(more, width))) for row in found for more in part}
        return frozenset(found)
    truest: set[tuple[_Row, ...]] = {((),) * width}
    for part in parts:
        truest = {
            tuple(
                tuple(sorted((*kept, truth), reverse=True)[:least])
                for kept, truth in zip(held, _wide(more, width), strict=True)
            )
            for held in truest
            for more in part
        }
    return frozenset(tuple(kept[-1] for kept in held) for held in truest)


def _wide(row: _Row, width: int) -> _Row:
    return row * width if len(row) == 1 else row
