"""What people type: what is refused, and the form in which it is compared."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.store.free_text import (
    BadText,
    check_as_typed,
    check_line,
    check_lines,
    check_name,
    exact_key,
    search_key,
)

ANY_TEXT = st.text(st.characters(codec=None))


@given(ANY_TEXT)
def test_an_accepted_line_can_be_stored_and_stays_itself(text: str) -> None:
    """Both databases take it, and checking it again changes nothing."""
    try:
        line = check_line(text, longest=1000)
    except BadText:
        return

    assert "\x00" not in line
    assert line == check_line(line.encode("utf-8").decode("utf-8"), longest=1000)


@given(ANY_TEXT)
def test_keys_are_fixed_points(text: str) -> None:
    """A key of a key is the same, so what is stored can be searched by what is shown."""
    assert search_key(text) == search_key(search_key(text))
    assert exact_key(text) == exact_key(exact_key(text))


@given(ANY_TEXT)
def test_case_makes_no_difference(text: str) -> None:
    """Folding is not lower(): it also joins what has two capitals or none."""
    assert search_key(text) == search_key(text.casefold())
    assert exact_key(text) == exact_key(text.casefold())


# The foldings are those of Unicode's CaseFolding.txt (C and F) and UnicodeData.txt.
@pytest.mark.parametrize(
    ("typed", "key"),
    [
        ("Örnek", "ornek"),
        ("PRZYKŁAD", "przykład"),
        ("Straße", "strasse"),
        ("ΣΊΣΥΦΟΣ", "σισυφοσ"),
        ("İpek", "ipek"),
        ("ﬁn", "fin"),
        ("  two   words ", "two words"),
        ("山田\u3000太郎", "山田 太郎"),
    ],
)
def test_names_are_searched_without_case_and_accents(typed: str, key: str) -> None:
    """Somebody at another keyboard must find the patient, or adds them a second time."""
    assert key == search_key(typed)


def test_chart_numbers_keep_their_accents_and_lose_their_case() -> None:
    """Two numbers that differ by more than case are two numbers."""
    assert exact_key("Ä-01") == exact_key("ä-01")
    # Its capital is three characters, which fold to two of them composed and one apart.
    assert exact_key("\u0390") == exact_key("\u0390".upper())
    assert exact_key("Ä-01") != exact_key("A-01")


@pytest.mark.parametrize(
    "text",
    [
        "nul\x00",
        "escape\x1b[31m",
        "two\nlines",
        "line\u2028separator",
        "half \ud83d character",
        "turned \u202eround",
        "isolate\u2066d",
    ],
)
def test_characters_that_deceive_or_break_are_refused(text: str) -> None:
    """They would hide part of a name, or end as an error of the database."""
    with pytest.raises(BadText, match=r"holds a character that cannot be kept \(U\+"):
        check_line(text, longest=100)
    with pytest.raises(BadText, match=r"holds a character that cannot be kept \(U\+"):
        check_as_typed(text)


def test_what_scripts_need_is_kept() -> None:
    """Joiners carry meaning in Persian and in Indian scripts."""
    assert "می\u200cخواهم" == check_line("می\u200cخواهم", longest=100)


def test_a_line_is_tidied_and_composed() -> None:
    """The same name typed on two machines is one text."""
    assert "André Du Pont" == check_line("  Andre\u0301  Du Pont ", longest=100)


def test_lines_keep_their_breaks() -> None:
    """A browser sends carriage returns; a reason may have paragraphs."""
    assert "first\nsecond\tend" == check_lines("\r\nfirst\r\nsecond\tend\n", longest=100)


def test_too_long_is_told_with_the_limit() -> None:
    """Cut text would be a loss that nobody sees."""
    assert "12345" == check_line("12345", longest=5)
    with pytest.raises(BadText, match="is longer than 5 characters"):
        check_line("123456", longest=5)
    with pytest.raises(BadText, match="is longer than 5 characters"):
        check_lines("123\n456", longest=5)


@pytest.mark.parametrize(
    ("typed", "says"),
    [
        (" ", "is missing"),
        ("—?", "has no letter or digit"),
        ("x" * 6, "is longer than 5 characters"),
        ("a\x00", "holds a character that cannot be kept (U+0000)"),
    ],
)
def test_a_name_has_a_letter_or_a_digit(typed: str, says: str) -> None:
    """A dash in its place is as good as nothing."""
    with pytest.raises(BadText) as fault:
        check_name(typed, longest=5)

    assert says == str(fault.value)
    assert "Ó 7" == check_name("  Ó  7 ", longest=5)
