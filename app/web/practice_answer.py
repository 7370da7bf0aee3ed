"""One's own try at a practice case beside the worked answer, in words."""

from collections.abc import Iterable, Iterator, Mapping

from app.assess.assess import assess
from app.assess.assessment import Assessment
from app.assess.practised import SignCount, compare_try
from app.assess.words import fall_level_words, level_words, side_words, urgency_words
from app.exam.compared import Compared, Comparison, Outcome
from app.exam.record import Value
from app.exam.vocabulary import Side, vocabulary
from app.knowledge.describe import claims
from app.knowledge.described import Named
from app.knowledge.load import Knowledge
from app.knowledge.mentions import named
from app.knowledge.practice import PracticeCase
from app.language.words import N_, Spoken, _
from app.report.phrases import day, value_words
from app.store.practice import Attempt
from app.web.practice_form import NOT_EXAMINED, told_of
from app.web.practice_pages import (
    AnswerPage,
    ComparedLine,
    ComparedStation,
    ConcludedLine,
    PointView,
    SignLine,
)
from app.web.wording import local

# What each outcome is called. A blank is said to be one: it was never read as normal.
OUTCOMES: Mapping[Outcome, str] = Spoken(
    {
        Outcome.AGREED: N_("agreed"),
        Outcome.ONE_GRADE: N_("one grade apart"),
        Outcome.OTHER_VALUE: N_("another answer"),
        Outcome.MISSED: N_("missed"),
        Outcome.SIDE_SWAPPED: N_("RIGHT and LEFT mistaken"),
        Outcome.OVER_CALLED: N_("recorded, and not there"),
        Outcome.NOT_DESCRIBED: N_("recorded, and not described"),
    }
)
LEFT_BLANK = N_("missed, left not examined")


def score_words(agreed: int, total: int) -> str:
    """The score, as it is said everywhere."""
    return _("{agreed} of {total} signs as in the worked answer").format(agreed=agreed, total=total)


def answer_page(case: PracticeCase, attempt: Attempt, known: Knowledge) -> AnswerPage:
    """The page of one try."""
    compared = compare_try(case, attempt.graded)
    when = local(attempt.at)
    yours, worked = (assess(case.exam(graded), known) for graded in (attempt.graded, case.worked()))
    return AnswerPage(
        title=case.title,
        case_id=case.id,
        told=told_of(case),
        when=f"{day(when)} {when:%H:%M}",
        score=score_words(compared.agreed, compared.total),
        swapped=tuple(_swapped(compared)),
        stations=tuple(_stations(case, compared)),
        concluded=tuple(_concluded(yours, worked, known)),
        points=tuple(PointView(point.says, claims(point.support, known)) for point in case.point),
    )


def sign_line(count: SignCount) -> SignLine:
    """One sign over many tries."""
    return SignLine(
        vocabulary()[count.finding].label,
        count.there,
        count.missed,
        count.swapped,
        count.over_called,
    )


def _stations(case: PracticeCase, compared: Comparison) -> Iterator[ComparedStation]:
    labels = {station.id: station.label for station in vocabulary().stations}
    for station in case.station:
        lines = tuple(_line(each) for each in compared.cells if each.cell[0] in station.asks)
        yield ComparedStation(labels[station.id], station.sees, lines)


def _line(each: Compared) -> ComparedLine:
    finding_id, side = each.cell
    is_blank = each.outcome is Outcome.MISSED and each.yours is None
    return ComparedLine(
        label=vocabulary()[finding_id].label,
        side=side_words(side),
        yours=_said(finding_id, each.yours),
        worked=_said(finding_id, each.worked),
        outcome=each.outcome.value,
        says=_(LEFT_BLANK) if is_blank else OUTCOMES[each.outcome],
    )


def _said(finding_id: str, value: Value | None) -> str:
    return _(NOT_EXAMINED) if value is None else value_words(vocabulary()[finding_id], value)


def _swapped(compared: Comparison) -> Iterator[str]:
    """A sentence for each finding whose sides were mistaken."""
    found: dict[str, list[Compared]] = {}
    for each in compared.cells:
        if each.outcome is Outcome.SIDE_SWAPPED:
            found.setdefault(each.cell[0], []).append(each)
    for finding_id, cells in found.items():
        yours = _sides(finding_id, ((each.cell[1], each.yours) for each in cells))
        worked = _sides(finding_id, ((each.cell[1], each.worked) for each in cells))
        yield _("{label}: you have {yours}; the worked answer has {worked}.").format(
            label=vocabulary()[finding_id].label, yours=yours, worked=worked
        )


def _sides(finding_id: str, held: Iterable[tuple[Side | None, Value | None]]) -> str:
    return ", ".join(f"{side_words(side)} {_said(finding_id, value)}" for side, value in held)


def _concluded(yours: Assessment, worked: Assessment, known: Knowledge) -> Iterator[ConcludedLine]:
    """Every pattern, warning and falls group of either, the worked answer's first."""
    mine, right = _conclusions(yours), _conclusions(worked)
    for group, thing in dict.fromkeys((*right, *mine)):
        one, other = mine.get((group, thing), ""), right.get((group, thing), "")
        yield ConcludedLine(
            Named("falls", thing, known.fall_risk.label)
            if group == "falls"
            else named(group, thing, known),
            one,
            other,
            one == other,
            any(each.urgency == "emergency" and each.id == thing for each in worked.warnings),
        )


def _conclusions(found: Assessment) -> dict[tuple[str, str], str]:
    falls = found.fall_risk
    return {
        **{
            ("warnings", each.id): urgency_words(each.urgency)
            for each in found.warnings
            if each is not falls
        },
        **{
            ("categories", each.id): ", ".join(
                filter(None, (level_words(each.level), side_words(each.side)))
            )
            for each in found.listed
        },
        ("falls", falls.id): fall_level_words(falls.level or "open"),
    }
