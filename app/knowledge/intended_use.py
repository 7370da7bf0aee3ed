"""What the program is for and what it is not: one text for the page and for the document."""

from app.knowledge.model import Support
from app.knowledge.table import Phrase, Table


class IntendedSection(Table):
    """One section: paragraphs, then points, then what is known from elsewhere."""

    title: Phrase
    text: tuple[Phrase, ...] = ()
    points: tuple[Phrase, ...] = ()
    support: tuple[Support, ...] = ()


class IntendedUse(Table):
    """The whole text, in order."""

    section: tuple[IntendedSection, ...]
