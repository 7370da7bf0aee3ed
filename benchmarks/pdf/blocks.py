"""The texts and tables of a page of HTML, for engines that read none."""

from dataclasses import dataclass, field
from html.parser import HTMLParser

KEPT = ("h1", "h2", "p")


@dataclass(frozen=True)
class Block:
    """A heading (h1, h2), a paragraph (p) or a table, whose rows are (text, columns) a cell."""

    kind: str
    text: str = ""
    rows: list[list[tuple[str, int]]] = field(default_factory=list)


class _Reader(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.blocks: list[Block] = []
        self.rows: list[list[tuple[str, int]]] | None = None
        self.words: list[str] = []
        self.columns = 1

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        if tag == "table":
            self.rows = []
        elif tag == "tr" and self.rows is not None:
            self.rows.append([])
        elif tag in ("td", "th"):
            self.columns = int(dict(attrs).get("colspan") or 1)
            self.words = []
        elif tag in KEPT:
            self.words = []

    def handle_endtag(self, tag: str) -> None:
        text = " ".join("".join(self.words).split())
        if tag == "table" and self.rows is not None:
            self.blocks.append(Block("table", rows=self.rows))
            self.rows = None
        elif tag in ("td", "th") and self.rows:
            self.rows[-1].append((text, self.columns))
        elif tag in KEPT and text:
            self.blocks.append(Block(tag, text))

    def handle_data(self, data: str) -> None:
        self.words.append(data)


def blocks(html: str) -> list[Block]:
    """The texts and tables of the page in their order."""
    reader = _Reader()
    reader.feed(html.split("<body", 1)[1].split(">", 1)[1])
    return reader.blocks
