"""docs/reliability.md names tests that there are."""

import re

from app.settings import ROOT


def test_every_test_that_the_page_names_is_there() -> None:
    """A row whose test is gone would be a promise that nothing keeps."""
    named = set(re.findall(r"`(test_\w+)`", (ROOT / "docs" / "reliability.md").read_text("utf-8")))
    there = {
        name
        for file in (ROOT / "tests").rglob("test_*.py")
        if "node_modules" not in file.parts
        for name in re.findall(r"^def (test_\w+)", file.read_text("utf-8"), re.MULTILINE)
    }

    assert len(named) > 20
    assert set() == named - there
