"""A whole run fails where a test that shows a control did not pass in it; a part does not."""

import subprocess
import sys
from pathlib import Path

import pytest

# The real plugin, over a suite and claims of this test's own.
CONFTEST = """
from tests.evidence import watch

watch.named_tests = lambda: {
    "cases/test_a.py::test_shown": ["control H01.1"],
    "cases/test_a.py::test_other": ["ASVS v5.0.0-1.1.1"],
}

def pytest_configure(config):
    config.pluginmanager.register(watch.Evidence(), "evidence")
"""
WHOLE = """
import pytest

@pytest.mark.parametrize("case", [1, 2])
def test_shown(case):
    if case == 2 and {is_skipped}:
        pytest.skip("no database here")

def test_{other}():
    pass
"""
SKIPPED = "cases/test_a.py::test_shown: passed, skipped; it is to show control H01.1"
GONE = "cases/test_a.py::test_other: did not run; it is to show ASVS v5.0.0-1.1.1"


def run(folder: Path, *arguments: str, is_skipped: bool, other: str) -> tuple[int, list[str]]:
    """A run of the small suite: its status, and what it says is missing."""
    cases = folder / "cases"
    cases.mkdir(exist_ok=True)
    (folder / "pyproject.toml").write_text('[tool.pytest.ini_options]\ntestpaths = ["cases"]\n')
    (cases / "conftest.py").write_text(CONFTEST)
    (cases / "test_a.py").write_text(WHOLE.format(is_skipped=is_skipped, other=other))
    done = subprocess.run(
        [sys.executable, "-m", "pytest", "-p", "no:cacheprovider", "-p", "no:hypothesispytest",
         *arguments],
        cwd=folder, capture_output=True, text=True, check=False,
    )  # fmt: skip
    lines = [line for line in done.stdout.splitlines() if line.startswith("EVIDENCE ")]
    return done.returncode, [line.removeprefix("EVIDENCE ") for line in lines]


def test_a_whole_run_with_its_evidence_passes(tmp_path: Path) -> None:
    """All cases of each named test."""
    assert (0, []) == run(tmp_path, is_skipped=False, other="other")


@pytest.mark.parametrize("spread", [(), ("-n", "1")])
def test_a_whole_run_without_its_evidence_fails(tmp_path: Path, spread: tuple[str, ...]) -> None:
    """Though every test that ran passed; in another process as well as in this one."""
    assert (1, [GONE, SKIPPED]) == run(tmp_path, *spread, is_skipped=True, other="renamed")


def test_a_part_of_a_run_is_not_asked_for_the_rest(tmp_path: Path) -> None:
    """Or nobody could try one test."""
    assert (0, []) == run(tmp_path, "-k", "renamed", is_skipped=True, other="renamed")
    assert (0, []) == run(tmp_path, "cases/test_a.py", is_skipped=True, other="renamed")
