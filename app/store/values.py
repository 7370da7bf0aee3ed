"""Recorded values as the database holds them: canonical JSON, numbers as they were typed."""

import json
from collections.abc import Mapping
from decimal import Decimal
from functools import lru_cache

from app.exam.faults import BadExam, BadValue
from app.exam.reading import MAX_MEDICINE_LENGTH, MAX_MEDICINES, read_untestable, read_value
from app.exam.record import Cell, Recorded, Untestable
from app.exam.vocabulary import Finding, Side, vocabulary
from app.language.words import _
from app.store.free_text import BadText, check_as_typed
from app.store.refusals import Unreadable


def checked(changes: Mapping[Cell, Recorded | None]) -> dict[Cell, Recorded | None]:
    """The changes in the order of the vocabulary, each value as it will be read back.

    Raises: BadExam, with every fault.
    """
    faults: list[str] = []
    words = vocabulary()
    out: dict[Cell, Recorded | None] = {}
    for cell, value in changes.items():
        try:
            out[cell] = _checked(cell, value)
        except BadValue as fault:
            finding_id, side = cell
            faults.append(f"findings.{finding_id}{f'.{side}' if side else ''}: {fault}")
    if faults:
        raise BadExam(faults)
    return dict(sorted(out.items(), key=lambda item: words.place(*item[0])))


def checked_lines(lines: tuple[str, ...]) -> tuple[str, ...]:
    """The medicines, one a line, exactly as typed.

    Raises: BadExam, with every fault.
    """
    faults: list[str] = []
    if len(lines) > MAX_MEDICINES:
        faults.append(
            _("medicines: {lines} lines; at most {MAX_MEDICINES}").format(
                lines=len(lines), MAX_MEDICINES=MAX_MEDICINES
            )
        )
    for place, line in enumerate(lines):
        if not line.strip():
            faults.append(
                _("medicines.{place}: an empty line is not a medicine").format(place=place)
            )
        elif len(line) > MAX_MEDICINE_LENGTH:
            faults.append(
                _("medicines.{place}: longer than {MAX_MEDICINE_LENGTH} characters").format(
                    place=place, MAX_MEDICINE_LENGTH=MAX_MEDICINE_LENGTH
                )
            )
        try:
            check_as_typed(line)
        except BadText as fault:
            faults.append(_("medicines.{place}: {fault}").format(place=place, fault=fault))
    if faults:
        raise BadExam(faults)
    return tuple(lines)


def as_text(value: Recorded) -> str:
    """One recorded value as canonical JSON."""
    if isinstance(value, Decimal):
        # A JSON number, with the digits that were typed: 5.60 stays 5.60.
        return str(value)
    return _canonical({"untestable": value.reason} if isinstance(value, Untestable) else value)


def lines_as_text(lines: tuple[str, ...]) -> str:
    """The medicines as canonical JSON."""
    return _canonical(list(lines))


def from_text(finding_id: str, side: Side | None, text: str) -> Recorded:
    """Read one value back through the same checks as when it was recorded.

    Raises: Unreadable.
    """
    try:
        # What somebody typed is read each time, so that it stays nowhere else in memory.
        return (
            _read(finding_id, side, text) if text[:1] == "{" else _read_once(finding_id, side, text)
        )
    except ValueError as fault:
        raise Unreadable(f"{finding_id}: {fault}") from fault


def _read(finding_id: str, side: Side | None, text: str) -> Recorded:
    finding = _finding((finding_id, side))
    raw = json.loads(text, parse_float=Decimal)
    return read_untestable(raw) if isinstance(raw, dict) else read_value(finding, raw)


# The same few answers, a hundred times with every change of an exam.
_read_once = lru_cache(maxsize=4096)(_read)


def lines_from_text(text: str) -> tuple[str, ...]:
    """Read the medicines back.

    Raises: Unreadable.
    """
    try:
        raw = json.loads(text)
    except ValueError as fault:
        raise Unreadable(_("medicines: {fault}").format(fault=fault)) from fault
    if not isinstance(raw, list) or not all(isinstance(line, str) for line in raw):
        raise Unreadable(_("medicines: not a list of lines"))
    return tuple(raw)


def _checked(cell: Cell, value: Recorded | None) -> Recorded | None:
    finding = _finding(cell)
    if value is None:
        return None
    if not isinstance(value, Untestable):
        return read_value(finding, value)
    try:
        check_as_typed(value.reason)
    except BadText as fault:
        raise BadValue(_("the reason {fault}").format(fault=fault)) from None
    return read_untestable({"untestable": value.reason})


def _finding(cell: Cell) -> Finding:
    finding_id, side = cell
    finding = vocabulary().get(finding_id)
    if finding is None:
        raise BadValue(_("not a finding"))
    if side not in finding.sides:
        raise BadValue(_("needs its side, right or left") if finding.paired else _("has no sides"))
    return finding


def _canonical(value: object) -> str:
    return json.dumps(value, ensure_ascii=True, sort_keys=True, separators=(",", ":"))
