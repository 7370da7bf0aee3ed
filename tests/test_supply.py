"""What is said of the packages of others is what is locked, and what they say themselves."""

import importlib.util
import shutil
import sys
from importlib.metadata import PackageNotFoundError, metadata, version
from pathlib import Path
from typing import Any

import pytest

from app.settings import ROOT

_spec = importlib.util.spec_from_file_location("write_supply", ROOT / "script" / "write_supply.py")
assert _spec is not None
assert _spec.loader is not None
write_supply: Any = importlib.util.module_from_spec(_spec)
# Dataclasses look their module up.
sys.modules["write_supply"] = write_supply
_spec.loader.exec_module(write_supply)

PARTS = (write_supply.BILL, write_supply.PAGE, write_supply.LOCK, Path("pyproject.toml"))


@pytest.fixture
def copied(tmp_path: Path) -> Path:
    """The documents in a folder where they may be spoiled."""
    (tmp_path / "docs").mkdir()
    for each in PARTS:
        shutil.copy(ROOT / each, tmp_path / each)
    return tmp_path


def test_the_bill_and_the_page_are_those_of_the_lock() -> None:
    """Whoever looks for a vulnerable package looks here."""
    assert [] == write_supply.faults(ROOT)


def test_each_package_is_installed_as_the_bill_says() -> None:
    """The version, and the licence where the package gives it in one expression (PEP 639)."""
    seen = 0
    for name, each in write_supply.billed(ROOT).items():
        try:
            found = metadata(name).json
        except PackageNotFoundError:
            pytest.fail(f"{name} is in the bill and not installed")
        expression = found.get("license_expression")
        seen += expression is not None

        assert each["version"] == version(name)
        if expression is not None:
            assert expression == write_supply.licence(each), name
    assert seen > 20


@pytest.mark.parametrize(
    ("part", "was", "becomes", "says"),
    [
        (write_supply.LOCK, "\nanyio==", "\nanyio==9", "anyio"),
        (
            write_supply.LOCK,
            "\nanyio==",
            "\nother==1 \\\n    --hash=x\nanyio==",
            "other is missing",
        ),
        (write_supply.BILL, '"name": "anyio"', '"name": "nobody"', "nobody"),
        (write_supply.PAGE, "| anyio |", "| any |", "stale"),
    ],
)
def test_what_is_stale_is_named(
    copied: Path, part: Path, was: str, becomes: str, says: str
) -> None:
    """A page that nobody made anew would tell of what is no longer there."""
    text = (copied / part).read_text()
    assert was in text
    (copied / part).write_text(text.replace(was, becomes))

    assert says in "\n".join(write_supply.faults(copied))
