"""How each finding is examined: what to do, what it looks like and what it is mistaken for."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Annotated, Any

from pydantic import Field, field_validator, model_validator

from app.exam.vocabulary import Finding, Vocabulary
from app.knowledge.files import BadKnowledge, Files
from app.knowledge.model import Support
from app.knowledge.table import Id, Phrase, Rule
from app.language.words import ENGLISH, language

FOLDER = "help"
DRAWINGS = "drawings"
# Questions explain themselves unless they need a definition; everything else has help.
OPTIONAL_STATIONS = ("history",)
# About two lines of the sheet, in characters: somebody reads it with the patient in front of them.
LONGEST = 285
# Other languages take a third more for the same.
LONGEST_ELSEWHERE = 380
COMMON_PRACTICE = "common practice"


class Drawing(Rule):
    """A line drawing, and what it shows in words."""

    says: Phrase


class Help(Rule):
    """The help for one finding; with TASK or LIMB in its id, for one of each task or limb.

    do: how it is examined, measured or asked. looks: what it looks like, what is written down, or
    what counts as yes. mistaken: what it is taken for, and how to tell. support: the sources of
    what rests on one; what no claim names is common practice.
    """

    do: Phrase
    looks: Phrase
    mistaken: Phrase
    drawing: Id | None = None
    support: Annotated[tuple[Support, ...], Field(min_length=1)]

    @field_validator("support", mode="before")
    @classmethod
    def _words_for_no_source(cls, held: Any) -> Any:
        if held == COMMON_PRACTICE:
            return ({"claim": "How it is done and read.", "standing": COMMON_PRACTICE},)
        if isinstance(held, str):
            raise ValueError(f'expected "{COMMON_PRACTICE}" or a list of sources')
        return held

    @model_validator(mode="after")
    def _short(self) -> "Help":
        length = len(self.do) + len(self.looks) + len(self.mistaken)
        longest = LONGEST if language() == ENGLISH else LONGEST_ELSEWHERE
        if length > longest:
            raise ValueError(
                f"expected at most {longest} characters in do, looks and mistaken together, about "
                f"two lines; these are {length}"
            )
        return self


@dataclass(frozen=True)
class HelpTexts:
    """All help by id, in the order of the vocabulary, the file of each, and the drawings by id."""

    texts: Mapping[str, Help]
    files: Mapping[str, str]
    drawings: Mapping[str, Drawing]

    def of(self, finding: Finding) -> Help | None:
        """The help for one finding; None where the question needs none."""
        return self.texts.get(key_of(finding))

    @property
    def cited(self) -> tuple[tuple[str, str, Support], ...]:
        """Every claim with the file and the id of its help."""
        return tuple(
            (self.files[each.id], each.id, claim)
            for each in self.texts.values()
            for claim in each.support
        )


def key_of(finding: Finding) -> str:
    """The id of a finding's help: the same for every task, and for arm and leg."""
    if finding.task:
        return finding.id.replace(finding.task, "TASK", 1)
    return finding.id.replace(finding.limb, "LIMB", 1) if finding.limb else finding.id


def load_help(files: Files, words: Vocabulary) -> HelpTexts:
    """Read help/: a file for each station, and one for the drawings.

    Raises: BadKnowledge, also for a finding that nobody knows and one that has no help.
    """
    known = {*(station.id for station in words.stations), DRAWINGS}
    for name in sorted(files.names(FOLDER) - known):
        raise BadKnowledge(f"{FOLDER}/{name}.toml: is not the name of a station")
    drawings = files.keyed(f"{FOLDER}/{DRAWINGS}.toml", "drawing", Drawing)
    texts: dict[str, Help] = {}
    place: dict[str, str] = {}
    for station in words.stations:
        file = f"{FOLDER}/{station.id}.toml"
        found = files.keyed(file, "help", Help)
        keys = list(dict.fromkeys(map(key_of, words.at(station.id))))
        for fault in _faults(found, keys, drawings, station.id):
            raise BadKnowledge(f"{file}: {fault}")
        texts |= {key: found[key] for key in keys if key in found}
        place |= dict.fromkeys(found, file)
    return HelpTexts(texts, place, drawings)


def _faults(
    found: Mapping[str, Help], keys: list[str], drawings: Mapping[str, Drawing], station: str
) -> Iterator[str]:
    for key, text in found.items():
        if key not in keys:
            yield f"{key}: is not a finding of this station"
        if text.drawing and text.drawing not in drawings:
            yield f"{key}: drawing: {text.drawing} is not in {FOLDER}/{DRAWINGS}.toml"
    if station not in OPTIONAL_STATIONS:
        for key in keys:
            if key not in found:
                yield f"{key}: has no help"
