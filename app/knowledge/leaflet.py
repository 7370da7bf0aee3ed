"""The texts of the page that the patient takes home, in plain words."""

from collections.abc import Collection, Mapping

from pydantic import model_validator

from app.exam.vocabulary import Vocabulary
from app.knowledge.files import BadKnowledge, Files
from app.knowledge.table import Id, Phrase, Standing, Table

FILE = "leaflet.toml"


class Said(Table):
    """One piece of advice, and how far it was checked against the source it names."""

    says: Phrase
    source: str | None = None
    standing: Standing

    @model_validator(mode="after")
    def _has_a_source_or_is_practice(self) -> "Said":
        if (self.source is None) != (self.standing == "common practice"):
            raise ValueError("expected a source, or the standing common practice")
        return self


class Headings(Table):
    """The heading of each part of the page."""

    looked_at: Phrase
    not_looked_at: Phrase
    own_words: Phrase
    next: Phrase
    safe: Phrase
    now: Phrase
    soon: Phrase


class Nothing(Table):
    """What stands where a part has nothing to say. part: where a station was not done whole."""

    looked_at: Phrase
    part: Phrase
    next: Phrase


class Leaflet(Table):
    """Every text of the page. looked_at: by station; next: by step; now, soon: when to call."""

    title: Phrase
    explains: Phrase
    reminds: Phrase
    headings: Headings
    nothing: Nothing
    looked_at: dict[Id, Phrase]
    not_looked_at: dict[Id, Phrase]
    next: dict[Id, Phrase]
    safe: tuple[Said, ...]
    now: tuple[Said, ...]
    soon: tuple[Said, ...]


def load_leaflet(files: Files, vocabulary: Vocabulary, steps: Mapping[str, object]) -> Leaflet:
    """Read the texts; every station and every step has one.

    Raises: BadKnowledge.
    """
    read = files.one(FILE, Leaflet)
    stations = {station.id for station in vocabulary.stations}
    asked = {finding.station for finding in vocabulary.values() if finding.core}
    for key, named, known in (
        ("looked_at", read.looked_at, stations),
        ("not_looked_at", read.not_looked_at, asked),
        ("next", read.next, set(steps)),
    ):
        _check(key, named, known)
    return read


def _check(key: str, named: Collection[str], known: Collection[str]) -> None:
    for name in sorted(set(named) ^ set(known)):
        problem = "has no words for the patient" if name in known else "is not known"
        raise BadKnowledge(f"{FILE}: {key}: {name}: {problem}")
