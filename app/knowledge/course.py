"""What is compared between two exams: which way is worse, and what counts as change."""

from collections import Counter
from collections.abc import Iterator, Mapping
from decimal import Decimal
from typing import Annotated, Literal

from pydantic import Field

from app.exam.measures import QUANTITIES
from app.exam.vocabulary import Finding, Scale, vocabulary
from app.knowledge.files import BadKnowledge
from app.knowledge.table import Id, Phrase, Rule, Standing, Table, Text
from app.language.words import N_, Spoken

FILE = "course.toml"
MEASURED = (Scale.COUNT, Scale.NUMBER)

Direction = Literal[
    "higher_is_worse",
    "lower_is_worse",
    "yes_is_worse",
    "later_is_worse",
    "first_is_best",
    "no_order",
]
# What a figure says of a difference between two exams.
FIGURE_WORDS: Mapping[str, str] = Spoken(
    {
        "detectable": N_("up to it, the difference may be error of measurement"),
        "substantial": N_("from it on, the difference matters to people"),
    }
)
NO_FIGURE = N_(
    "Two exams of one patient can differ because the patient has changed, or because two people, "
    "or one person on two days, examine differently. Only the figures named here say how large a "
    "difference is more than that, and only for the people in whom they were measured. For every "
    "other finding there is no published figure: a difference of one grade is shown as one grade, "
    "and a measured difference as it is."
)
DIRECTION_WORDS: Mapping[Direction, str] = Spoken(
    {
        "higher_is_worse": N_("Worse when higher"),
        "lower_is_worse": N_("Worse when lower"),
        "yes_is_worse": N_("Worse when yes"),
        "later_is_worse": N_("Worse the later in the order of its words"),
        "first_is_best": N_("Best when the first of its words, the others have no order"),
        "no_order": N_("Neither way is worse"),
    }
)
# What each list may hold; what is worked out counts as a number. None: anything.
_HOLDS: dict[Direction, tuple[Scale, ...] | None] = {
    "higher_is_worse": MEASURED,
    "lower_is_worse": MEASURED,
    "yes_is_worse": (Scale.YESNO,),
    "later_is_worse": (Scale.CHOICE,),
    "first_is_best": (Scale.CHOICE,),
    "no_order": None,
}


class Figure(Rule):
    """A published figure for what counts as change of one measured value.

    kind: "detectable": a difference up to it may be error of measurement; "substantial": one from
    it on matters to people. population: whom it was measured in; it holds for nobody else.
    """

    of: Id
    kind: Literal["detectable", "substantial"]
    value: Annotated[int | Decimal, Field(gt=0)]
    unit: Text
    population: Phrase
    source: Id
    standing: Standing


class Course(Table):
    """course.toml: each finding that is no grade, and each quantity, stands in one list."""

    higher_is_worse: tuple[Id, ...]
    lower_is_worse: tuple[Id, ...]
    yes_is_worse: tuple[Id, ...]
    later_is_worse: tuple[Id, ...]
    first_is_best: tuple[Id, ...]
    no_order: tuple[Id, ...]
    figure: tuple[Figure, ...] = ()

    def direction(self, name: str) -> Direction:
        """Which way is worse for a finding or a quantity; a grade is worse the higher it is."""
        return next((each for each in _HOLDS if name in getattr(self, each)), "higher_is_worse")

    def figures_of(self, name: str) -> tuple[Figure, ...]:
        """The figures for a measured value."""
        return tuple(each for each in self.figure if each.of == name)

    def detectable(self, name: str) -> Figure | None:
        """The figure up to which a difference may be error of measurement; None where none is."""
        found = (each for each in self.figures_of(name) if each.kind == "detectable")
        return next(found, None)


def check_course(course: Course) -> None:
    """Check that everything stands in one list that fits it, and what the figures name.

    Raises: BadKnowledge.
    """
    listed = Counter(name for key in _HOLDS for name in getattr(course, key))
    for key, holds in _HOLDS.items():
        for name in getattr(course, key):
            scale = _scale(key, name)
            if holds is not None and scale not in holds:
                raise BadKnowledge(f"{FILE}: {key}: {name}: does not fit a {scale}")
            if key == "first_is_best" and not vocabulary()[name].has_normal:
                raise BadKnowledge(f"{FILE}: {key}: {name}: has no normal value")
            if listed[name] > 1:
                raise BadKnowledge(f"{FILE}: {key}: {name}: stands twice; expected it once")
    for name in _to_be_listed():
        if name not in listed:
            raise BadKnowledge(f"{FILE}: {name}: is missing; expected it in one of the lists")
    _check_figures(course)


def _scale(key: str, name: str) -> Scale:
    if name in QUANTITIES:
        return Scale.NUMBER
    finding: Finding | None = vocabulary().get(name)
    if finding is None:
        raise BadKnowledge(f"{FILE}: {key}: {name}: is not a finding and not worked out")
    if finding.scale is Scale.GRADE:
        raise BadKnowledge(f"{FILE}: {key}: {name}: is a grade, which is worse the higher it is")
    return finding.scale


def _to_be_listed() -> Iterator[str]:
    yield from (each.id for each in vocabulary().values() if each.scale is not Scale.GRADE)
    yield from QUANTITIES


def _check_figures(course: Course) -> None:
    ordered = {*course.higher_is_worse, *course.lower_is_worse}
    seen: set[tuple[str, str]] = set()
    ids: set[str] = set()
    for figure in course.figure:
        place = f"{FILE}: {figure.id}"
        if figure.id in ids:
            raise BadKnowledge(f"{place}: this id stands twice; give one another id")
        if figure.of not in ordered:
            raise BadKnowledge(f"{place}: of: {figure.of} is no measured value with an order")
        unit = (QUANTITIES.get(figure.of) or vocabulary()[figure.of]).unit
        if figure.unit != unit:
            raise BadKnowledge(f"{place}: unit: expected {unit}, that of {figure.of}")
        if (figure.of, figure.kind) in seen:
            raise BadKnowledge(f"{place}: kind: {figure.of} has a {figure.kind} figure already")
        ids.add(figure.id)
        seen.add((figure.of, figure.kind))
