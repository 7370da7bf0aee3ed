"""Counts of few people hidden, and with them whatever would let somebody work them out.

Whoever reads counts may know the total of a group of them. So where a count is hidden, others of
its group are withheld too, until each hidden one could be any of the small numbers.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from app.language.words import _

# Every count is shown.
ALL_SHOWN = 1


@dataclass(frozen=True)
class Shown:
    """What is told of one count. number: None where it is hidden.

    below: it is from 1 to one less than this; None where not even that is told.
    """

    number: int | None
    below: int | None = None

    @property
    def words(self) -> str:
        """As it is read."""
        if self.number is not None:
            return str(self.number)
        return _("fewer than {below}").format(below=self.below) if self.below else _("withheld")


WITHHELD = Shown(None)


def shown_alone(count: int, least: int) -> Shown:
    """A count that is part of no total. least: the smallest number of people that is told."""
    return Shown(None, least) if 0 < count < least else Shown(count)


def shown_group(counts: Sequence[int], least: int) -> tuple[Shown, ...]:
    """Counts in which everybody of a total stands once, and whoever reads may know the total.

    Beside small counts the smallest others are withheld, as few as will do; where none do, the
    whole group is. A nought hides nobody and is told.
    """
    small = {place for place, count in enumerate(counts) if 0 < count < least}
    if not small:
        return tuple(map(Shown, counts))
    others = sorted((count, place) for place, count in enumerate(counts) if count >= least)
    hidden = sum(counts[place] for place in small)
    for number in range(len(others) + 1):
        withheld = {place for _, place in others[:number]}
        hidden += others[number - 1][0] if number else 0
        next_one = others[number][0] if number < len(others) else hidden
        if _keeps_open(hidden, len(small), number, least, next_one):
            return tuple(
                Shown(None, least)
                if here in small
                else WITHHELD
                if here in withheld
                else Shown(count)
                for here, count in enumerate(counts)
            )
    return (WITHHELD,) * len(counts)


def _keeps_open(hidden: int, small: int, withheld: int, least: int, most: int) -> bool:
    """Whether each small count could be any from 1 to one below the least.

    hidden: the sum of all that is not told, which can be worked out from the total. Whoever knows
    how it is done knows too that what is withheld is from the least up to most, the smallest other
    that is told.
    """
    # One small count at its largest and everything else at its smallest; and the other way round.
    at_least = (least - 1) + (small - 1) + withheld * least
    at_most = 1 + (small - 1) * (least - 1) + withheld * most
    return at_least <= hidden <= at_most
