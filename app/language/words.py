"""The language in use, and words in it: English as it stands in the code, others from a catalogue.

Nothing is translated when a module is imported: a constant is marked with `N_` and translated
where it is shown.
"""

from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from contextvars import ContextVar
from typing import Generic, TypeVar

from app.language.catalogue import translations

ENGLISH = "en"
# Each language by its code, called as it calls itself.
LANGUAGES: Mapping[str, str] = {ENGLISH: "English", "de": "Deutsch"}
MESSAGES = "messages"
KNOWLEDGE = "knowledge"

Key = TypeVar("Key")
Made = TypeVar("Made")
_in_use: ContextVar[str] = ContextVar("language", default=ENGLISH)
# Where somebody collects the words of the knowledge: each with the places where it stands.
_collected: ContextVar[dict[str, list[str]] | None] = ContextVar("collected", default=None)


def language() -> str:
    """The code of the language in use."""
    return _in_use.get()


@contextmanager
def speaking(code: str) -> Iterator[None]:
    """Use a language inside the block."""
    LANGUAGES[code]
    before = _in_use.set(code)
    try:
        yield
    finally:
        _in_use.reset(before)


def N_(text: str) -> str:  # noqa: N802  # the name by which every tool for catalogues knows it
    """Mark a constant as a message, untranslated."""
    return text


def _(text: str) -> str:
    """A message in the language in use."""
    code = _in_use.get()
    # A catalogue answers nothing with its own head.
    return text if code == ENGLISH or not text else translations(code, MESSAGES).gettext(text)


def ngettext(one: str, several: str, number: int) -> str:
    """A message with a number in the language in use; the number is not filled in."""
    code = _in_use.get()
    if code == ENGLISH:
        return one if number == 1 else several
    return translations(code, MESSAGES).ngettext(one, several, number)


def pgettext(context: str, text: str) -> str:
    """A message that means different things in different places."""
    code = _in_use.get()
    return text if code == ENGLISH else translations(code, MESSAGES).pgettext(context, text)


def known(text: str, place: str = "") -> str:
    """Words of the vocabulary or the knowledge in the language in use. place: where they stand."""
    collected = _collected.get()
    if collected is not None and text:
        collected.setdefault(text, []).append(place)
    code = _in_use.get()
    if code == ENGLISH or not text:
        return text
    return translations(code, KNOWLEDGE).gettext(text)


@contextmanager
def collecting() -> Iterator[dict[str, list[str]]]:
    """Collect the words of whatever is read inside the block, with their places."""
    found: dict[str, list[str]] = {}
    before = _collected.set(found)
    try:
        yield found
    finally:
        _collected.reset(before)


class InEachLanguage(Generic[Made]):
    """What is made once for each language, and then kept."""

    def __init__(self, make: Callable[[], Made]) -> None:
        self.make = make
        self._made: dict[str, Made] = {}
        self.__doc__ = make.__doc__
        self.__name__ = getattr(make, "__name__", "")

    def __call__(self) -> Made:
        """The one for the language in use."""
        code = _in_use.get()
        try:
            return self._made[code]
        except KeyError:
            made = self._made[code] = self.make()
            return made


class Spoken(Mapping[Key, str]):
    """A table of words whose values are translated when they are read."""

    def __init__(self, words: Mapping[Key, str]) -> None:
        self._words = words

    def __getitem__(self, key: Key) -> str:
        return _(self._words[key])

    def __iter__(self) -> Iterator[Key]:
        return iter(self._words)

    def __len__(self) -> int:
        return len(self._words)
