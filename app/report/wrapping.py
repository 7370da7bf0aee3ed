"""Plain text in a fixed number of columns."""

import unicodedata
from collections.abc import Iterator

COLUMNS = 80
_HANG = "  "


def wrapped(paragraph: str) -> list[str]:
    """One paragraph as lines of at most COLUMNS; every line after the first hangs by two spaces.

    A word that fits in no line is cut, always at the same places, wherever in the line it stands.
    """
    lines: list[str] = []
    line = ""
    for piece in (piece for word in paragraph.split() for piece in _pieces(word)):
        if line and width(line) + 1 + width(piece) > COLUMNS:
            lines.append(line)
            line = _HANG + piece
        else:
            line = f"{line} {piece}" if line else piece
    return [*lines, line] if line else lines


def width(text: str) -> int:
    """Columns that the text takes: two for a wide East Asian character or emoji, else one."""
    return len(text) if text.isascii() else sum(_columns(character) for character in text)


def count_words(paragraph: str) -> int:
    """How many words the paragraph has once it is wrapped; a cut word counts as its pieces."""
    return sum(1 for word in paragraph.split() for _ in _pieces(word))


def few_words(text: str, most: int) -> str:
    """The first words of a text, with "…" where some are left out."""
    words = text.split()
    return text if len(words) <= most else " ".join(words[:most]) + "…"


def _pieces(word: str) -> Iterator[str]:
    room = COLUMNS - len(_HANG)
    if 2 * len(word) <= room:
        yield word
        return
    piece, taken = "", 0
    for character in word:
        if taken + _columns(character) > room:
            yield piece
            piece, taken = "", 0
        piece += character
        taken += _columns(character)
    yield piece


def _columns(character: str) -> int:
    return 2 if unicodedata.east_asian_width(character) in "WF" else 1
