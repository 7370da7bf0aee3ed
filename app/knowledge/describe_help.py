"""Describe how each finding is examined, in the order of the exam."""

from collections.abc import Iterable
from dataclasses import dataclass
from functools import lru_cache

from app.exam.vocabulary import Finding, vocabulary
from app.knowledge.describe import claims
from app.knowledge.described import Claim
from app.knowledge.help import COMMON_PRACTICE, Help, key_of
from app.knowledge.linked import capital
from app.knowledge.load import Knowledge
from app.knowledge.mentions import help_label
from app.knowledge.model import STANDING_WORDS
from app.language.words import _, pgettext


@dataclass(frozen=True)
class DrawingDescription:
    """A line drawing by its id in static/drawings.svg, and what it shows in words."""

    id: str
    says: str


@dataclass(frozen=True)
class HelpDescription:
    """How something is examined. parts: a title and a text each.

    claims: what rests on a source. basis: the same in one line; without a source, common practice.
    """

    id: str
    label: str
    parts: tuple[tuple[str, str], ...]
    basis: str
    claims: tuple[Claim, ...]
    drawing: DrawingDescription | None


@dataclass(frozen=True)
class HelpStation:
    """The help of one station of the exam."""

    id: str
    label: str
    texts: tuple[HelpDescription, ...]


def describe_help_stations(knowledge: Knowledge) -> tuple[HelpStation, ...]:
    """All help, station by station, one text once."""
    told = _described(knowledge)
    return tuple(
        HelpStation(
            station.id,
            station.label,
            tuple(
                told[key]
                for key in dict.fromkeys(map(key_of, vocabulary().at(station.id)))
                if key in told
            ),
        )
        for station in vocabulary().stations
    )


def describe_help(finding: Finding, knowledge: Knowledge) -> HelpDescription | None:
    """The help for one finding; None where the question needs none."""
    return _described(knowledge).get(key_of(finding))


@lru_cache(maxsize=4)
def _described(knowledge: Knowledge) -> dict[str, HelpDescription]:
    stations = {key_of(finding): finding.station for finding in vocabulary().values()}
    return {
        text.id: _describe(text, stations[text.id], knowledge)
        for text in knowledge.help.texts.values()
    }


def _describe(text: Help, station: str, knowledge: Knowledge) -> HelpDescription:
    drawing = knowledge.help.drawings[text.drawing] if text.drawing else None
    rests = claims((each for each in text.support if each.source), knowledge)
    titles = _titles(station)
    return HelpDescription(
        id=text.id,
        label=help_label(text.id),
        parts=tuple(zip(titles, (text.do, text.looks, text.mistaken), strict=True)),
        basis=_basis(rests),
        claims=rests,
        drawing=DrawingDescription(drawing.id, drawing.says) if drawing else None,
    )


def _titles(station: str) -> tuple[str, str, str]:
    """What do, looks and mistaken are called: of a question, of a measurement, of a sign."""
    match station:
        case "history":
            return _("Ask"), pgettext("what counts as an answer", "Counts"), _("Mind")
        case "measures":
            return _("How"), _("Write"), _("Mind")
        case _:
            return _("How"), _("Looks like"), _("Mistaken for")


def _basis(rests: Iterable[Claim]) -> str:
    """What a text rests on, in one line."""
    named = [f"{each.source.label} ({each.standing})" for each in rests if each.source]
    if not named:
        return capital(STANDING_WORDS[COMMON_PRACTICE])
    return _("{named}; the rest {common_practice}").format(
        named="; ".join(dict.fromkeys(named)),
        common_practice=STANDING_WORDS[COMMON_PRACTICE].partition(",")[0],
    )
