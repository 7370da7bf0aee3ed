"""Bring the documents that are made from data up to date, or say which are not: those for
reviewers, the dictionary of the exported tables, and the claims of safety and security.

Only the files that are made here are touched: what else lies in docs/clinical/ stays.
"""

import sys
from pathlib import Path

from app.knowledge.load import knowledge
from app.knowledge.markdown import documents
from app.report.data.dictionary import dictionary_page
from tests.evidence.pages import evidence_pages

DOCS = Path(__file__).resolve().parent.parent / "docs"
# Every page in these folders is made, so one that is not made any more is stale.
WHOLE = ("clinical/categories", "clinical/warnings")


def stale(docs: Path, pages: dict[str, str]) -> list[str]:
    """The paths, below docs, of what differs from what should be there."""
    differ = [path for path, text in pages.items() if _text(docs / path) != text]
    left = [
        f"{folder}/{file.name}"
        for folder in WHOLE
        for file in sorted((docs / folder).glob("*.md"))
        if f"{folder}/{file.name}" not in pages
    ]
    return [*differ, *left]


def write(docs: Path, pages: dict[str, str]) -> list[str]:
    """Write what is stale, and remove what is no longer made; the paths of both."""
    changed = stale(docs, pages)
    for path in changed:
        file = docs / path
        if path in pages:
            file.parent.mkdir(parents=True, exist_ok=True)
            file.write_text(pages[path], encoding="utf-8", newline="\n")
        else:
            file.unlink()
    return changed


def main(arguments: list[str], docs: Path = DOCS) -> int:
    """Write, or check with --check; 1 where something was stale then, 2 for a wrong call."""
    if arguments not in ([], ["--check"]):
        print("usage: script/docs [--check]", file=sys.stderr)
        return 2
    known = knowledge()
    pages = documents(known) | {"record/data.md": dictionary_page(known)} | evidence_pages()
    if not arguments:
        for path in write(docs, pages):
            print(f"docs/{path}")
        return 0
    found = stale(docs, pages)
    for path in found:
        print(f"stale: docs/{path}; run script/docs", file=sys.stderr)
    return 1 if found else 0


def _text(file: Path) -> str | None:
    return file.read_text(encoding="utf-8") if file.is_file() else None


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
