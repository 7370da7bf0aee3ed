"""Two other ways of writing the same exam down: as prose, and in a form of drop-downs.

Neither is driven in a browser: what it costs follows from what there is to write.
"""

from app.exam.vocabulary import vocabulary
from benchmarks.hands.cases import ANSWERS, EXAMINED
from benchmarks.hands.model import Count

# The case of cases.py as one would dictate it.
PROSE = """\
Rest tremor of the right hand, definite; none on the left, legs and jaw quiet. Face slightly still.
Raises the right arm slightly slowly. With the arms held out a slight tremor of the right hand that
comes back after some seconds; no drift, no flapping, head steady. Finger to nose without tremor and
on target on both sides. Finger taps right definitely slow with a marked decrement, left a slight
decrement, otherwise even and without halts. Toe taps right slightly slow with a definite decrement,
left normal. Tone: definite resistance in the right arm, slight in the right leg, in all directions
and the same at every speed, without a catch and not only on activation; left normal. Rises without
hands, base normal, steps short, right arm swing definitely reduced. Turns in five steps, not as one
block, no freezing. Slightly stooped. Heel strike, leg swing, feet and limp normal on both sides,
steady, no walking aid.
"""


def typed(thoughts: int) -> Count:
    """The case as prose, with as many decisions as the sheet took. Shift keys are not counted."""
    return Count(keys=len(PROSE), thoughts=thoughts)


def drop_downs(thoughts: int) -> Count:
    """A form with one drop-down a cell, worked with the mouse: open it, point, choose."""
    cells = _cells()
    return Count(keys=2 * cells, points=2 * cells, homes=1, thoughts=thoughts)


def drop_downs_by_key(thoughts: int) -> Count:
    """The same form by keyboard: Tab to the next one, and the first letter of the answer."""
    return Count(keys=2 * _cells(), thoughts=thoughts)


def _cells() -> int:
    """The cells of the quick pass, and the describing ones that the case answers."""
    quick = sum(
        len(finding.sides)
        for station in EXAMINED
        for finding in vocabulary().at(station)
        if finding.core and finding.detail_of is None
    )
    return quick + sum(vocabulary()[finding].detail_of is not None for finding, _ in ANSWERS)
