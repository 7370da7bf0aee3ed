"""Passwords: kept as Argon2id, checked whole, and refused only for what makes them weak."""

import unicodedata
from typing import Literal

import pytest
from argon2 import PasswordHasher, extract_parameters
from argon2.exceptions import InvalidHashError
from argon2.low_level import Type
from hypothesis import example, given, settings
from hypothesis import strategies as st

from app.people.passwords import (
    LONGEST_BYTES,
    BadPassword,
    Verified,
    check_new_password,
    hash_password,
    verify_nothing,
    verify_password,
)

NAMES = ("Harbour Clinic", "Dr. Ada Lindqvist", "ada.lindqvist")
# As an older release might have kept it.
WEAKER = PasswordHasher(time_cost=1, memory_cost=1024, parallelism=1)
any_text = st.text(max_size=40)
# Halves of a pair in UTF-16: no characters by themselves, and a program can send them all the same.
HALF, OTHER_HALF = "\ud800", "\udfff"


def refusal(password: str, *, has_second_factor: bool = False) -> str:
    """Why a password is refused; "" where it is accepted."""
    try:
        check_new_password(password, has_second_factor=has_second_factor, words=NAMES)
    except BadPassword as bad:
        return bad.says
    return ""


def test_a_hash_has_at_least_the_recommended_cost() -> None:
    """Stolen hashes must be slow to try: OWASP's least is Argon2id, 19456 KiB, 2 passes, 1 lane."""
    found = extract_parameters(hash_password("a lamp on thursday"))

    assert Type.ID == found.type
    assert (True, True, True) == (
        found.memory_cost >= 19456,
        found.time_cost >= 2,
        found.parallelism >= 1,
    )


def test_two_hashes_of_one_password_differ() -> None:
    """With a salt, equal passwords are not seen to be equal."""
    assert hash_password("a lamp on thursday") != hash_password("a lamp on thursday")


@settings(max_examples=20)
@example(HALF, OTHER_HALF)
@given(any_text, any_text)
def test_only_the_same_password_is_right(kept: str, typed: str) -> None:
    """Whatever characters somebody uses, none is an error and none is ignored."""
    is_same = unicodedata.normalize("NFC", kept) == unicodedata.normalize("NFC", typed)
    stored = hash_password(kept)

    assert verify_password(stored, kept).is_right
    assert is_same == verify_password(stored, typed).is_right


def test_nothing_is_cut_off() -> None:
    """Two long passwords that differ in the last character only are two passwords."""
    stored = hash_password("ab" * 400 + "c")

    assert Verified(is_right=False) == verify_password(stored, "ab" * 400 + "d")


def test_a_password_is_the_same_however_the_system_writes_its_letters() -> None:
    """One system sends é as one character, another as e and an accent; the keys are the same."""
    stored = hash_password("caf\u00e9 by the harbour")

    assert Verified(is_right=True) == verify_password(stored, "cafe\u0301 by the harbour")


def test_letters_that_only_look_alike_are_not_the_same() -> None:
    """NFC, not NFKC: a wide A or a ligature stays what was typed."""
    stored = hash_password("office by the harbour")

    assert Verified(is_right=False) == verify_password(stored, "o\ufb03ce by the harbour")


def test_a_weaker_hash_is_made_anew_when_the_password_was_right() -> None:
    """Only at sign-in is the password there to hash again at today's cost."""
    found = verify_password(WEAKER.hash("a lamp on thursday"), "a lamp on thursday")

    assert found.is_right
    assert found.rehashed is not None
    assert Verified(is_right=True) == verify_password(found.rehashed, "a lamp on thursday")


def test_a_wrong_password_is_never_hashed_to_be_kept() -> None:
    """A weak stored hash must not be replaced by the hash of a guess."""
    found = verify_password(WEAKER.hash("a lamp on thursday"), "a lamp on friday")

    assert Verified(is_right=False) == found


def test_what_is_no_hash_is_loud() -> None:
    """A damaged row is a fault to see, not a wrong password."""
    with pytest.raises(InvalidHashError):
        verify_password("", "a lamp on thursday")


def test_an_unknown_name_costs_the_same_work(monkeypatch: pytest.MonkeyPatch) -> None:
    """The time that an answer takes would otherwise tell which names have an account."""
    checked: list[str | bytes] = []
    verify = PasswordHasher.verify

    def note(self: PasswordHasher, stored: str | bytes, password: str | bytes) -> Literal[True]:
        checked.append(stored)
        return verify(self, stored, password)

    monkeypatch.setattr(PasswordHasher, "verify", note)
    verify_nothing("a lamp on thursday")
    own = hash_password("a lamp on thursday")

    assert [extract_parameters(own)] == [extract_parameters(str(each)) for each in checked]


def test_nothing_is_never_right() -> None:
    """A name without a password cannot be signed in to, whatever is typed."""
    assert [Verified(is_right=False)] * 2 == [verify_nothing(""), verify_nothing("x" * 20)]


@pytest.mark.parametrize(
    ("length", "has_second_factor", "is_refused"),
    [(14, False, True), (15, False, False), (7, True, True), (8, True, False)],
)
def test_the_shortest_password(length: int, has_second_factor: bool, is_refused: bool) -> None:
    """15 characters alone, 8 beside a second factor: NIST SP 800-63B-4, 3.1.1.2."""
    password = "kxvqzrtwpmlnbcd"[:length]

    assert is_refused == bool(refusal(password, has_second_factor=has_second_factor))


def test_a_refusal_says_how_many_characters_are_needed() -> None:
    """Who is refused must know what would do."""
    assert refusal("kxvqz").startswith("A password needs at least 15 characters; this one has 5.")


def test_length_counts_characters_not_bytes() -> None:
    """Fourteen letters of two bytes each are fourteen, also where accents stand apart."""
    assert "this one has 14." in refusal("жылдызкөрпөуйу"[:14])
    assert "this one has 14." in refusal("e\u0301" * 14)


@pytest.mark.parametrize(
    "password",
    [
        "all lower case and spaces",
        "correct horse battery staple",
        "сорок тысяч лодок у причала",
        "🦊 meets 🌳 near the 🚢 quay",
        "8301 5527 9946 0172 6635",
        "quiet-harbour-lamp-" * 4,
        "\ttab and\nnewline too",
        "kxv\x00qzrtwpmlnbcd",
    ],
)
def test_any_kind_of_character_will_do(password: str) -> None:
    """No rule asks for capitals, digits or signs, and 64 characters and more are welcome."""
    assert "" == refusal(password + " kxvqzrtw")


def test_a_password_beyond_the_limit_is_refused_not_cut() -> None:
    """Cutting would let a shorter one in; the limit only bounds the work."""
    fits = ("kxvqzrtw pmlnbcd " * LONGEST_BYTES)[:LONGEST_BYTES]

    assert "at most 1024 bytes" in refusal(fits + "é")
    assert "at most 1024 bytes" not in refusal(fits)


@pytest.mark.parametrize("password", ["Password1", "SUNSHINE", "qwertyuiop", "1q2w3e4r"])
def test_a_listed_password_is_refused(password: str) -> None:
    """The first thousands of guesses are the same everywhere, whatever the case of the letters."""
    assert "tried first" in refusal(password, has_second_factor=True)


def test_a_listed_password_is_refused_though_it_is_long() -> None:
    """Length alone does not make up for being on the list."""
    assert "tried first" in refusal("1qaz2wsx3edc4rfv")


def test_the_list_is_compared_whole() -> None:
    """NIST SP 800-63B-4: the entire password is compared, not the words in it."""
    assert "tried first" in refusal("password", has_second_factor=True)
    assert "" == refusal("dragon password ferry sunshine")


@pytest.mark.parametrize(
    "password",
    [
        "evenhandevenhand",
        "Evenhand2026!!!",
        "Harbour Clinic 1!",
        "harbourclinic2026",
        "AdaLindqvist1978",
        "ada.lindqvist.ada",
        "aaaaaaaaaaaaaaaaaaaa",
        "abcabcabcabcabcabc",
        "abcdefghijklmnopqr",
        "qwertyuiopasdfghjkl",
        "123456789012345678",
        "passwordpassword",
        "Xk3!Xk3!Xk3!Xk3!Xk3!",
    ],
)
def test_names_repeats_and_rows_of_keys_are_refused(password: str) -> None:
    """Long enough and still among the first things that somebody who knows the clinic would try."""
    assert "too easy to guess" in refusal(password)


def test_the_names_count_only_for_those_who_have_them() -> None:
    """The same text is a poor password for its owner and an ordinary one for another."""
    check_new_password("Zebulon Quarrymoor", has_second_factor=False, words=["Harbour Clinic"])

    with pytest.raises(BadPassword, match="too easy to guess"):
        check_new_password(
            "Zebulon Quarrymoor", has_second_factor=False, words=["Zebulon Quarrymoor"]
        )


@settings(max_examples=60)
@example(HALF * 15, False)
@given(any_text, st.booleans())
def test_every_text_is_accepted_or_refused_with_words(
    password: str, has_second_factor: bool
) -> None:
    """No password makes the page fail, and a refusal is always a sentence."""
    says = refusal(password, has_second_factor=has_second_factor)

    assert says == "" or says.endswith(".")
