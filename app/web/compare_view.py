"""Two exams side by side in words: what differs, and what they added up to."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from fractions import Fraction

from app.assess.assessment import Assessment, WarningRaised
from app.assess.compared import Compared, Kind, compare, is_measured
from app.assess.words import fall_level_words, level_words, side_words, urgency_words
from app.exam.measures import QUANTITIES
from app.exam.record import Exam, Recorded, Untestable
from app.exam.vocabulary import Scale, vocabulary
from app.knowledge.load import Knowledge
from app.language.words import N_, _
from app.report.differences import (
    change_words,
    figure_words,
    is_abnormal,
    label_of,
    value_then,
)
from app.web.compare_pages import (
    ConcludedLine,
    DifferenceLine,
    Differences,
    StationDifferences,
    ValueView,
)

WORKED_OUT = N_("Worked out from what was measured")
NOT_RAISED = N_("not raised")


@dataclass(frozen=True)
class _Part:
    """One section of the page, and what belongs to it."""

    id: str
    title: str
    says: str
    holds: Callable[[Compared], bool]
    is_folded: bool = False


def _of(*kinds: Kind) -> Callable[[Compared], bool]:
    return lambda each: each.kind in kinds


def _matters(each: Compared) -> bool:
    """Whether one of two that cannot be compared was abnormal, measured or not to be tested."""
    sides = (each.then, each.now)
    tried = any(isinstance(value, Untestable) for value in sides)
    return tried or is_measured(each.name) or any(is_abnormal(each, value) for value in sides)


_PARTS = (
    _Part(
        "new",
        N_("New"),
        N_("Normal then; now definite or marked, or abnormal in words."),
        _of(Kind.NEW),
    ),
    _Part(
        "worse",
        N_("Worse"),
        N_("By two grades, in words, or beyond a published figure."),
        _of(Kind.WORSE),
    ),
    _Part(
        "better",
        N_("Better"),
        N_("By two grades, in words, or beyond a published figure; or no longer found."),
        _of(Kind.BETTER, Kind.GONE),
    ),
    _Part(
        "one-grade",
        N_("Changed by one grade"),
        N_("Two examiners, or two days, may differ by as much. There is no published figure."),
        _of(Kind.ONE_GRADE),
    ),
    _Part(
        "different",
        N_("Different, with no published figure or no order"),
        N_("The difference is shown as it is."),
        _of(Kind.DIFFERENT),
    ),
    _Part(
        "within",
        N_("Within measurement error"),
        N_("No larger than a published minimal detectable change."),
        _of(Kind.WITHIN_ERROR),
    ),
    _Part(
        "not-comparable",
        N_("Not comparable"),
        N_("One exam, or each, does not know it. Not examined is not better, and not normal."),
        lambda each: each.kind is Kind.NOT_COMPARABLE and _matters(each),
    ),
    _Part(
        "not-comparable-normal",
        N_("Not comparable, and nothing abnormal where it was examined"),
        N_("One exam does not know it."),
        lambda each: each.kind is Kind.NOT_COMPARABLE and not _matters(each),
        is_folded=True,
    ),
    _Part("same", N_("The same"), "", _of(Kind.SAME), is_folded=True),
)  # fmt: skip


def differences(then: Exam, now: Exam, knowledge: Knowledge) -> tuple[Differences, ...]:
    """Every line of the comparison, in the sections that hold any."""
    found = compare(then, now, knowledge)

    def lines(part: _Part, station: str) -> tuple[DifferenceLine, ...]:
        held = [each for each in found if part.holds(each) and _station(each.name) == station]
        return tuple(_line(each, then, now, knowledge) for each in held)

    labels = [*(each.label for each in vocabulary().stations), _(WORKED_OUT)]
    parts = [
        Differences(
            part.id,
            _(part.title),
            _(part.says) if part.says else "",
            tuple(
                StationDifferences(label, held) for label in labels if (held := lines(part, label))
            ),
            part.is_folded,
        )
        for part in _PARTS
    ]
    return tuple(part for part in parts if part.stations)


def concluded(then: Assessment, now: Assessment, knowledge: Knowledge) -> tuple[ConcludedLine, ...]:
    """What each pattern and warning that either exam lists read then and now."""
    lines = [
        ConcludedLine(label, _level(then, name), _level(now, name))
        for name, label in _named(
            ((name, each.label) for name, each in knowledge.categories.items()),
            (each.id for either in (then, now) for each in either.listed),
        )
    ]
    lines += [
        ConcludedLine(label, _raised(then, name), _raised(now, name))
        for name, label in _named(
            ((name, each.label) for name, each in knowledge.warnings.items()),
            (
                each.id
                for either in (then, now)
                for each in either.warnings
                if each is not either.fall_risk
            ),
        )
    ]
    falls = [fall_level_words(each.fall_risk.level or "open") for each in (then, now)]
    return (*lines, ConcludedLine(knowledge.fall_risk.label, *falls))


def _named(known: Iterable[tuple[str, str]], found: Iterable[str]) -> list[tuple[str, str]]:
    """What was found, with its label, in the order of the knowledge.

    A rule that has been retired since an exam was signed has no label any more but its id.
    """
    labels, ids = dict(known), dict.fromkeys(found)
    inside = [(name, label) for name, label in labels.items() if name in ids]
    return [*inside, *((name, name) for name in ids if name not in labels)]


def _level(assessment: Assessment, name: str) -> str:
    for each in assessment.listed:
        if each.id == name:
            return ", ".join(filter(None, (level_words(each.level), side_words(each.side))))
    return level_words("not_supported")


def _raised(assessment: Assessment, name: str) -> str:
    found: list[WarningRaised] = [each for each in assessment.warnings if each.id == name]
    return urgency_words(found[0].urgency) if found else _(NOT_RAISED)


def _station(name: str) -> str:
    if name in QUANTITIES:
        return _(WORKED_OUT)
    stations = {each.id: each.label for each in vocabulary().stations}
    return stations[vocabulary()[name].station]


def _line(each: Compared, then: Exam, now: Exam, knowledge: Knowledge) -> DifferenceLine:
    return DifferenceLine(
        label=label_of(each.name),
        side=side_words(each.side),
        then=_value(each, then, each.then),
        now=_value(each, now, each.now),
        says=change_words(each),
        notes=tuple(figure_words(figure, knowledge) for figure in each.figures if each.toward),
    )


def _value(each: Compared, exam: Exam, value: Recorded | Fraction | None) -> ValueView:
    is_grade = each.name in vocabulary() and vocabulary()[each.name].scale is Scale.GRADE
    is_known = value is not None and not isinstance(value, Untestable)
    return ValueView(
        value_then(each, exam, value),
        is_known,
        is_abnormal(each, value),
        int(str(value)) if is_grade and is_known else None,
    )
