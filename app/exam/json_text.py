"""JSON text, parsed strictly: nothing is dropped or rounded in silence."""

import json
from decimal import Decimal, InvalidOperation
from typing import NoReturn

from app.exam.faults import BadExam, short
from app.language.words import _

# A stopwatch or a cuff never gives more; beyond it, exact arithmetic on hostile input gets slow.
MAX_DIGITS = 12


def parse_json(text: str | bytes, what: str = "exam") -> object:
    """Parse JSON text strictly: no key twice, fractions as Decimal. what: its name in a fault.

    Raises: BadExam.
    """
    try:
        return json.loads(
            text,
            parse_int=_whole,
            parse_float=_fraction,
            parse_constant=_refuse,
            object_pairs_hook=_no_key_twice,
        )
    except _KeyTwice as twice:
        fault = _("the key {key} stands twice in one object").format(key=short(twice.key))
    except json.JSONDecodeError as error:
        fault = _("not JSON: {msg} (line {lineno} column {colno})").format(
            msg=error.msg, lineno=error.lineno, colno=error.colno
        )
    except UnicodeDecodeError:
        fault = _("not text in UTF-8")
    except RecursionError:
        fault = _("brackets stand too deep inside each other")
    except ValueError as error:
        fault = _("not JSON: {error}").format(error=short(str(error)))
    raise BadExam([f"{what}: {fault}"])


class _OutOfReach:
    """A number that cannot be held: no finding takes it, so that its fault is told at its place."""

    def __init__(self, text: str) -> None:
        self.text = text

    def __str__(self) -> str:
        return self.text


def _whole(text: str) -> int | Decimal:
    # Python refuses an int of thousands of digits; a Decimal is refused by the finding, in place.
    return int(text) if len(text) <= MAX_DIGITS else Decimal(text)


def _fraction(text: str) -> Decimal | _OutOfReach:
    try:
        return Decimal(text)
    except InvalidOperation:
        return _OutOfReach(text)


class _KeyTwice(Exception):
    def __init__(self, key: str) -> None:
        self.key = key


def _no_key_twice(pairs: list[tuple[str, object]]) -> dict[str, object]:
    # JSON lets the last of two equal keys win, which would drop a finding in silence.
    read = dict(pairs)
    if len(read) < len(pairs):
        seen: set[str] = set()
        raise _KeyTwice(next(key for key, _ in pairs if key in seen or seen.add(key)))  # type: ignore[func-returns-value]
    return read


def _refuse(constant: str) -> NoReturn:
    raise ValueError(_("{constant} is not a JSON number").format(constant=constant))
