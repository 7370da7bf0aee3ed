"""Words and lists that note and print share: dates, people, user text, grouped findings."""

import unicodedata
from collections.abc import Iterable, Sequence
from datetime import date, datetime

from app.assess.assessment import Reason
from app.assess.words import reason_words, side_words
from app.exam.record import Value
from app.exam.vocabulary import SIDES, Finding, Scale, Side, vocabulary
from app.knowledge.load import Knowledge
from app.language.numbers import day_words
from app.language.words import _

# Marks that draw nothing. The directional ones could make RIGHT and LEFT trade places on paper;
# zero-width joiners stay, because Persian, Indic scripts and emoji need them.
_INVISIBLE = {
    0x00AD, 0x061C, 0x200B, 0x200E, 0x200F, 0x2060, 0xFEFF,
    *range(0x202A, 0x202F), *range(0x2066, 0x206A), *range(0xFFF9, 0xFFFC),
}  # fmt: skip
_MARKS_IN_A_ROW = 4


def clean(text: str, most: int | None = None) -> str:
    """Text that somebody typed, as one line that cannot disturb the lines around it.

    Control and directional characters go, spaces are evened out, half characters become U+FFFD.
    most: characters after which it ends in "…".
    """
    kept: list[str] = []
    marks = 0
    for character in unicodedata.normalize("NFC", text):
        kind = unicodedata.category(character)
        marks = marks + 1 if kind in ("Mn", "Me") else 0
        if ord(character) in _INVISIBLE or marks > _MARKS_IN_A_ROW:
            continue
        if kind == "Cs":
            character = "\N{REPLACEMENT CHARACTER}"
        kept.append(" " if kind in ("Cc", "Zl", "Zp", "Zs") else character)
    line = " ".join("".join(kept).split())
    return line if most is None or len(line) <= most else line[: most - 1].rstrip() + "…"


def clean_lines(text: str) -> tuple[str, ...]:
    """Text that somebody typed, each of its lines cleaned; empty ones are left out."""
    return tuple(line for raw in text.splitlines() if (line := clean(raw)))


def day(when: date) -> str:
    """A date whose month cannot be taken for its day."""
    return day_words(when)


def moment(when: datetime) -> str:
    """A date and time with its offset, as `26-Nov-2025 14:05 UTC` or `… UTC+01:00`."""
    offset = f"{when:%z}"
    zone = "UTC" if not when.utcoffset() else f"UTC{offset[:3]}:{offset[3:5]}"
    return f"{day(when)} {when:%H:%M} {zone}"


def on_paper_words(examined: str, by: str, entered: str) -> str:
    """When an exam was done that was entered later: `… on paper by A. Example, entered …`."""
    return _("{examined} on paper by {by}, entered {entered}").format(
        examined=examined, by=by, entered=entered
    )


def age_on(birth_date: date, when: date) -> int:
    """Whole years on that day."""
    birthday_is_ahead = (when.month, when.day) < (birth_date.month, birth_date.day)
    return when.year - birth_date.year - birthday_is_ahead


def quoted(text: str) -> str:
    """Words that somebody else said."""
    return f"{_('“')}{text}{_('”')}"


def value_words(finding: Finding, value: Value) -> str:
    """A recorded value in words; `mm[Hg]` is written as on paper."""
    return finding.words_of(value).replace("mm[Hg]", "mmHg")


def said(finding: Finding, value: Value | None, *, short: bool = False) -> str:
    """What stands behind a finding's label: nothing for a plain yes.

    short: a grade's digit alone, and no unit that only says the label again ("5 steps").
    """
    if value is None or value is True:
        return ""
    counts_things = finding.scale is Scale.COUNT and finding.unit[:1].isalpha()
    if short and (finding.scale is Scale.GRADE or counts_things):
        return str(value)
    return value_words(finding, value)


def by_finding(
    reasons: Iterable[Reason], knowledge: Knowledge, *, short: bool = False
) -> list[tuple[str, str]]:
    """Reasons as (label, tail), one for each finding, both sides in the tail, RIGHT first.

    No tail where a finding is meant as a whole: it has no sides, or is missing on both.
    """
    words = vocabulary()
    sides: dict[str, dict[Side | None, Value | None]] = {}
    for reason in reasons:
        key = reason.finding
        if key is None or key not in words:
            sides.setdefault(clean(reason_words(reason, knowledge)), {})
        else:
            sides.setdefault(key, {})[reason.side] = reason.value
    return [
        (words[key].label, _tail(words[key], held, short=short)) if held else (key, "")
        for key, held in sides.items()
    ]


def _tail(finding: Finding, held: dict[Side | None, Value | None], *, short: bool) -> str:
    if len(held) == len(SIDES) and all(value is None for value in held.values()):
        return ""
    return ", ".join(
        f"{side_words(side)} {said(finding, value, short=short)}".strip()
        for side, value in sorted(held.items(), key=lambda pair: pair[0] is Side.LEFT)
    )


def folded(items: Sequence[tuple[str, str]]) -> list[str]:
    """Items (label, tail) as phrases; labels with one beginning, such as `Toe taps: `, share it."""
    heads: dict[str, list[str]] = {}
    for label, tail in items:
        head, colon, rest = label.partition(": ")
        end = f" ({tail})" if tail else ""
        if colon:
            heads.setdefault(head + ": ", []).append(rest + end)
        else:
            heads.setdefault(label + end, [])
    return [head + ", ".join(rests) for head, rests in heads.items()]


def capital(text: str) -> str:
    """The text with its first letter large, as at the start of a line."""
    return text[:1].upper() + text[1:]
