"""The guides for the clinic name what there is, and nothing that there is not."""

import re
from pathlib import Path

import pytest

from app.settings import ROOT, WAY_BACK, Settings

GUIDES = sorted((ROOT / "docs" / "guide").glob("*.md"))
EVERY = {f"EVENHAND_{name.upper()}" for name in Settings.model_fields}


def test_every_setting_is_explained() -> None:
    """One that nobody knows of is set by nobody."""
    text = (ROOT / "docs" / "guide" / "settings.md").read_text()

    assert EVERY == set(re.findall(r"^\| `(EVENHAND_\w+)` \|", text, re.M))


def test_what_a_server_does_unless_told_otherwise_is_what_it_does() -> None:
    """A clinic that reads “this machine alone” relies on it."""
    text = (ROOT / "docs" / "guide" / "settings.md").read_text()
    told = dict(re.findall(r"^\| `EVENHAND_(\w+)` \| `([^`]*)` \|", text, re.M))
    defaults = Settings(_env_file=None).model_dump()

    assert {"HOST", "PORT", "DEMO", "PLAIN_HTTP", "OIDC_LABEL"} == set(told)
    assert {name: str(defaults[name.lower()]).lower() for name in told} == {
        name: value.lower() for name, value in told.items()
    }


def test_the_address_to_register_is_the_one_that_is_used() -> None:
    """A provider compares it to the letter."""
    text = (ROOT / "docs" / "guide" / "identity-provider.md").read_text()

    assert f"https://evenhand.clinic.example{WAY_BACK}" in text


@pytest.mark.parametrize("guide", GUIDES, ids=lambda guide: guide.stem)
def test_a_guide_names_what_exists_and_is_found(guide: Path) -> None:
    """Its settings, the pages that it leads to, and a line in the README that leads to it."""
    text = guide.read_text()
    linked = {link.partition("#")[0] for link in re.findall(r"\]\(([^)]+)\)", text)}

    assert set() == set(re.findall(r"EVENHAND_[A-Z_]*[A-Z]", text)) - EVERY
    assert [] == [link for link in linked if not (guide.parent / link).is_file()]
    assert f"(docs/guide/{guide.name})" in (ROOT / "README.md").read_text()
