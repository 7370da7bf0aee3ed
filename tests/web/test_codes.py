"""The codes that may be offered with a pattern stand on its page."""

import re
from html import unescape

import pytest

from app.knowledge.load import knowledge
from tests.web.clinic import Clinic

ICD = knowledge().icd


def codes_on(clinic: Clinic, category: str) -> str:
    """The section of one pattern's page, as a reader sees it."""
    html = clinic.get(f"/knowledge/categories/{category}").text
    section = html.partition('<section aria-labelledby="codes">')[2].partition("</section>")[0]
    assert section
    return " ".join(unescape(re.sub(r"<[^>]*>", " ", section)).split())


@pytest.mark.parametrize("category", ICD.category)
def test_every_code_of_a_pattern_stands_there_with_its_title(clinic: Clinic, category: str) -> None:
    """And that it is an offer, not a diagnosis."""
    text = codes_on(clinic, category)

    assert "A code here is an offer for the record, not a diagnosis." in text
    for code in ICD.category[category]:
        assert f"{code} {ICD.title[code]} " in text


def test_what_a_code_never_stands_with_is_said_in_the_words_of_the_classification(
    clinic: Clinic,
) -> None:
    """A record with both would be sent back."""
    assert "G25.0 Essential tremor – tremor NOS (R25.1)" in codes_on(clinic, "action_tremor")


def test_a_pattern_without_codes_says_why(clinic: Clinic) -> None:
    """An empty table would look like an omission."""
    assert "Codes There is nothing to code." == codes_on(clinic, "nothing_abnormal")
