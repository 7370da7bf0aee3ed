"""The second factor: the codes of RFC 6238, each at most once, and only near its time."""

import base64
from datetime import UTC, datetime, timedelta
from urllib.parse import parse_qs, unquote, urlsplit
from xml.etree import ElementTree

import pyotp
import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.people.second_factor import accepted_step, new_secret, qr_svg, uri

# RFC 6238, appendix B: the secret of the SHA-1 column, with the last six of its eight digits
# (from memory).
RFC_SECRET = base64.b32encode(b"12345678901234567890").decode()
RFC_CODES = [
    (59, "287082"),
    (1111111109, "081804"),
    (1111111111, "050471"),
    (1234567890, "005924"),
    (2000000000, "279037"),
]
NOON = datetime(2026, 3, 4, 12, 0, 10, tzinfo=UTC)
NOON_STEP = int(NOON.timestamp()) // 30
steps_away = st.integers(-6, 6)


def code_at(step: int) -> str:
    """The code that an authenticator shows in this step."""
    return pyotp.TOTP(RFC_SECRET).generate_otp(step)


@pytest.mark.parametrize(("seconds", "code"), RFC_CODES)
def test_the_codes_are_those_of_the_standard(seconds: int, code: str) -> None:
    """Any authenticator program must work with it."""
    now = datetime.fromtimestamp(seconds, UTC)

    assert seconds // 30 == accepted_step(RFC_SECRET, code, now, None)


@given(steps_away)
def test_a_code_is_accepted_one_step_early_or_late_and_no_further(away: int) -> None:
    """A phone's clock is a little off; an older code may have been seen by others."""
    expected = NOON_STEP + away if abs(away) <= 1 else None

    assert expected == accepted_step(RFC_SECRET, code_at(NOON_STEP + away), NOON, None)


@given(steps_away, steps_away, st.integers(-300, 300))
def test_no_code_is_accepted_a_second_time(used: int, tried: int, seconds: int) -> None:
    """Who looks over a shoulder cannot use the code, also where the clock was set back."""
    last = accepted_step(RFC_SECRET, code_at(NOON_STEP + used), NOON, None)
    now = NOON + timedelta(seconds=seconds)
    again = accepted_step(RFC_SECRET, code_at(NOON_STEP + tried), now, last)

    assert again is None or last is None or again > last
    assert last is None or accepted_step(RFC_SECRET, code_at(last), now, last) is None


def test_a_code_of_two_steps_is_used_up_for_both() -> None:
    """Rarely two neighbouring steps have one code; taken for the first, it would work once more."""
    # Found by trying steps from 50000000 on.
    step, code = 50_424_280, "070562"
    now = datetime.fromtimestamp(step * 30, UTC)

    assert [code, code] == [code_at(step), code_at(step + 1)]
    assert step + 1 == accepted_step(RFC_SECRET, code, now, None)
    assert accepted_step(RFC_SECRET, code, now + timedelta(seconds=30), step + 1) is None


@pytest.mark.parametrize("typed", ["", "12345", "1234567", "12345a", "١٢٣٤٥٦", "-12345", "1234.5"])
def test_what_is_not_six_digits_is_no_code(typed: str) -> None:
    """Anything can be typed into the field; nothing of it is an error."""
    assert accepted_step(RFC_SECRET, typed, NOON, None) is None


def test_spaces_in_a_code_do_not_count() -> None:
    """Authenticators show two groups of three, and people type what they see."""
    code = code_at(NOON_STEP)

    assert NOON_STEP == accepted_step(RFC_SECRET, f" {code[:3]} {code[3:]} ", NOON, None)


def test_a_secret_has_160_bits_and_is_new_each_time() -> None:
    """RFC 4226 recommends 160 bits (memory)."""
    secrets = [new_secret() for _ in range(50)]

    assert {20} == {len(base64.b32decode(secret)) for secret in secrets}
    assert 50 == len(set(secrets))


def test_the_address_names_person_and_clinic() -> None:
    """An authenticator shows many entries; each must say what it is for."""
    found = urlsplit(uri(RFC_SECRET, "ada lindqvist", "Harbour: Clinic"))

    assert ("otpauth", "totp") == (found.scheme, found.netloc)
    assert "/Harbour: Clinic:ada lindqvist" == unquote(found.path)
    assert {"secret": [RFC_SECRET], "issuer": ["Harbour: Clinic"]} == parse_qs(found.query)


def test_without_a_clinic_the_address_names_the_program() -> None:
    """A clinic may have given no name yet."""
    assert ["Evenhand"] == parse_qs(urlsplit(uri(RFC_SECRET, "ada", "")).query)["issuer"]


def test_the_qr_code_is_a_drawing_that_the_page_may_show() -> None:
    """The content security policy allows no style attributes and no scripts."""
    drawing = ElementTree.fromstring(qr_svg(uri(RFC_SECRET, "ada", "Harbour Clinic")))
    names = {name for element in drawing.iter() for name in element.attrib}

    assert "svg" == drawing.tag
    assert {"viewBox", "class", "d", "fill", "stroke"} == names
    assert {"svg", "path"} == {element.tag for element in drawing.iter()}
