"""Passwords: how they are kept, checked, and which new ones are refused.

A password is brought to NFC first, so that the same keys give the same password on every system; no
other character is changed, dropped or cut off. Source: NIST SP 800-63B-4, 3.1.1.2 (secondary).
"""

import re
import secrets
import unicodedata
from collections.abc import Iterable
from dataclasses import dataclass
from functools import cache

from argon2 import PasswordHasher
from argon2.exceptions import VerifyMismatchError
from zxcvbn.matching import RANKED_DICTIONARIES, build_ranked_dict, omnimatch
from zxcvbn.scoring import most_guessable_match_sequence

from app.language.words import _

# Argon2id. Source: OWASP Password Storage Cheat Sheet (secondary), which gives these as the least.
MEMORY_KIB = 19456
PASSES = 2
LANES = 1
_hasher = PasswordHasher(time_cost=PASSES, memory_cost=MEMORY_KIB, parallelism=LANES)

# In characters. Source: NIST SP 800-63B-4, 3.1.1.2 (secondary).
SHORTEST_ALONE = 15
SHORTEST_WITH_SECOND_FACTOR = 8
# NIST asks for room for 64 characters (secondary); this limit only bounds the work (proposal).
LONGEST_BYTES = 1024
# Guesses that an attacker who knows lists, names and patterns is estimated to need (proposal). A
# password alone must also stand where hashes were stolen; beside a second factor it meets throttled
# tries only.
FEWEST_GUESSES_ALONE = 10**10
FEWEST_GUESSES_WITH_SECOND_FACTOR = 10**6
# The estimate looks at the first characters only: what follows can but add to it, and the work
# grows with the square of the length.
ESTIMATED_CHARACTERS = 40
PRODUCT = "evenhand"


@dataclass(frozen=True)
class Verified:
    """What a check of a password found.

    rehashed: the same password hashed anew, to be kept instead, where it was right and the stored
    hash is weaker than today's; else None.
    """

    is_right: bool
    rehashed: str | None = None


class BadPassword(ValueError):
    """A new password cannot be accepted; `says` tells the person why and what would do."""

    def __init__(self, says: str) -> None:
        super().__init__(says)
        self.says = says


def hash_password(password: str) -> str:
    """The Argon2id hash to keep, with its salt and its parameters."""
    return _hasher.hash(_bytes_of(password))


def verify_password(stored: str, password: str) -> Verified:
    """Whether it is the password of the stored hash.

    Raises: argon2.exceptions.InvalidHashError where what is stored is no Argon2 hash.
    """
    try:
        _hasher.verify(stored, _bytes_of(password))
    except VerifyMismatchError:
        return Verified(is_right=False)
    weaker = _hasher.check_needs_rehash(stored)
    return Verified(is_right=True, rehashed=hash_password(password) if weaker else None)


def verify_nothing(password: str) -> Verified:
    """Do the work of a check for a name that has no password; never right.

    How long an answer takes then does not tell which names exist.
    """
    verify_password(_hash_of_nothing(), password)
    return Verified(is_right=False)


def check_new_password(password: str, *, has_second_factor: bool, words: Iterable[str]) -> None:
    """Refuse a new password that is too short, too long or too easy to guess.

    words: what an attacker would try first for this person: their names and the clinic's. Any
    character is allowed and none is asked for. Raises: BadPassword.
    Source: NIST SP 800-63B-4, 3.1.1.2 (secondary), for length and blocklist.
    """
    normal = _normal(password)
    shortest = SHORTEST_WITH_SECOND_FACTOR if has_second_factor else SHORTEST_ALONE
    if len(normal) < shortest:
        raise BadPassword(
            _(
                "A password needs at least {shortest} characters; this one has {normal}. "
                "Several words in a row are easy to remember."
            ).format(shortest=shortest, normal=len(normal))
        )
    if len(_bytes_of(password)) > LONGEST_BYTES:
        raise BadPassword(
            _("A password may have at most {LONGEST_BYTES} bytes; this one has more.").format(
                LONGEST_BYTES=LONGEST_BYTES
            )
        )
    if normal.lower() in RANKED_DICTIONARIES["passwords"]:
        raise BadPassword(
            _("This password is on the list of those that are tried first. Take another.")
        )
    fewest = FEWEST_GUESSES_WITH_SECOND_FACTOR if has_second_factor else FEWEST_GUESSES_ALONE
    if _guesses(normal, words) < fewest:
        raise BadPassword(
            _(
                "This password is too easy to guess: most of it is a common password, a name of "
                "the clinic or of yours, something repeated or a row of keys. Take other words, or "
                "more."
            )
        )


def _normal(password: str) -> str:
    return unicodedata.normalize("NFC", password)


def _bytes_of(password: str) -> bytes:
    # Whatever a request can carry has bytes, so that no password is an error on the way.
    return _normal(password).encode("utf-8", "surrogatepass")


@cache
def _hash_of_nothing() -> str:
    return hash_password(secrets.token_urlsafe(32))


def _guesses(password: str, words: Iterable[str]) -> float:
    """How many guesses are estimated to be needed, with these words tried first.

    The library's own entry point keeps the words in a table that all threads share; this does not.
    """
    known = build_ranked_dict([PRODUCT, *sorted(_parts(words))])
    start = password[:ESTIMATED_CHARACTERS]
    matches = omnimatch(start, {**RANKED_DICTIONARIES, "user_inputs": known})
    return float(most_guessable_match_sequence(start, matches)["guesses"])


def _parts(words: Iterable[str]) -> set[str]:
    """Each text in lower case: as it is, without its spaces, and each of its words."""
    found = set()
    for text in words:
        whole = _normal(text).lower()
        split = re.findall(r"\w+", whole)
        found |= {whole, "".join(split), *split}
    return found - {""}
