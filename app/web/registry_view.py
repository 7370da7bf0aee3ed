"""Counts as they are told: what is small is hidden, in words, drawings and tables alike."""

from collections.abc import Iterable, Mapping, Sequence
from datetime import date

from app.assess.assessment import LISTED, URGENCIES
from app.assess.words import fall_level_words, side_words, urgency_words
from app.exam.vocabulary import SIDES
from app.knowledge.load import Knowledge
from app.language.numbers import month_words as named_month
from app.language.words import N_, Spoken, _, ngettext
from app.report.small_counts import WITHHELD, Shown, shown_alone, shown_group
from app.report.tally import Line, Tally, tally
from app.store.counts import SIGNED_STATES, Counts
from app.store.tables import STATES
from app.web.wording import sentence

# With more months than these, years are counted.
MOST_MONTHS = 36
FALL_LEVELS = ("low", "intermediate", "high", "open")
_STATE_WORDS = Spoken(
    {
        "open": N_("Open, being recorded"),
        "ready": N_("Ready, handed over"),
        "signed": N_("Signed"),
        "amended": N_("Signed and amended"),
    }
)
# "both": as an assessment says it; None: a category without a side.
_SIDES: tuple[str | None, ...] = (*SIDES, "both", None)
# Short enough for the head of a column.
_LEVEL_HEADS = Spoken(
    {
        "fits": N_("fits"),
        "fits_with_cautions": N_("with cautions"),
        "partial": N_("partly there"),
        "open": N_("open"),
    }
)
_IN_ALL = N_("in all")


def total_words(counts: Counts, least: int) -> str:
    """How many exams are signed; "" where none is."""
    if not counts.signed:
        return ""
    words = shown_alone(counts.signed, least).words
    return ngettext("{words} signed exam", "{words} signed exams", 1 if words == "1" else 2).format(
        words=words
    )


def month_words(month: str) -> str:
    """A month as in Mar 2026."""
    return named_month(date.fromisoformat(f"{month}-01"))


def tallies(counts: Counts, knowledge: Knowledge, least: int) -> tuple[Tally, ...]:
    """Everything that is told; of fewer signed exams than the least only the states."""
    found = [_states(counts, least)]
    if counts.signed < least or not counts.signed:
        return tuple(found)
    groups = _known_first(FALL_LEVELS, counts.falls)
    found.append(
        tally(
            "falls",
            _("Falls group"),
            _("A group for planning care, not a prediction."),
            _("Group"),
            (_("Signed exams"),),
            _alone(
                {sentence(fall_level_words(each)): counts.falls.get(each, 0) for each in groups},
                least,
            ),
        )
    )
    found.append(_months(counts, least))
    labels = {each.id: each.label for each in knowledge.categories.values()}
    raised = {each.id: each.label for each in knowledge.warnings.values()}
    found += [
        _by_item(
            "levels",
            _("Patterns by level"),
            _("In how many signed exams a pattern was listed. One exam may have several."),
            _("Pattern"),
            counts.levels,
            labels,
            [(each, _LEVEL_HEADS[each]) for each in LISTED],
            least,
        ),
        _by_item(
            "sides",
            _("Patterns by side"),
            _("RIGHT and LEFT are the patient’s."),
            _("Pattern"),
            counts.sides,
            labels,
            [(each, _side(each)) for each in _SIDES],
            least,
        ),
        _by_item(
            "warnings",
            _("Warnings by urgency"),
            _("In how many signed exams a warning was raised. One exam may have several."),
            _("Warning"),
            counts.urgencies,
            raised,
            [(each, urgency_words(each).partition(",")[0]) for each in URGENCIES],
            least,
        ),
    ]
    return tuple(found)


def _states(counts: Counts, least: int) -> Tally:
    """Signed and amended make a total that is told elsewhere; the others make none."""
    signed = [counts.states.get(each, 0) for each in SIGNED_STATES]
    few = 0 < sum(signed) < least
    of_signed = (WITHHELD,) * len(signed) if few else shown_group(signed, least)
    shown = dict(zip(SIGNED_STATES, of_signed, strict=True))
    lines = [
        Line(
            _STATE_WORDS[each],
            (shown[each] if each in shown else shown_alone(counts.states.get(each, 0), least),),
        )
        for each in STATES
    ]
    return tally(
        "states", _("State"), _("Every exam, signed or not."), _("State"), (_("Exams"),), lines
    )


def _months(counts: Counts, least: int) -> Tally:
    months = _every_month(counts.months)
    title, of = _("Month of the exam"), _("Month")
    named = {month_words(each): counts.months.get(each, 0) for each in months}
    if len(months) > MOST_MONTHS:
        title, of, named = _("Year of the exam"), _("Year"), {}
        for month in months:
            year = month[:4]
            named[year] = named.get(year, 0) + counts.months.get(month, 0)
    return tally(
        "months",
        title,
        _("When the patient was examined, in UTC."),
        of,
        (_("Signed exams"),),
        _alone(named, least),
    )


def _every_month(months: Iterable[str]) -> list[str]:
    """From the first to the last, those without an exam too."""
    first, last = (int(each[:4]) * 12 + int(each[5:]) - 1 for each in (min(months), max(months)))
    return [f"{each // 12:04}-{each % 12 + 1:02}" for each in range(first, last + 1)]


def _alone(counts: Mapping[str, int], least: int) -> list[Line]:
    """A group in one column."""
    shown = shown_group(tuple(counts.values()), least)
    return [Line(label, (each,)) for label, each in zip(counts, shown, strict=True)]


def _by_item(
    name: str,
    title: str,
    says: str,
    of: str,
    counts: Mapping[tuple[str, str], int] | Mapping[tuple[str, str | None], int],
    labels: Mapping[str, str],
    columns: Sequence[tuple[str | None, str]],
    least: int,
) -> Tally:
    """A line for each item that any exam has: in how many, and how these divide."""
    found: dict[str, dict[str | None, int]] = {}
    for (item, column), count in counts.items():
        found.setdefault(item, {})[column] = count
    lines = [
        Line(
            labels.get(item, item),
            _divided([found[item].get(each, 0) for each, _ in columns], least),
        )
        for item in _known_first(labels, found)
        if item in found
    ]
    heads = (_(_IN_ALL), *(words for _, words in columns))
    return tally(name, title, says, of, heads, lines)


def _divided(counts: Sequence[int], least: int) -> tuple[Shown, ...]:
    """A total and what it divides into; of a small one only that."""
    total = shown_alone(sum(counts), least)
    parts = shown_group(counts, least) if total.number is not None else (WITHHELD,) * len(counts)
    return (total, *parts)


def _known_first(known: Iterable[str], found: Iterable[str]) -> list[str]:
    """In the order that is known; at the end what only an earlier version of the knowledge had."""
    known = list(known)
    return [*known, *sorted(set(found) - set(known))]


def _side(side: str | None) -> str:
    return _("no side") if side is None else side_words(side)
