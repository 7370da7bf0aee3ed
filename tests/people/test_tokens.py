"""Tokens cannot be guessed, and what is kept of them is of no use to a thief."""

import base64
import hashlib
import re

from hypothesis import example, given
from hypothesis import strategies as st

from app.people.tokens import (
    CODE_ALPHABET,
    form_token,
    hash_code,
    hash_token,
    is_form_token,
    new_code,
    new_token,
    same,
)

any_text = st.text(max_size=30)


def test_a_token_has_256_bits_and_is_fit_for_a_cookie() -> None:
    """ASVS V7.2.3 asks for 128 bits; a cookie takes no other characters."""
    token = new_token()

    assert 32 == len(base64.urlsafe_b64decode(token + "="))
    assert re.fullmatch(r"[A-Za-z0-9_-]+", token)


def test_tokens_and_codes_do_not_come_twice() -> None:
    """A constant or a counter in place of chance would show here."""
    assert 1000 == len({new_token() for _ in range(500)} | {new_code() for _ in range(500)})


def test_what_is_kept_is_the_sha_256() -> None:
    """The table's column says so, and a reader of the database cannot go back from it."""
    assert hashlib.sha256(b"abc").hexdigest() == hash_token("abc")


def test_the_form_token_does_not_follow_from_what_is_kept() -> None:
    """Who reads the database cannot forge a form; who reads a page cannot make the cookie."""
    token = new_token()

    assert 4 == len({token, hash_token(token), form_token(token), form_token(hash_token(token))})
    assert hash_token(form_token(token)) != hash_token(token)


def test_form_tokens_of_two_sign_ins_differ() -> None:
    """A page of one person must not send forms as another."""
    assert form_token(new_token()) != form_token(new_token())


def test_each_page_carries_the_form_token_under_a_mask_of_its_own() -> None:
    """Compressed pages differ in length by what they repeat; what never comes twice tells nothing.

    Source: Gluck, Harris, Prado, "BREACH: reviving the CRIME attack", 2013, 3.4 (from memory).
    """
    token = new_token()
    shown = [form_token(token) for _ in range(50)]

    assert all(is_form_token(each, token) for each in shown)
    halves = [part for each in shown for part in (each[:64], each[64:])]
    assert 100 == len(set(halves))


@given(any_text)
def test_a_form_token_is_that_of_its_sign_in_alone(given_text: str) -> None:
    """Anything else that a request can carry is refused, and none is an error."""
    token = new_token()
    right = form_token(token)

    for wrong in (given_text, "", right[:-1], right[:-2], right + "00"):
        assert not is_form_token(wrong, token)
    assert not is_form_token(right, new_token())


@example("\ud800", "\udfff")
@given(any_text, any_text)
def test_same_is_equality(first: str, second: str) -> None:
    """Any text that a request can carry is compared, none is an error."""
    assert (first == second) == same(first, second)
    assert same(first, first)


def test_a_code_has_140_bits_in_groups_that_can_be_read_out() -> None:
    """Somebody types it from a console or a sheet of paper; I, L, O and U are misread."""
    code = new_code()

    assert re.fullmatch(r"([0-9A-HJKMNP-TV-Z]{4}-){6}[0-9A-HJKMNP-TV-Z]{4}", code)
    assert (32, 32) == (len(CODE_ALPHABET), len(set(CODE_ALPHABET)))
    # 2 ** 5 characters, 28 of them.
    assert 140 == 5 * len(code.replace("-", ""))


@given(st.data())
def test_a_code_is_found_however_it_is_typed(data: st.DataObject) -> None:
    """Small letters, other dashes, spaces anywhere and O for 0 are all the same code."""
    code = data.draw(st.text(st.sampled_from(CODE_ALPHABET), min_size=1, max_size=20))
    typed = ""
    for character in code:
        looks = {"0": "0Oo", "1": "1IiLl"}.get(character, character + character.lower())
        typed += data.draw(st.sampled_from(looks))
        typed += data.draw(st.sampled_from(["", " ", "-", "\u2013", "\u2011", "\u00a0"]))

    assert hash_code(code) == hash_code(typed)


@given(st.text(st.sampled_from(CODE_ALPHABET), max_size=20), st.sampled_from(CODE_ALPHABET))
def test_another_code_is_another(code: str, more: str) -> None:
    """Leniency about writing must not make two codes one."""
    assert hash_code(code) != hash_code(code + more)
    assert len(CODE_ALPHABET) == len({hash_code(code + each) for each in CODE_ALPHABET})
