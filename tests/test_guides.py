"""The guides for the clinic name what there is, and nothing that there is not."""

import re
from pathlib import Path

import pytest

from app.knowledge.terms import level_words
from app.settings import ROOT, WAY_BACK, Settings

GUIDE = ROOT / "docs" / "guide"
GUIDES = sorted(GUIDE.glob("*.md"))
EVERY = {f"EVENHAND_{name.upper()}" for name in Settings.model_fields}


def test_every_setting_is_explained() -> None:
    """One that nobody knows of is set by nobody."""
    text = (GUIDE / "settings.md").read_text()

    assert EVERY == set(re.findall(r"^\| `(EVENHAND_\w+)` \|", text, re.M))


def test_what_a_server_does_unless_told_otherwise_is_what_it_does() -> None:
    """A clinic that reads “this machine alone” relies on it."""
    text = (GUIDE / "settings.md").read_text()
    told = dict(re.findall(r"^\| `EVENHAND_(\w+)` \| `([^`]*)` \|", text, re.M))
    defaults = Settings(_env_file=None).model_dump()

    assert {
        "HOST", "PORT", "DEMO", "PLAIN_HTTP", "OIDC_LABEL", "SIGN_WITHOUT_SEAL",
        "FHIR_DOCUMENT_TYPE", "API_DOCS", "DATABASE_POOL", "WORKERS", "SMALL_COUNTS",
            "LOG", "LANGUAGE",
    } == set(told)  # fmt: skip
    assert {name: str(defaults[name.lower()]).lower() for name in told} == {
        name: value.lower() for name, value in told.items()
    }


def test_the_address_to_register_is_the_one_that_is_used() -> None:
    """A provider compares it to the letter."""
    text = (GUIDE / "identity-provider.md").read_text()

    assert f"https://evenhand.clinic.example{WAY_BACK}" in text


@pytest.mark.parametrize("guide", GUIDES, ids=lambda guide: guide.stem)
def test_a_guide_names_what_exists_and_is_found(guide: Path) -> None:
    """Its settings, the pages that it leads to, and a line in the README that leads to it."""
    text = guide.read_text()
    linked = {link.partition("#")[0] for link in re.findall(r"\]\(([^)]+)\)", text)}

    assert set() == set(re.findall(r"EVENHAND_[A-Z_]*[A-Z]", text)) - EVERY
    assert [] == [link for link in linked if not (guide.parent / link).is_file()]
    assert f"(docs/guide/{guide.name})" in (ROOT / "README.md").read_text()


def keys(line: str) -> tuple[str, ...]:
    """The keys that a line of a list or of a table names."""
    return tuple(re.findall(r"<kbd>([^<]+)</kbd>", line))


def test_the_guide_names_the_keys_of_the_sheet_and_no_others() -> None:
    """A key that is not there may record something else than what was meant."""
    shown = re.findall(r"<li>(.*?)</li>", (ROOT / "templates" / "exam.html").read_text(), re.S)
    on_the_sheet = sorted(filter(None, map(keys, shown)))
    table = re.findall(r"^\| (<kbd>[^|]*)\|", (GUIDE / "nurse.md").read_text(), re.M)

    assert on_the_sheet
    assert on_the_sheet == sorted(map(keys, table))


def test_every_picture_is_shown_and_every_shown_one_is_there() -> None:
    """A picture that no guide shows is not looked at when a page changes."""
    shown = {
        (guide.parent / link).resolve()
        for guide in (*GUIDES, ROOT / "README.md")
        for link in re.findall(r"!\[[^\]]+\]\(([^)]+)\)", guide.read_text())
    }

    assert shown == {*(GUIDE / "images").iterdir(), *(ROOT / "docs" / "images").iterdir()}


def test_a_picture_is_small() -> None:
    """They are in every copy of the repository, and each drawing adds to its history."""
    pictures = [*(GUIDE / "images").iterdir(), *(ROOT / "docs" / "images").iterdir()]

    assert [] == [each.name for each in pictures if each.stat().st_size > 120_000]


def test_the_levels_are_explained_in_the_words_of_the_panel() -> None:
    """A physician looks for what the panel says."""
    text = (GUIDE / "physician.md").read_text()

    for level in ("fits", "fits_with_cautions", "partial", "open"):
        assert f"| *{level_words(level)}* |" in text
