"""The keystroke-level model: what a pair of hands did, in seconds of an expert who makes no error.

Card SK, Moran TP, Newell A. The keystroke-level model for user performance time with interactive
systems. Communications of the ACM 1980;23:396-410 (operator times cited from memory). The model
leaves out what is the same in every way of recording: looking at the patient.
"""

from dataclasses import dataclass

# K of an average typist who is no typist by trade (40 words a minute); a typist has 0.20 or less.
KEY_S = 0.28
# P: pointing with a mouse. No figure of the model is for a thumb; the same is used for a tap.
POINT_S = 1.10
# H: from the keyboard to the mouse, or back.
HOME_S = 0.40
# M: making up one's mind.
THINK_S = 1.35


@dataclass
class Count:
    """What the hands did.

    keys: key strokes, and presses of a mouse button; points: moves of a pointer or a thumb to a
    target; homes: changes between keyboard and mouse; thoughts: decisions what comes next.
    """

    keys: int = 0
    points: int = 0
    homes: int = 0
    thoughts: int = 0

    @property
    def seconds(self) -> float:
        """How long it takes by the model."""
        return (
            self.keys * KEY_S
            + self.points * POINT_S
            + self.homes * HOME_S
            + self.thoughts * THINK_S
        )
