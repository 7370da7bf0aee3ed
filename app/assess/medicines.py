"""Recognise medicines in lines as typed. A near miss is offered, never assumed."""

import re
from collections.abc import Mapping
from dataclasses import dataclass

from rapidfuzz import fuzz, process

from app.assess.assessment import NotRecognised, Recognised
from app.knowledge.model import Medicines
from app.logic.truth import NO, UNKNOWN, YES, Truth

_WORD = re.compile(r"[^\W_]+(?:['’][^\W_]+)*")
# How alike two names must be, of 100, to be offered: it decides what is shown, never a conclusion.
_NEAR = 80
_MOST_NEAR = 3


@dataclass(frozen=True)
class CheckedMedicines:
    """The medicine list after recognition; `asked` is False where nobody recorded a list."""

    asked: bool
    recognised: tuple[Recognised, ...]
    not_recognised: tuple[NotRecognised, ...]

    def takes(self, name: str) -> Truth:
        """Whether a class or ingredient is taken; unknown while a line is not recognised."""
        if self.taken(name):
            return YES
        return UNKNOWN if not self.asked or self.not_recognised else NO

    def taken(self, name: str) -> tuple[str, ...]:
        """The ingredients taken that are of a class, or are the one named; each once."""
        taken = (
            each.ingredient
            for each in self.recognised
            if name == each.ingredient or name in each.classes
        )
        return tuple(dict.fromkeys(taken))


class Formulary:
    """Names of ingredients, ready for look-up by the words of a line."""

    def __init__(self, medicines: Medicines) -> None:
        classes: dict[str, list[str]] = {}
        for each in medicines.classes.values():
            for ingredient in each.ingredients:
                classes.setdefault(ingredient, []).append(each.id)
        self.classes: Mapping[str, tuple[str, ...]] = {k: tuple(v) for k, v in classes.items()}
        self.names = {_words(ingredient): ingredient for ingredient in classes}
        for ingredient, spellings in medicines.spellings.items():
            self.names |= {_words(spelling): ingredient for spelling in spellings}
        self.longest = max(map(len, self.names))
        self.plain = [" ".join(words) for words in self.names]

    def check(self, lines: tuple[str, ...] | None) -> CheckedMedicines:
        """Recognise each line of a list; None is a list that nobody recorded."""
        recognised: list[Recognised] = []
        not_recognised: list[NotRecognised] = []
        for line in lines or ():
            words = _words(line)
            found = self._ingredients(words)
            recognised += [Recognised(line, each, self.classes[each]) for each in found]
            if not found:
                not_recognised.append(NotRecognised(line, self._near(words)))
        return CheckedMedicines(lines is not None, tuple(recognised), tuple(not_recognised))

    def _ingredients(self, words: tuple[str, ...]) -> list[str]:
        """Every ingredient named in a line, the longest name first at each place."""
        found: list[str] = []
        place = 0
        while place < len(words):
            for length in range(self.longest, 0, -1):
                ingredient = self.names.get(words[place : place + length])
                if ingredient is not None:
                    found.append(ingredient)
                    place += length
                    break
            else:
                place += 1
        return list(dict.fromkeys(found))

    def _near(self, words: tuple[str, ...]) -> tuple[str, ...]:
        alike = sorted(
            (-score, name)
            for word in words
            for name, score, _ in process.extract(
                word, self.plain, scorer=fuzz.ratio, score_cutoff=_NEAR, limit=None
            )
        )
        return tuple(dict.fromkeys(name for _, name in alike))[:_MOST_NEAR]


def _words(text: str) -> tuple[str, ...]:
    return tuple(_WORD.findall(text.casefold().replace("’", "'")))
