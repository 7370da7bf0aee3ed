"""Narrative: plain XHTML in which everything that somebody typed stays text."""

from collections.abc import Sequence
from html import escape

from app.report.fhir.terms import Json
from app.report.grid import Row
from app.report.phrases import clean, clean_lines

# Characters that are no control characters and that XML does not allow all the same.
_NOT_IN_XML = {0xFFFE: None, 0xFFFF: None}


def plain(text: str) -> str:
    """One line of text as FHIR and XML can hold it."""
    return clean(text).translate(_NOT_IN_XML)


def plain_lines(text: str) -> tuple[str, ...]:
    """Several lines, each as FHIR and XML can hold it."""
    return tuple(line.translate(_NOT_IN_XML) for line in clean_lines(text))


def written(text: str) -> str:
    """Text between two tags."""
    return escape(plain(text), quote=False)


def paragraph(text: str) -> str:
    """One paragraph; nothing for no text."""
    return f"<p>{written(text)}</p>" if plain(text) else ""


def labelled(label: str, text: str) -> str:
    """A paragraph behind a label; nothing for no text."""
    return f"<p><b>{written(label)}:</b> {written(text)}</p>" if plain(text) else ""


def items(lines: Sequence[str]) -> str:
    """A list; nothing for no lines."""
    return f"<ul>{''.join(f'<li>{written(line)}</li>' for line in lines)}</ul>" if lines else ""


def grid(rows: Sequence[Row]) -> str:
    """Findings with a RIGHT and a LEFT column; a finding without sides takes both."""
    if not rows:
        return ""
    head = (
        "<tr><th>Finding</th><th>RIGHT (the patient’s right)</th>"
        "<th>LEFT (the patient’s left)</th></tr>"
    )
    return f"<table><thead>{head}</thead><tbody>{''.join(map(_row, rows))}</tbody></table>"


def _row(row: Row) -> str:
    if len(row.cells) == 1:
        cells = f'<td colspan="2">{written(row.cells[0].words)}</td>'
    else:
        cells = "".join(f"<td>{written(cell.words)}</td>" for cell in row.cells)
    return f"<tr><td>{written(row.label)}</td>{cells}</tr>"


def narrative(*parts: str) -> Json:
    """The parts as one narrative, which says more than the coded content."""
    return {
        "status": "additional",
        "div": f'<div xmlns="http://www.w3.org/1999/xhtml">{"".join(parts)}</div>',
    }
