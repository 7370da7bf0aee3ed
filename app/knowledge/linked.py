"""Words that keep what they name, so that a page can make links of them."""

from dataclasses import dataclass, replace

from app.language.words import ENGLISH, language

# Names of people keep their capital inside a sentence.
_PEOPLE = ("Hoffmann", "Romberg")


@dataclass(frozen=True)
class Term:
    """A run of words. group, id: what it names, as `signs` and `rigid`; empty for plain words."""

    text: str
    group: str = ""
    id: str = ""


Words = tuple[Term, ...]


def plain(words: Words) -> str:
    """The words as text."""
    return "".join(term.text for term in words)


def join(*parts: str | Words) -> Words:
    """Words in a row, those without a link run together."""
    joined: list[Term] = []
    for part in parts:
        for term in (Term(part),) if isinstance(part, str) else part:
            if joined and not joined[-1].group and not term.group:
                joined[-1] = Term(joined[-1].text + term.text)
            else:
                joined.append(term)
    return tuple(joined)


def lower(label: str) -> str:
    """A label inside a sentence; German writes its nouns large there too."""
    if language() != ENGLISH or label.startswith(_PEOPLE):
        return label
    return label[0].lower() + label[1:]


def lower_whole(label: str) -> str:
    """The same for every letter of a label that has no names in it."""
    return label.lower() if language() == ENGLISH else label


def capital(text: str) -> str:
    """Words with their first letter large, after an opening bracket or quotation mark too."""
    first = len(text) - len(text.lstrip("(“"))
    return text[:first] + text[first : first + 1].upper() + text[first + 1 :]


def capital_words(words: Words) -> Words:
    """The same for words with links."""
    return (replace(words[0], text=capital(words[0].text)), *words[1:])


def lower_words(words: Words) -> Words:
    """Words that stood alone, inside a sentence."""
    return (replace(words[0], text=lower(words[0].text)), *words[1:])
