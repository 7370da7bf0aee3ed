"""Counts of exams as small drawings: a number, and under it a bar as long as it is large.

Here is only where things stand in a drawing; a template draws it.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from textwrap import wrap

from app.report.small_counts import Shown

# Of the drawing: where the bars begin, how wide a column is, the longest bar, and a line of words.
LABEL_WIDE, COLUMN_WIDE, LONGEST, LINE_HIGH = 216, 92, 80, 16
# One column alone has more room to compare, and stands in a narrow frame.
ALONE_LABEL, ALONE_WIDE, ALONE_LONGEST = 144, 176, 168
LEAST_HIGH = 30
# So many letters of a label stand in a line, for one pixel of room.
LETTERS = 0.15
TALL = 8
_TOP = 22


@dataclass(frozen=True)
class Line:
    """What is told of one thing: a count for each column."""

    label: str
    counts: tuple[Shown, ...]


@dataclass(frozen=True)
class Bar:
    """One count in the drawing. kind: told, small or withheld; a small one is as long as it could
    be at most, and one that is withheld has no bar.
    """

    x: float
    y: float
    length: float
    kind: str
    words: str


@dataclass(frozen=True)
class DrawnLine:
    """One line in the drawing: its label, in as many lines of words as it needs, and its bars."""

    y: float
    label: tuple[tuple[float, str], ...]
    bars: tuple[Bar, ...]


@dataclass(frozen=True)
class Tally:
    """Counts in a drawing and in a table beneath. id: of its heading; of: what a line is.

    is_wide: it has several columns; is_tall: many lines; heads: where each column
    begins, with its name.
    """

    id: str
    title: str
    says: str
    of: str
    columns: tuple[str, ...]
    lines: tuple[Line, ...]
    is_wide: bool
    is_tall: bool
    width: int
    height: int
    heads: tuple[tuple[float, str], ...]
    drawn: tuple[DrawnLine, ...]


def tally(
    name: str,
    title: str,
    says: str,
    of: str,
    columns: Sequence[str],
    lines: Sequence[Line],
) -> Tally:
    """Draw counts, the longest bar for the largest of them."""
    is_wide = len(columns) > 1
    label = LABEL_WIDE if is_wide else ALONE_LABEL
    column, longest = (COLUMN_WIDE, LONGEST) if is_wide else (ALONE_WIDE, ALONE_LONGEST)
    xs = [float(label + number * column) for number in range(len(columns))]
    largest = max((_reach(each) for line in lines for each in line.counts), default=1) or 1
    y = float(_TOP if is_wide else 4)
    drawn = []
    for line in lines:
        words = wrap(line.label, round(label * LETTERS)) or [""]
        drawn.append(
            DrawnLine(
                y,
                tuple((y + 12 + LINE_HIGH * row, each) for row, each in enumerate(words)),
                tuple(
                    Bar(
                        x,
                        y + 17,
                        round(_reach(each) / largest * longest, 1),
                        _kind(each),
                        each.words,
                    )
                    for x, each in zip(xs, line.counts, strict=True)
                ),
            )
        )
        y += max(LEAST_HIGH, LINE_HIGH * len(words) + 4)
    return Tally(
        id=name,
        title=title,
        says=says,
        of=of,
        columns=tuple(columns),
        lines=tuple(lines),
        is_wide=is_wide,
        is_tall=len(lines) > TALL,
        width=label + column * len(columns),
        height=round(y),
        heads=tuple(zip(xs, columns, strict=True)) if is_wide else (),
        drawn=tuple(drawn),
    )


def _reach(shown: Shown) -> int:
    if shown.number is not None:
        return shown.number
    return shown.below - 1 if shown.below else 0


def _kind(shown: Shown) -> str:
    if shown.number is not None:
        return "told"
    return "small" if shown.below else "withheld"
