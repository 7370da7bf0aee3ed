"""The language in use: what is said in it, and how dates and numbers are written."""

from datetime import date
from threading import Thread

import pytest

from app.language.numbers import day_words, decimal_sign, figures, month_words, plain_figures
from app.language.words import (
    N_,
    InEachLanguage,
    Spoken,
    _,
    language,
    ngettext,
    pgettext,
    speaking,
)


def test_english_is_what_stands_in_the_code() -> None:
    """It has no catalogue, and so nothing in one can change it."""
    assert "en" == language()
    assert "No pattern is listed." == _("No pattern is listed.")
    assert "{number} hazards" == ngettext("{number} hazard", "{number} hazards", 2)
    assert "Sign" == pgettext("to put one’s name to it", "Sign")


def test_another_language_holds_inside_its_block_alone() -> None:
    """What was in use before comes back, also after an error."""
    with speaking("de"):
        assert "Kein Muster ist aufgeführt." == _("No pattern is listed.")
    with pytest.raises(ZeroDivisionError), speaking("de"):
        raise ZeroDivisionError
    assert "en" == language()


def test_a_thread_begins_in_english() -> None:
    """Whoever starts one hands the language over, as the web server's pool of threads does."""
    heard: list[str] = []
    with speaking("de"):
        thread = Thread(target=lambda: heard.append(language()))
        thread.start()
        thread.join()

    assert ["en"] == heard


def test_a_word_of_two_meanings_has_two_translations() -> None:
    """To sign, and a sign."""
    with speaking("de"):
        assert ("Zeichen", "Unterschreiben") == (
            _("Sign"),
            pgettext("to put one’s name to it", "Sign"),
        )
        assert ("1 Gefährdung", "2 Gefährdungen") == tuple(
            ngettext("{number} hazard", "{number} hazards", number).format(number=number)
            for number in (1, 2)
        )


def test_nothing_stays_nothing() -> None:
    """Catalogues keep their own head under the empty message."""
    with speaking("de"):
        assert ("", "") == (_(""), Spoken({"none": N_("")})["none"])


def test_a_table_of_words_is_read_in_the_language_in_use() -> None:
    """It is made when the module is imported, before any language is known."""
    words = Spoken({"low": N_("low")})
    assert "low" == words["low"]
    with speaking("de"):
        assert {"low": "niedrig"} == dict(words)


def test_what_is_kept_is_kept_for_each_language() -> None:
    """Otherwise the first that asks would decide for all."""
    kept = InEachLanguage(lambda: [language()])
    english = kept()
    with speaking("de"):
        assert ["de"] == kept()
    assert english is kept()


def test_a_language_that_there_is_not_is_refused() -> None:
    """Not spoken as English."""
    with pytest.raises(KeyError), speaking("xx"):
        pass


def test_dates_and_numbers_are_written_as_in_the_language() -> None:
    """CLDR's short months of German and its decimal sign; English keeps its own form."""
    when = date(2025, 11, 26)
    assert ("26-Nov-2025", "Nov 2025") == (day_words(when), month_words(when))
    assert ("9.1", "9.1", ".") == (figures("9.1"), plain_figures("9.1"), decimal_sign())
    assert "9,1" == plain_figures("9,1")
    with speaking("de"):
        assert ("26. Nov. 2025", "Nov. 2025") == (day_words(when), month_words(when))
        assert "4. Mai 2025" == day_words(date(2025, 5, 4))
        assert ("9,1", "9.1", ",") == (figures("9.1"), plain_figures("9,1"), decimal_sign())
