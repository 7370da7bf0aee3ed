"""How dates, times and numbers are written in the language in use.

English is written as it always was: 26-Nov-2025, whose month cannot be taken for its day, and 9.1.
Others are written as Babel knows the language.
"""

from datetime import date
from functools import cache

from app.language.words import ENGLISH, language

# Written out here, because strftime follows the machine's locale.
MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")


def day_words(when: date) -> str:
    """A day, its month as a word."""
    if language() == ENGLISH:
        return f"{when.day:02d}-{MONTHS[when.month - 1]}-{when.year:04d}"
    from babel.dates import format_date

    return format_date(when, _DAYS.get(language(), "long"), language())


# The months short, as in a table; and written as a word, whatever the language's own habit is.
_DAYS = {"de": "d. MMM yyyy"}


def month_words(when: date) -> str:
    """A month with its year."""
    if language() == ENGLISH:
        return f"{MONTHS[when.month - 1]} {when.year:04d}"
    from babel.dates import format_date

    return format_date(when, "MMM yyyy", language())


def figures(digits: object) -> str:
    """A number, written with a point, as people of the language write it."""
    text = str(digits)
    return text if language() == ENGLISH else text.replace(".", _decimal_sign(language()))


def plain_figures(typed: str) -> str:
    """What somebody typed, with the point that the program reads."""
    return typed if language() == ENGLISH else typed.replace(_decimal_sign(language()), ".")


def decimal_sign() -> str:
    """What stands between a number's whole part and the rest."""
    return "." if language() == ENGLISH else _decimal_sign(language())


@cache
def _decimal_sign(code: str) -> str:
    from babel.numbers import get_decimal_symbol

    return get_decimal_symbol(code)
