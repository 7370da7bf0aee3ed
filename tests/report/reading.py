"""Read a sample's PDF back: its text, where each word stands, and what the file holds."""

import re
import subprocess
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from io import BytesIO
from pathlib import Path
from typing import Any

from pypdf import PdfReader

from app.knowledge.load import knowledge
from app.report.pdf import pdf
from tests.report.samples import (
    amendment,
    emergency_exam,
    nasty_report,
    normal_exam,
    nurse_exam,
    one_sided_exam,
    questioned_exam,
    report,
    signed_report,
    whole_exam,
)

ROOT = Path(__file__).parents[2]
SAMPLES = {
    "normal": lambda: report(normal_exam()),
    "one_sided": lambda: report(one_sided_exam(), demo=True, bulk_stations=("rest", "tone")),
    "nurse": lambda: report(nurse_exam()),
    "emergency": lambda: report(emergency_exam()),
    "questioned": lambda: report(questioned_exam()),
    "whole": lambda: report(whole_exam()),
    "signed": lambda: signed_report(one_sided_exam()),
    "amended": lambda: signed_report(
        one_sided_exam(), amendment(1), amendment(2), amendment(3), demo=True
    ),
    "nasty": nasty_report,
}


@cache
def rendered(name: str) -> bytes:
    """One sample as PDF; rendering takes longer than all that is asked of it."""
    return pdf(SAMPLES[name](), knowledge())


def opened(name: str) -> PdfReader:
    """A sample, opened."""
    return PdfReader(BytesIO(rendered(name)))


def words_of(content: bytes) -> list[str]:
    """The text of each page with its line breaks evened out."""
    pages = PdfReader(BytesIO(content)).pages
    return [" ".join(page.extract_text().split()) for page in pages]


def pages(name: str) -> list[str]:
    """The text of each page of a sample.

    A glyph that no font has makes WeasyPrint write an encoding that pypdf 7.1 cannot read, so the
    nasty sample, which has some, is read by another reader.
    """
    if name != "nasty":
        return words_of(rendered(name))
    return [" ".join(page.split()) for page in poppler("nasty").split("\f")[:-1]]


def poppler(name: str, *options: str) -> str:
    """What pdftotext reads in a sample; it tears pictograms apart where text runs right to left."""
    command = ["pdftotext", *options, "-", "-"]
    read = subprocess.run(command, input=rendered(name), check=True, capture_output=True)
    return read.stdout.decode(errors="replace")


def placed(content: bytes, page: int) -> list[tuple[float, float, str]]:
    """Every piece of text on a page with the place where it begins."""
    found: list[tuple[float, float, str]] = []

    def visit(text: str, cm: list[float], tm: list[float], *_: object) -> None:
        if text.strip():
            x = tm[4] * cm[0] + cm[4]
            y = tm[5] * cm[3] + cm[5]
            found.append((round(x, 1), round(y, 1), text.strip()))

    PdfReader(BytesIO(content)).pages[page].extract_text(visitor_text=visit)
    return found


def cells_by_side(content: bytes, page: int) -> dict[tuple[str, str], str]:
    """Every cell of a page's tables by its row and by the heading that it stands under."""
    texts = placed(content, page)
    headings = {x: text for x, _, text in texts if text in ("RIGHT", "LEFT")}
    found = {}
    for x, y, text in texts:
        if x in headings and text not in ("RIGHT", "LEFT"):
            before = [piece for piece in texts if piece[1] == y and x - 186 < piece[0] < x]
            found[min(before)[2], headings[x]] = text
    return found


def font_descriptors(reader: PdfReader) -> Iterator[Any]:
    """Every font descriptor in the file."""
    trailer: Any = reader.trailer
    for number in range(1, int(trailer["/Size"])):
        held: Any = reader.get_object(number)
        if isinstance(held, dict) and held.get("/Type") == "/FontDescriptor":
            yield held


def embedded(descriptor: Any) -> bool:
    """Whether the font's own bytes are in the file."""
    return any(key in descriptor for key in ("/FontFile", "/FontFile2", "/FontFile3"))


@dataclass(frozen=True)
class Box:
    """One word on a page, in points from the top left."""

    text: str
    left: float
    top: float
    right: float
    bottom: float

    def covers(self, other: "Box") -> bool:
        """Whether the two stand on top of each other by more than a hair."""
        across = min(self.right, other.right) - max(self.left, other.left)
        down = min(self.bottom, other.bottom) - max(self.top, other.top)
        # Lines may share a little of their height: a box is as tall as the font's tallest letter.
        return across > 1 and down > 0.4 * min(self.bottom - self.top, other.bottom - other.top)


def boxes(name: str) -> list[list[Box]]:
    """The words of each page of a sample with their places."""
    word = re.compile(
        r'<word xMin="(.+?)" yMin="(.+?)" xMax="(.+?)" yMax="(.+?)">(.*?)</word>', re.DOTALL
    )
    return [
        [
            Box(text, float(left), float(top), float(right), float(bottom))
            for left, top, right, bottom, text in word.findall(page)
        ]
        for page in poppler(name, "-bbox").split("<page ")[1:]
    ]
