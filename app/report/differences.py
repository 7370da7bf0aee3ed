"""What differs between two exams, in words: values, the step between them, and what it rests on."""

from fractions import Fraction

from app.assess.compared import Compared, Kind, Toward, is_measured
from app.assess.measured import in_figures
from app.exam.measures import QUANTITIES
from app.exam.record import Exam, Recorded, Untestable
from app.exam.units import unit_on_paper
from app.exam.vocabulary import Scale, vocabulary
from app.knowledge.course import FIGURE_WORDS, Figure
from app.knowledge.load import Knowledge
from app.knowledge.mentions import measure_label, short_name
from app.knowledge.model import STANDING_WORDS
from app.knowledge.words import unit_words
from app.language.numbers import figures
from app.language.words import N_, _
from app.report.coverage import State, state_of
from app.report.phrases import clean, value_words

NOT_EXAMINED = N_("not examined")
NOT_ASKED = N_("not asked, as nothing was there to describe")


def label_of(name: str) -> str:
    """What a finding, or a number that is worked out, is called."""
    return measure_label(name)


def unit_of(name: str) -> str:
    """The unit of a measured value, as on paper."""
    if name in QUANTITIES:
        return unit_words(QUANTITIES[name].unit)
    return unit_on_paper(vocabulary()[name].unit)


def value_then(each: Compared, exam: Exam, value: Recorded | Fraction | None) -> str:
    """One of both values in words. exam: the one that it stands in."""
    if value is None:
        return _unknown(each, exam)
    if isinstance(value, Untestable):
        return _("cannot be tested: {reason}").format(reason=clean(value.reason))
    if isinstance(value, Fraction):
        return f"{in_figures(value)} {unit_of(each.name)}"
    return value_words(vocabulary()[each.name], value)


def is_abnormal(each: Compared, value: Recorded | Fraction | None) -> bool:
    """Whether a value is abnormal by itself; False for a measured one."""
    if value is None or isinstance(value, Untestable | Fraction):
        return False
    return vocabulary()[each.name].is_abnormal(value)


def change_words(each: Compared) -> str:
    """What may be said of a difference, and no more."""
    match each.kind:
        case Kind.SAME:
            return _("the same")
        case Kind.NOT_COMPARABLE:
            unknown = [
                value is None or isinstance(value, Untestable) for value in (each.then, each.now)
            ]
            return (
                _("not known both times")
                if all(unknown)
                else _("not known then")
                if unknown[0]
                else _("not known now")
            )
        case Kind.ONE_GRADE:
            return _("one grade more") if each.toward is Toward.WORSE else _("one grade less")
        case Kind.GONE:
            return _("no longer found")
        case Kind.NEW:
            return _("new")
        case _:
            return "; ".join(filter(None, (_step(each), _verdict(each))))


def figure_words(figure: Figure, knowledge: Knowledge) -> str:
    """A published figure with the people in whom it was measured, and its source."""
    source = short_name(knowledge.sources[figure.source])
    return _("{value} {unit}: {kind}; measured in {population} ({source}, {standing})").format(
        value=figures(figure.value),
        unit=unit_words(figure.unit),
        kind=FIGURE_WORDS[figure.kind],
        population=figure.population,
        source=source,
        standing=STANDING_WORDS[figure.standing],
    )


def _unknown(each: Compared, exam: Exam) -> str:
    finding = vocabulary().get(each.name)
    if finding and state_of(exam, finding, each.side) is State.NOT_NEEDED:
        return _(NOT_ASKED)
    return _(NOT_EXAMINED)


def _step(each: Compared) -> str:
    """How far a measured value has moved; it is not rounded to what it is compared with."""
    if not is_measured(each.name) or each.difference is None:
        return ""
    size, more = abs(each.difference), _("more") if each.difference > 0 else _("less")
    finding = vocabulary().get(each.name)
    if finding and finding.scale is Scale.COUNT:
        return f"{value_words(finding, int(size))} {more}"
    near = tuple(Fraction(figure.value) for figure in each.figures)
    return f"{in_figures(size, near)} {unit_of(each.name)} {more}"


def _verdict(each: Compared) -> str:
    if each.kind is Kind.WITHIN_ERROR:
        return _("may be error of measurement")
    if each.kind is not Kind.DIFFERENT:
        return _(each.kind.value)
    if each.toward is not None:
        return _("points to {better}").format(better=_(each.toward.value))
    finding = vocabulary().get(each.name)
    in_words = finding is not None and finding.scale in (Scale.CHOICE, Scale.YESNO)
    return _("different") if in_words else ""
