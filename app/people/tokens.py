"""Tokens that a browser carries and codes that a person types. Only their hashes are ever kept."""

import hashlib
import hmac
import secrets

TOKEN_BYTES = 32
# Base 32 without I, L, O and U, which are misread: five bits a character, so 140 in a code. Below
# 112 a plain hash would not do, and what nobody may guess needs 128. Source: OWASP ASVS 5.0.0,
# V6.5.2 and V11.5.1 (read).
CODE_CHARACTERS = 28
CODE_ALPHABET = "0123456789ABCDEFGHJKMNPQRSTVWXYZ"
_AS_READ = str.maketrans("OIL", "011")


def new_token() -> str:
    """A token of 256 random bits, fit for a cookie.

    Source: OWASP ASVS 5.0.0, V7.2.3 (read), which asks for 128 bits.
    """
    return secrets.token_urlsafe(TOKEN_BYTES)


def hash_token(token: str) -> str:
    """The SHA-256 of a token, in hex: what is kept, and what it is found by.

    A token is random, so its hash needs no salt and no stretching.
    """
    return hashlib.sha256(_bytes_of(token)).hexdigest()


def form_token(token: str) -> str:
    """The token that a page carries to show that a form comes from a page of this sign-in.

    It follows from the token, not from the hash that is kept: neither tells the other. Each is
    masked anew, so that no two pages carry the same characters and their compressed length tells
    nothing of it (docs/decisions/0016).
    """
    mask = secrets.token_bytes(TOKEN_BYTES)
    return mask.hex() + _masked(_form_secret(token), mask).hex()


def is_form_token(given: str, token: str) -> bool:
    """Whether a page of the sign-in with this token was given this form token."""
    try:
        raw = bytes.fromhex(given)
    except ValueError:
        return False
    if len(raw) != 2 * TOKEN_BYTES:
        return False
    return hmac.compare_digest(_masked(raw[TOKEN_BYTES:], raw[:TOKEN_BYTES]), _form_secret(token))


def _form_secret(token: str) -> bytes:
    return hmac.new(_bytes_of(token), b"evenhand form token", hashlib.sha256).digest()


def _masked(secret: bytes, mask: bytes) -> bytes:
    return bytes(left ^ right for left, right in zip(secret, mask, strict=True))


def same(first: str, second: str) -> bool:
    """Whether both are equal, in a time that does not tell where they differ."""
    return hmac.compare_digest(_bytes_of(first), _bytes_of(second))


def new_code() -> str:
    """A one-time code of 140 random bits that a person can type, in groups of four."""
    drawn = "".join(secrets.choice(CODE_ALPHABET) for _ in range(CODE_CHARACTERS))
    return "-".join(drawn[start : start + 4] for start in range(0, CODE_CHARACTERS, 4))


def hash_code(code: str) -> str:
    """The SHA-256 of a one-time code, in hex.

    Case, spaces and dashes do not count, and O, I and L are read as 0, 1 and 1. Like a token, a
    code is random and long enough to need no salt and no stretching.
    """
    typed = "".join(filter(str.isalnum, code.upper()))
    return hash_token(typed.translate(_AS_READ))


def _bytes_of(text: str) -> bytes:
    return text.encode("utf-8", "surrogatepass")
