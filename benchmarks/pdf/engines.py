"""The other engines, each as a function that makes the file anew with every call.

Nothing of ours is imported here: whoever uses one of them has none of it in the process.
"""

import json
from collections.abc import Callable
from io import BytesIO
from pathlib import Path
from xml.sax.saxutils import escape

from benchmarks.pdf.blocks import Block, blocks

STATIC = Path(__file__).resolve().parents[2] / "static"
SIDE_MM = 20.6
Making = Callable[[], bytes]


def stock(html: str, **asked: str) -> Making:
    """WeasyPrint as its manual shows it first: untagged, everything read with each call."""
    from weasyprint import CSS, HTML

    def make() -> bytes:
        styles = [CSS(filename=STATIC / "report.css")]
        return bytes(
            HTML(string=html, base_url=f"{STATIC}/").write_pdf(stylesheets=styles, **asked)
        )

    return make


def stock_tagged(html: str) -> Making:
    """The same with the tags that ours has."""
    return stock(html, pdf_variant="pdf/ua-1")


def typst(html: str) -> Making:
    """Typst: the same texts and tables, laid out simply; it tags by itself."""
    import typst as engine

    source = _typst_source(blocks(html)).encode()
    return lambda: bytes(engine.compile(source))


def _typst_source(found: list[Block]) -> str:
    lines = ['#set page("a4", margin: 16mm)', "#set text(8.4pt)", "#set table(stroke: 0.2pt)"]
    for each in found:
        if each.kind == "table":
            cells = [
                f"table.cell(colspan: {columns}, {_quoted(text)})"
                for row in each.rows
                for text, columns in row
            ]
            lines.append(
                f"#table(columns: (1fr, {SIDE_MM}mm, {SIDE_MM}mm), inset: 1pt, {', '.join(cells)})"
            )
        else:
            level = {"h1": "= ", "h2": "== ", "p": ""}[each.kind]
            lines.append(f"{level}#{_quoted(each.text)}\n")
    return "\n".join(lines)


def _quoted(text: str) -> str:
    return json.dumps(text, ensure_ascii=False)


def reportlab(html: str) -> Making:
    """ReportLab: the same, by Platypus; untagged."""
    from reportlab.lib.pagesizes import A4
    from reportlab.lib.styles import getSampleStyleSheet
    from reportlab.lib.units import mm
    from reportlab.platypus import Flowable, Paragraph, SimpleDocTemplate, Table

    found, styles = blocks(html), getSampleStyleSheet()
    names = {"h1": "Heading1", "h2": "Heading2", "p": "BodyText"}
    width = A4[0] - 32 * mm - 2 * SIDE_MM * mm

    def table(block: Block) -> Flowable:
        rows: list[list[object]] = []
        spans = []
        for at, row in enumerate(block.rows):
            cells: list[object] = []
            for text, columns in row:
                if columns > 1:
                    spans.append(("SPAN", (len(cells), at), (len(cells) + columns - 1, at)))
                cells += [Paragraph(escape(text), styles["BodyText"]), *[""] * (columns - 1)]
            rows.append(cells)
        return Table(
            rows,
            colWidths=[width, SIDE_MM * mm, SIDE_MM * mm],
            style=[("LINEBELOW", (0, 0), (-1, -1), 0.2, "grey"), *spans],
        )

    def make() -> bytes:
        file = BytesIO()
        flow = [
            table(each)
            if each.kind == "table"
            else Paragraph(escape(each.text), styles[names[each.kind]])
            for each in found
        ]
        SimpleDocTemplate(file, pagesize=A4, margin=16 * mm).build(flow)
        return file.getvalue()

    return make


PEERS: dict[str, Callable[[str], Making]] = {
    "stock": stock,
    "stock tagged": stock_tagged,
    "Typst": typst,
    "ReportLab": reportlab,
}
# The package that each needs.
NEEDS = {"Typst": "typst", "ReportLab": "reportlab"}
