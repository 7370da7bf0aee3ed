"""What is so in every completion of what is unknown, also where three values alone say unknown.

The knowledge says of each such condition when it holds (completions.toml); the solver proves that
nothing else is missed. See docs/decisions/0009.
"""

from app.assess.assessment import Reason
from app.assess.world import ExamWorld
from app.logic.truth import YES, Truth


def exactly(world: ExamWorld, name: str) -> Truth:
    """The truth of a named condition as far as a level or an urgency goes by it.

    Where it goes by a yes alone, unknown may be said of what is a no in every completion.
    """
    return world.truth(world.knowledge.exactly(name))


def because_exactly(world: ExamWorld, name: str) -> tuple[Reason, ...]:
    """What was recorded that makes a condition true, also where it is so in every completion only.

    There is then no single way in which it is true; what makes it so whichever it is, is shown.
    """
    plain = world.knowledge.definitions[name].expression
    return world.because(plain if world.truth(plain) is YES else world.knowledge.exactly(name))
