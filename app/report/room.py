"""How much of the note each list may take, and the order in which it is shortened."""

from dataclasses import dataclass


@dataclass(frozen=True)
class Room:
    """How many entries each list may keep, and in how much detail the long paragraphs are told.

    normal: 2 in findings, 1 by station, 0 one number. not_examined: the same.
    reason, impression, plan, amended: words. because, missing, against: findings of each warning or
    category. acknowledged: 1 with by whom, 0 one number. confirmed: findings of each person.
    """

    reason: int = 30
    because: int = 4
    categories: int = 16
    qualifiers: int = 6
    against: int = 4
    missing: int = 4
    warnings: int = 12
    hazards: int = 6
    signs: int = 24
    unexplained: int = 6
    history: int = 10
    measured: int = 10
    medicines: int = 4
    conflicts: int = 3
    impression: int = 60
    plan: int = 45
    codes: int = 8
    amended: int = 50
    acknowledged: int = 1
    confirmed: int = 6
    taken: int = 8
    declined: int = 6
    steps: int = 10
    normal: int = 2
    not_examined: int = 2
    untestable: int = 6


# Each step takes room from one list; they are taken in this order until the note fits.
SHORTER: tuple[tuple[str, int], ...] = (
    ("normal", 1),
    ("confirmed", 3),
    ("not_examined", 1),
    ("measured", 6),
    ("confirmed", 0),
    ("missing", 2),
    ("reason", 15),
    ("steps", 4),
    ("qualifiers", 3),
    ("hazards", 3),
    ("because", 2),
    ("medicines", 2),
    ("history", 6),
    ("measured", 3),
    ("normal", 0),
    ("steps", 3),
    ("unexplained", 2),
    ("untestable", 2),
    ("missing", 1),
    ("history", 3),
    ("declined", 3),
    ("impression", 40),
    ("plan", 30),
    ("amended", 35),
    ("signs", 18),
    ("against", 2),
    ("steps", 2),
    ("hazards", 1),
    ("measured", 1),
    ("taken", 4),
    ("impression", 25),
    ("plan", 20),
    ("amended", 20),
    ("signs", 12),
    ("conflicts", 1),
    ("reason", 8),
    ("unexplained", 0),
    ("warnings", 6),
    ("categories", 6),
    ("qualifiers", 1),
    ("acknowledged", 0),
    ("because", 1),
    ("declined", 1),
    ("taken", 2),
    ("impression", 15),
    ("plan", 10),
    ("amended", 12),
    ("signs", 8),
    ("measured", 0),
    ("untestable", 1),
    ("not_examined", 0),
    ("missing", 0),
    ("steps", 1),
    ("against", 1),
    ("medicines", 1),
    ("history", 1),
    ("warnings", 4),
    ("categories", 4),
    ("signs", 4),
    ("medicines", 0),
    ("qualifiers", 0),
    ("hazards", 0),
    ("against", 0),
    ("untestable", 0),
    ("conflicts", 0),
    ("history", 0),
    ("because", 0),
    ("warnings", 2),
    ("signs", 2),
    ("categories", 2),
    ("declined", 0),
    ("taken", 0),
    ("codes", 0),
    ("plan", 0),
    ("impression", 0),
    ("amended", 0),
    ("reason", 0),
    ("warnings", 1),
    ("signs", 1),
    ("steps", 0),
    ("categories", 1),
    ("warnings", 0),
    ("signs", 0),
    ("categories", 0),
)
