"""Text that people type: what is refused in it, and the form in which it is searched."""

import unicodedata

from app.language.words import _

# They turn the order of the letters around, so that a name reads as another one.
BIDI_CONTROLS = frozenset(
    "\u061c\u200e\u200f\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069"
)
# Control characters, halves of a character, and separators that break a line unseen.
REFUSED_CATEGORIES = frozenset({"Cc", "Cs", "Zl", "Zp"})


class BadText(ValueError):
    """The text cannot be kept; the message says why, without the place."""


def check_line(raw: str, *, longest: int) -> str:
    """One line of text with its spaces tidied; the accents are in their composed form.

    Raises: BadText.
    """
    text = raw.strip()
    _refuse(text)
    return _short_enough(" ".join(unicodedata.normalize("NFC", text).split()), longest)


def check_name(raw: str, *, longest: int) -> str:
    """One line of text in which there is a letter or a digit.

    Raises: BadText.
    """
    text = check_line(raw, longest=longest)
    if not any(character.isalnum() for character in text):
        raise BadText(_("has no letter or digit") if text else _("is missing"))
    return text


def check_lines(raw: str, *, longest: int) -> str:
    """Text of one or more lines, without spaces around it.

    Raises: BadText.
    """
    text = raw.replace("\r\n", "\n").replace("\r", "\n")
    for line in text.split("\n"):
        _refuse(line.replace("\t", " "))
    return _short_enough(unicodedata.normalize("NFC", text).strip(), longest)


def check_as_typed(raw: str) -> None:
    """Check one line that is kept exactly as it was typed.

    Raises: BadText.
    """
    _refuse(raw)


def search_key(text: str) -> str:
    """The form in which names are compared: no case, no accents, single spaces.

    It is stored beside the name, so that a search finds the same on every database.
    """
    folded = unicodedata.normalize("NFKD", text).casefold()
    return " ".join("".join(c for c in folded if not unicodedata.combining(c)).split())


def exact_key(text: str) -> str:
    """The form in which a chart number is the same as another: case is ignored, accents are not."""
    folded = unicodedata.normalize("NFKC", text).casefold()
    # Case folding takes some letters and accents apart.
    return " ".join(unicodedata.normalize("NFKC", folded).split())


def _refuse(line: str) -> None:
    for character in line:
        if unicodedata.category(character) in REFUSED_CATEGORIES or character in BIDI_CONTROLS:
            raise BadText(
                _("holds a character that cannot be kept (U+{character})").format(
                    character=f"{ord(character):04X}"
                )
            )


def _short_enough(text: str, longest: int) -> str:
    if len(text) > longest:
        raise BadText(_("is longer than {longest} characters").format(longest=longest))
    return text
