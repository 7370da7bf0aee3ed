"""A copy of the knowledge that a test may break."""

import shutil
from importlib import resources
from pathlib import Path

import pytest

from app import knowledge as room
from app.knowledge.files import BadKnowledge
from app.knowledge.load import load_knowledge


class Copy:
    """A copy of the knowledge in a folder of its own."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder

    def change(self, file: str, old: str, new: str) -> None:
        """Put something else in the first place of some text, which must be there."""
        path = self.folder / file
        text = path.read_text(encoding="utf-8")
        assert old in text, f"{file} does not hold {old!r}"
        path.write_text(text.replace(old, new, 1), encoding="utf-8")

    def add(self, file: str, lines: str) -> None:
        """Write something at the end of a file, which need not exist."""
        path = self.folder / file
        text = path.read_text(encoding="utf-8") if path.exists() else ""
        path.write_text(f"{text}\n{lines}\n", encoding="utf-8")

    def fault(self) -> str:
        """What is said when it is loaded."""
        with pytest.raises(BadKnowledge) as refused:
            load_knowledge(self.folder)
        return str(refused.value)


def copied(folder: Path) -> Copy:
    """A copy of the knowledge that ships with the program, in this folder."""
    with resources.as_file(resources.files(room)) as shipped:
        shutil.copytree(shipped, folder / "knowledge", ignore=shutil.ignore_patterns("*.py*"))
    return Copy(folder / "knowledge")


@pytest.fixture
def copy(tmp_path: Path) -> Copy:
    """A copy for one test."""
    return copied(tmp_path)
