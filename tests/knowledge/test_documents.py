"""The documents for reviewers: current, readable, and safe to make again."""

import re
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from app.knowledge.load import knowledge
from app.knowledge.markdown import documents
from app.knowledge.markdown_parts import anchor, bullets, sentence

ROOT = Path(__file__).parents[2]
DOCS = ROOT / "docs"
KNOWN = knowledge()
PAGES = documents(KNOWN)
HAND_WRITTEN = ("promises.md", "examples.md")


def prose(text: str) -> str:
    """A page without the addresses of its links and the line to sign."""
    text = re.sub(r"\]\([^)]*\)", "]", text)
    return re.sub(r"_{10,}", "…", re.sub(r"<!--.*?-->", "", text))


def test_the_documents_are_those_that_the_knowledge_gives() -> None:
    """Or a clinician would review another program than the one that runs: run script/docs."""
    stale = [
        path
        for path, text in PAGES.items()
        if not (DOCS / path).is_file() or (DOCS / path).read_text(encoding="utf-8") != text
    ]

    assert [] == stale


def test_every_pattern_and_warning_has_a_page_with_a_line_to_sign() -> None:
    """Beside the falls group, the signs, help, steps, medicines, norms and sources."""
    expected = {f"clinical/categories/{each}.md" for each in KNOWN.categories}
    expected |= {f"clinical/warnings/{each}.md" for each in KNOWN.warnings}
    expected |= {
        f"clinical/{each}.md"
        for each in ("README", "falls", "signs", "steps", "medicines", "norms", "sources", "help")
    }

    assert expected | {"intended-use.md"} == set(PAGES)
    for path, text in PAGES.items():
        signed = path not in ("intended-use.md", "clinical/README.md", "clinical/sources.md")
        assert signed == ("Reviewed by ____" in text), path


@pytest.mark.parametrize("path", PAGES)
def test_a_page_is_for_somebody_who_has_never_seen_code(path: str) -> None:
    """No names of the files, no operators, no brackets of a function, no machine's units."""
    text = prose(PAGES[path])

    assert "_" not in text
    assert "mm[Hg]" not in text
    for code in (">=", "<=", "==", "any(", "both(", "takes(", "known(", "None,", "{"):
        assert code not in text, code
    assert not re.search(r"\S {2,}\S", text)
    assert ".." not in text.replace("../", "")
    assert ". ." not in text
    assert "\n\n\n" not in text


@pytest.mark.parametrize("path", PAGES)
def test_a_page_says_who_has_reviewed_it_and_never_diagnoses(path: str) -> None:
    """Published titles may speak of diagnosis; our words do not, but to say that a code is none."""
    text = PAGES[path].replace(knowledge().icd.says, "")
    ours = "\n".join(line for line in text.splitlines() if "doi" not in line and "PMID" not in line)

    if path.startswith(("clinical/categories", "clinical/warnings")):
        assert "State: draft, written by engineers and not yet reviewed by a clinician." in text
        assert "## Cases" in text
        assert "## What it rests on" in text
        assert not re.search(r"\bdiagnos", ours, re.IGNORECASE)


def links_of(path: str) -> Iterator[tuple[str, str]]:
    """The page that each link leads to, and the anchor."""
    for target in re.findall(r"\]\(([^)]*)\)", PAGES[path]):
        file, _, place = target.partition("#")
        parts: list[str] = []
        for part in [*path.split("/")[:-1], *file.split("/")]:
            parts = parts[:-1] if part == ".." else [*parts, part]
        yield "/".join(parts), place


@pytest.mark.parametrize("path", PAGES)
def test_every_link_of_a_page_leads_to_a_heading(path: str) -> None:
    """Also where the heading has a comma, a quotation mark or a letter of another language."""
    for page, place in links_of(path):
        assert page in PAGES, page
        headings = re.findall(r"^#+ (.*)$", PAGES[page], flags=re.MULTILINE)
        assert not place or place in [anchor(heading) for heading in headings], (page, place)


def test_no_page_has_two_headings_with_one_anchor_that_is_linked() -> None:
    """The second would never be reached."""
    linked = {link for path in PAGES for link in links_of(path)}
    for page, place in linked:
        headings = re.findall(r"^## (.*)$", PAGES[page], flags=re.MULTILINE)
        assert [anchor(heading) for heading in headings].count(place) <= 1, (page, place)


def test_a_rule_stands_beside_its_citation_and_its_standing() -> None:
    """The same page holds all three."""
    text = PAGES["clinical/categories/parkinsonism.md"]

    assert "- All of:\n  - [Bradykinesia]" in text
    assert (
        "Parkinsonism is bradykinesia together with rest tremor, rigidity, or both. "
        "([Postuma 2015](../sources.md#postuma-2015): read in the source.)"
    ) in text
    assert "from memory, not yet checked against the source" in text


def test_an_emergency_that_only_a_tier_raises_says_so() -> None:
    """Signs of the cord alone raise nothing: bladder, bowel, cancer, pain or course must join."""
    text = PAGES["clinical/warnings/cord_compression.md"]

    assert "Together with what makes it urgent, below." in text
    assert "**EMERGENCY, now**, if:" in text
    assert "In every other case it is not raised." in text
    assert "**Same day**, in every other case." in PAGES["clinical/warnings/wernicke.md"]
    assert "**EMERGENCY, now**, always." in PAGES["clinical/warnings/stroke_like.md"]


def test_small_parts() -> None:
    """A list without points is no list, a note without words no sentence."""
    assert [] == bullets("Points", [])
    assert ["Points", "- one\n- two"] == bullets("Points", ["one", "two"])
    assert ["- one"] == bullets("", ["one"])
    assert ("A note.", "A note.", "") == (sentence("a note"), sentence("a note."), "")
    assert "" == sentence("")
    assert "höglinger-2017" == anchor("Höglinger 2017")
    assert "a-b" == anchor("A, “b”")


# ---- script/docs


def run(*arguments: str) -> subprocess.CompletedProcess[str]:
    """The script's second half, as the shell calls it, on a copy of docs/."""
    return subprocess.run(
        [sys.executable, *arguments], capture_output=True, text=True, cwd=ROOT, check=False
    )


PROGRAM = """
import sys; from pathlib import Path
sys.path.insert(0, "script")
import write_docs
sys.exit(write_docs.main(sys.argv[2:], Path(sys.argv[1])))
"""


def test_what_is_stale_is_listed_and_nothing_is_written_by_a_check(tmp_path: Path) -> None:
    """A missing page, a changed one, and one of a pattern that is no longer known."""
    assert 0 == run("-c", PROGRAM, str(tmp_path)).returncode
    (tmp_path / "clinical/falls.md").write_text("changed", encoding="utf-8")
    (tmp_path / "clinical/signs.md").unlink()
    (tmp_path / "clinical/categories/humours.md").write_text("old", encoding="utf-8")
    checked = run("-c", PROGRAM, str(tmp_path), "--check")

    assert 1 == checked.returncode
    assert [
        "stale: docs/clinical/falls.md; run script/docs",
        "stale: docs/clinical/signs.md; run script/docs",
        "stale: docs/clinical/categories/humours.md; run script/docs",
    ] == checked.stderr.splitlines()
    assert "changed" == (tmp_path / "clinical/falls.md").read_text(encoding="utf-8")


def test_writing_mends_what_is_stale_and_leaves_what_others_wrote(tmp_path: Path) -> None:
    """The proofs beside it are made elsewhere."""
    run("-c", PROGRAM, str(tmp_path))
    for name in HAND_WRITTEN:
        (tmp_path / "clinical" / name).write_text("kept", encoding="utf-8")
    (tmp_path / "clinical/examples").mkdir()
    (tmp_path / "clinical/examples/one.md").write_text("kept", encoding="utf-8")
    (tmp_path / "clinical/warnings/old.md").write_text("old", encoding="utf-8")
    (tmp_path / "clinical/steps.md").write_text("changed", encoding="utf-8")
    written = run("-c", PROGRAM, str(tmp_path))

    assert [
        "docs/clinical/steps.md",
        "docs/clinical/warnings/old.md",
    ] == written.stdout.splitlines()
    assert not (tmp_path / "clinical/warnings/old.md").exists()
    assert "kept" == (tmp_path / "clinical/examples/one.md").read_text(encoding="utf-8")
    for name in HAND_WRITTEN:
        assert "kept" == (tmp_path / "clinical" / name).read_text(encoding="utf-8")
    assert 0 == run("-c", PROGRAM, str(tmp_path), "--check").returncode


def test_a_wrong_call_is_told(tmp_path: Path) -> None:
    """And writes nothing."""
    told = run("-c", PROGRAM, str(tmp_path), "--chekc")

    assert 2 == told.returncode
    assert "usage: script/docs [--check]\n" == told.stderr
    assert [] == list(tmp_path.iterdir())
