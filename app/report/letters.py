"""Letters that the bundled typeface lacks, so that a page can say what may be missing on it."""

import unicodedata
from collections.abc import Iterable, Iterator
from functools import cache

from app.language.words import N_, Spoken, _
from app.places import STATIC

_FONT = STATIC / "fonts" / "source-sans-3-regular.woff2"
# The first word of a character's name is its script, but for these.
_CALLED = Spoken({"CJK": N_("Chinese characters"), "IDEOGRAPHIC": N_("Chinese characters")})
_OTHER = N_("pictures and other signs")


def missing_scripts(texts: Iterable[str]) -> tuple[str, ...]:
    """The scripts whose letters stand in these texts and not in the typeface, in order."""
    letters = {letter for text in texts for letter in text if ord(letter) not in _bundled()}
    return tuple(sorted({_script(letter) for letter in letters if _draws(letter)}))


def texts_in(value: object) -> Iterator[str]:
    """Every text in a dataclass, whatever it is nested in."""
    if isinstance(value, str):
        yield value
    elif isinstance(value, tuple | list):
        for each in value:
            yield from texts_in(each)
    elif hasattr(value, "__dataclass_fields__"):
        for each in vars(value).values():
            yield from texts_in(each)


def _draws(letter: str) -> bool:
    """Whether it leaves ink: line breaks, joiners and variation selectors do not."""
    return unicodedata.category(letter) not in ("Cc", "Cf", "Zs") and not (
        0xFE00 <= ord(letter) <= 0xFE0F
    )


def _script(letter: str) -> str:
    if unicodedata.category(letter)[0] not in "LM":
        return _(_OTHER)
    word = unicodedata.name(letter, "UNNAMED").split()[0]
    return _CALLED.get(word, word.capitalize())


@cache
def _bundled() -> frozenset[int]:
    """What the typeface holds; the other weights hold the same (tests/report/test_letters.py)."""
    from fontTools.ttLib import TTFont

    with TTFont(_FONT) as font:
        return frozenset(font.getBestCmap())
