"""Where each named thing is spoken of, and what it is called there."""

import re
from collections.abc import Iterable, Iterator
from functools import lru_cache

from app.exam.measures import QUANTITIES
from app.exam.vocabulary import vocabulary
from app.knowledge.conditions import (
    Place,
    place_of_sign,
    places_of_category,
    places_of_falls,
    places_of_kind,
    places_of_step,
    places_of_warning,
)
from app.knowledge.described import Named
from app.knowledge.help import key_of
from app.knowledge.linked import capital, lower, lower_whole, plain
from app.knowledge.load import Knowledge
from app.knowledge.model import Balance, Category, Kind, Sign, Source, Step, WarningRule
from app.knowledge.words import words_of
from app.language.words import _
from app.logic.expression import Atom, walk

# What stands in front of an author's initials, small words such as “van de” among it.
_FAMILY_NAME = re.compile(r"(.+?) [A-Z]{1,4}\b")


def label_of(group: str, thing: str, knowledge: Knowledge) -> str:
    """What something is called."""
    match group:
        case "categories":
            return knowledge.categories[thing].label
        case "warnings":
            return knowledge.warnings[thing].label
        case "about":
            return _("Intended use")
        case "falls":
            return knowledge.fall_risk.label
        case "steps":
            return knowledge.steps[thing].says
        case "sources":
            return short_name(knowledge.sources[thing])
        case "medicines":
            return _("A medicine that {thing}").format(thing=knowledge.medicine_classes[thing])
        case "norms":
            return knowledge.norms[thing].label
        case "figures":
            figure = next(each for each in knowledge.course.figure if each.id == thing)
            return _("Change in {of}, {population}").format(
                of=lower_whole(measure_label(figure.of)), population=figure.population
            )
        case "help":
            return help_label(thing)
        case "thresholds":
            return capital(compared(knowledge, thing)[0])
        case _:
            return _signs(knowledge)[thing].label


def cause_label(rule: str, knowledge: Knowledge) -> str:
    """What has this id: a category, a warning, a hazard, the falls group, or else a finding."""
    for rules in (knowledge.categories, knowledge.warnings, knowledge.hazards):
        if rule in rules:
            return str(rules[rule].label)
    falls = knowledge.fall_risk
    return falls.label if rule == falls.id else vocabulary()[rule].label


def named(group: str, thing: str, knowledge: Knowledge) -> Named:
    """Something with its label and its place."""
    return Named(group, thing, label_of(group, thing, knowledge))


def measure_label(name: str) -> str:
    """What a measured value, or a number that is worked out, is called."""
    quantity = QUANTITIES.get(name)
    return _(quantity.label) if quantity else vocabulary()[name].label


def short_name(source: Source) -> str:
    """A source as it is called in running text: `Postuma 2015`, `NICE NG127`."""
    year = re.search(r"[0-9]{4}$", source.id)
    author = _FAMILY_NAME.match(source.citation)
    if year is None or author is None:
        return source.id.replace("_", " ").upper()
    return f"{author[1]} {year[0]}"


def sources_named(text: str, knowledge: Knowledge) -> str:
    """A text in which sources are called by name instead of by id."""
    for source in knowledge.sources.values():
        text = re.sub(rf"\b{source.id}\b", short_name(source), text)
    return text


def help_label(help_id: str) -> str:
    """What is examined, once for all tasks or limbs: `Slow (finger taps; toe taps; …)`."""
    findings = [each for each in vocabulary().values() if key_of(each) == help_id]
    places = [each.label.partition(": ") for each in findings if each.task or each.limb]
    if not places:
        return findings[0].label
    return f"{capital(places[0][2])} ({'; '.join(lower(place) for place, _, _ in places)})"


def used_by(knowledge: Knowledge, group: str, thing: str) -> tuple[Named, ...]:
    """What speaks of something: signs, patterns, warnings, the falls group and steps."""
    return _users(knowledge).get((group, thing), ())


def compared(knowledge: Knowledge, threshold: str) -> tuple[str, ...]:
    """Every comparison with a number, in words: `usual walking speed: 0.8 m/s or less`."""
    return _comparisons(knowledge).get(threshold, ())


def _signs(knowledge: Knowledge) -> dict[str, Sign | Kind | Balance]:
    return {**knowledge.signs, **knowledge.kinds, **knowledge.balances}


@lru_cache(maxsize=4)
def _users(knowledge: Knowledge) -> dict[tuple[str, str], tuple[Named, ...]]:
    found: dict[tuple[str, str], dict[Named, None]] = {}
    for user, sentences in _spoken(knowledge):
        for sentence in sentences:
            for term in words_of(knowledge.conditions[sentence], knowledge):
                if term.group and (term.group, term.id) != (user.group, user.id):
                    found.setdefault((term.group, term.id), {})[user] = None
    for balance in knowledge.balances.values():
        for sign in balance.counted_where.values():
            user = named("signs", balance.id, knowledge)
            found.setdefault(("signs", sign), {})[user] = None
    for user, sources in _supported(knowledge):
        for source in filter(None, sources):
            found.setdefault(("sources", source), {})[user] = None
    return {thing: tuple(users) for thing, users in found.items()}


@lru_cache(maxsize=4)
def _comparisons(knowledge: Knowledge) -> dict[str, tuple[str, ...]]:
    found: dict[str, dict[str, None]] = {}
    for expression in knowledge.conditions.values():
        for part in walk(expression):
            if (
                isinstance(part, Atom)
                and part.operands
                and part.operands[0] in knowledge.thresholds
            ):
                words = plain(words_of(part, knowledge))
                found.setdefault(part.operands[0], {})[words] = None
    return {threshold: tuple(words) for threshold, words in found.items()}


def _spoken(knowledge: Knowledge) -> Iterator[tuple[Named, list[str]]]:
    """Everything that has conditions, with their sentences."""
    for sign in knowledge.signs.values():
        yield named("signs", sign.id, knowledge), _sentences([place_of_sign(sign)])
    for kind in knowledge.kinds.values():
        yield named("signs", kind.id, knowledge), _sentences(places_of_kind(kind))
    for category in knowledge.categories.values():
        yield (
            named("categories", category.id, knowledge),
            _sentences(places_of_category(category)),
        )
    for warning in knowledge.warnings.values():
        yield named("warnings", warning.id, knowledge), _sentences(places_of_warning(warning))
    yield named("falls", "", knowledge), _sentences(places_of_falls(knowledge.fall_risk))
    for step in knowledge.steps.values():
        yield named("steps", step.id, knowledge), _sentences(places_of_step(step))


def _sentences(places: Iterable[Place]) -> list[str]:
    return [sentence for _, _, _, sentence in places if sentence is not None]


def _supported(knowledge: Knowledge) -> Iterator[tuple[Named, Iterable[str | None]]]:
    """Everything that rests on sources, with their ids."""
    groups: tuple[tuple[str, list[Sign | Kind | Balance | Category | WarningRule | Step]], ...] = (
        ("signs", [*_signs(knowledge).values()]),
        ("categories", [*knowledge.categories.values()]),
        ("warnings", [*knowledge.warnings.values()]),
        ("steps", [*knowledge.steps.values()]),
    )
    for group, things in groups:
        for thing in things:
            support = list(thing.support)
            if isinstance(thing, Category):
                support += [each for caution in thing.caution for each in caution.support]
            yield named(group, thing.id, knowledge), [each.source for each in support]
    for text in knowledge.help.texts.values():
        yield named("help", text.id, knowledge), [each.source for each in text.support]
    falls = knowledge.fall_risk
    support = [*falls.support, *(each for hazard in falls.hazard for each in hazard.support)]
    yield named("falls", "", knowledge), [each.source for each in support]
    use = [each for section in knowledge.intended_use.section for each in section.support]
    yield named("about", "", knowledge), [each.source for each in use]
    for threshold in knowledge.thresholds.values():
        yield named("thresholds", threshold.id, knowledge), [threshold.source]
    for norm in knowledge.norms.values():
        yield named("norms", norm.id, knowledge), [norm.source]
    for figure in knowledge.course.figure:
        yield named("figures", figure.id, knowledge), [figure.source]
    for medicine_class in knowledge.medicines.classes.values():
        yield named("medicines", medicine_class.id, knowledge), [medicine_class.source]
