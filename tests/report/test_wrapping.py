"""Plain text in eighty columns."""

from hypothesis import given
from hypothesis import strategies as st

from app.report.wrapping import COLUMNS, few_words, width, wrapped


def test_a_paragraph_hangs_by_two_spaces() -> None:
    """So that the eye finds where the next one begins."""
    lines = wrapped("word " * 20)

    assert ["word " * 15 + "word", "  " + "word " * 3 + "word"] == lines


def test_a_word_longer_than_a_line_is_cut_where_ever_it_stands() -> None:
    """Cut at the same places, or a longer side word before it would change the count of words."""
    long = "a" * 200

    assert wrapped(f"RIGHT {long}")[1:] == wrapped(f"LEFT {long}")[1:]
    assert ["a" * 78, "  " + "a" * 78, "  " + "a" * 44] == wrapped(long)


def test_wide_characters_take_two_columns() -> None:
    """As in every terminal and text field with one width of letter."""
    assert 4 == width("漢字")
    assert ["漢" * 39, "  漢"] == wrapped("漢" * 40)


@given(st.text())
def test_no_line_is_too_wide_and_no_character_is_lost(text: str) -> None:
    """Whatever is typed: the words come back in their order."""
    lines = wrapped(text)

    assert all(width(line) <= COLUMNS for line in lines)
    assert "".join(text.split()) == "".join("".join(lines).split())


def test_few_words_marks_what_it_leaves_out() -> None:
    """A cut text must not read as a whole one."""
    assert "one two…" == few_words("one two three", 2)
    assert "one two three" == few_words("one two three", 3)
