"""Write the help at the row out as a document for a reviewer."""

from app.knowledge.describe_help import describe_help_stations
from app.knowledge.markdown_parts import Writer, bullets

_HELP = """\
The same texts open beside each row of the sheet. They say how a finding is examined, what it looks
like and what it is mistaken for. A source stands for what its claim says; the rest of a text is
common practice."""


def help_page(write: Writer) -> str:
    """Each text beside what it rests on."""
    parts = [_HELP]
    for station in describe_help_stations(write.knowledge):
        parts += [f"## {station.label}"]
        for text in station.texts:
            parts.append(f"### {text.label}")
            parts += bullets("", (f"**{title}:** {says}" for title, says in text.parts))
            parts.append(f"Drawing: {text.drawing.says}" if text.drawing else "")
            parts.append(write.rests_on(text.claims) or f"{text.basis}.")
    return write.reviewed_page("How each sign is examined", *parts)
