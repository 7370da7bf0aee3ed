"""From what a form of the sheet holds to entries, with the faults beside their cells."""

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from decimal import Decimal

from app.exam.faults import BadValue
from app.exam.reading import MAX_MEDICINE_LENGTH, MAX_MEDICINES, read_untestable
from app.exam.reading import read_value as check_value
from app.exam.record import Cell, Recorded, Untestable
from app.exam.vocabulary import Finding, Scale, Side, vocabulary
from app.language.numbers import figures, plain_figures
from app.language.words import _
from app.store.free_text import BadText, check_as_typed
from app.web.sheet import CLEAR, UNTESTABLE, Typed, key_of, typed_of

# A stopwatch reads 12.40; more digits than a person can type are refused before any arithmetic.
_NUMBER = re.compile(r"[0-9]{1,12}(\.[0-9]{1,12})?")


@dataclass(frozen=True)
class Entered:
    """What a form wants to change, what it held, and what is wrong with it.

    unknown: names of cells that no exam has.
    """

    changes: Mapping[Cell, Recorded | None]
    typed: Mapping[Cell, Typed]
    faults: Mapping[Cell, str]
    unknown: tuple[str, ...] = ()


def cell_named(finding_id: str, side: str) -> Cell | None:
    """The cell of that name; None where no exam has such a cell."""
    finding = vocabulary().get(finding_id)
    if finding is None or side not in ("", "right", "left"):
        return None
    cell = (finding_id, Side(side) if side else None)
    return cell if cell[1] in finding.sides else None


def read_sheet(form: Mapping[str, str], base: Mapping[Cell, Recorded]) -> Entered:
    """Compare a whole form with the exam as it was when the form was made.

    A cell that the form does not hold, or whose field stands as it was made, is left alone.
    """
    named, unknown = _named_cells(form)
    changes: dict[Cell, Recorded | None] = {}
    typed: dict[Cell, Typed] = {}
    faults: dict[Cell, str] = {}
    for cell in named:
        before = base.get(cell)
        sent = Typed(
            form.get(f"value.{key_of(cell)}", "").strip(),
            form.get(f"why.{key_of(cell)}", "").strip(),
        )
        if _stands_as_made(vocabulary()[cell[0]], sent, typed_of(before)):
            continue
        typed[cell] = sent
        try:
            wanted = read_cell(vocabulary()[cell[0]], sent, before)
        except BadValue as fault:
            faults[cell] = str(fault)
            continue
        if wanted != before:
            changes[cell] = wanted
    return Entered(changes, typed, faults, unknown)


def read_cell(finding: Finding, sent: Typed, before: Recorded | None) -> Recorded | None:
    """The value that a form asks for; None clears the cell.

    Raises: BadValue.
    """
    if sent.value == CLEAR:
        return None
    if sent.value == UNTESTABLE or (not sent.value and sent.why):
        return _untestable(sent.why)
    if not sent.value:
        return None
    if sent.why and sent.why != typed_of(before).why:
        raise BadValue(
            _(
                "A value and a reason why it cannot be tested: choose “cannot be tested” or "
                "remove the reason"
            )
        )
    return check_value(finding, _as_json_value(finding, sent.value))


def read_medicines(form: Mapping[str, str]) -> tuple[str, ...] | None:
    """The medicine lines of a form; () is "takes no medicines", None that nobody asked.

    Raises: BadValue.
    """
    text = form.get("medicines", "").replace("\r\n", "\n").replace("\r", "\n")
    lines = [line.replace("\t", " ").strip() for line in text.split("\n")]
    lines = [line for line in lines if line]
    if form.get("no_medicines"):
        if lines:
            raise BadValue(_("“Takes no medicines” is ticked, and there are medicines below it"))
        return ()
    if len(lines) > MAX_MEDICINES:
        raise BadValue(
            _("{lines} lines; at most {MAX_MEDICINES} medicines can be recorded").format(
                lines=len(lines), MAX_MEDICINES=MAX_MEDICINES
            )
        )
    for place, line in enumerate(lines, start=1):
        try:
            check_as_typed(line)
        except BadText as fault:
            raise BadValue(_("Line {place} {fault}").format(place=place, fault=fault)) from None
        if len(line) > MAX_MEDICINE_LENGTH:
            raise BadValue(
                _("Line {place} is longer than {MAX_MEDICINE_LENGTH} characters").format(
                    place=place, MAX_MEDICINE_LENGTH=MAX_MEDICINE_LENGTH
                )
            )
    return tuple(lines) or None


def _named_cells(form: Mapping[str, str]) -> tuple[Iterable[Cell], tuple[str, ...]]:
    named: dict[Cell, None] = {}
    unknown: list[str] = []
    for name in form:
        kind, _, key = name.partition(".")
        if kind not in ("value", "why"):
            continue
        finding_id, _, side = key.partition(".")
        cell = cell_named(finding_id, side)
        if cell is None:
            unknown.append(name[:60])
        else:
            named[cell] = None
    return named, tuple(unknown)


def _stands_as_made(finding: Finding, sent: Typed, made: Typed) -> bool:
    if finding.scale in (Scale.COUNT, Scale.NUMBER):
        # Its text field is empty where it could not be tested.
        return sent == Typed("" if made.value == UNTESTABLE else made.value, made.why)
    # No radio button is sent where none is chosen.
    return sent == made or (not sent.value and sent.why == made.why)


def _untestable(why: str) -> Untestable:
    if not why:
        raise BadValue(_("“Cannot be tested” needs its reason in a few words"))
    try:
        check_as_typed(why)
    except BadText as fault:
        raise BadValue(_("The reason {fault}").format(fault=fault)) from None
    return read_untestable({"untestable": why})


def _as_json_value(finding: Finding, text: str) -> object:
    """The value that exam/reading.py would have met in JSON."""
    match finding.scale:
        case Scale.GRADE if text.isascii() and text.isdecimal() and len(text) < 4:
            return int(text)
        case Scale.YESNO if text in ("yes", "no"):
            return text == "yes"
        case Scale.COUNT | Scale.NUMBER:
            return _number(finding, text)
        case _:
            return text


def _number(finding: Finding, text: str) -> int | Decimal:
    text = plain_figures(text)
    if not _NUMBER.fullmatch(text):
        shown = "".join(c if c.isprintable() else " " for c in text)[:40]
        if re.fullmatch(r"[0-9]+,[0-9]+", text):
            raise BadValue(
                _("{shown}: write the number with a point, as in 4.5").format(shown=shown)
            )
        raise BadValue(
            _("{shown} is not a number from {minimum} to {maximum}").format(
                shown=shown, minimum=figures(finding.minimum), maximum=figures(finding.maximum)
            )
        )
    return Decimal(text) if "." in text else int(text)
