"""The help at a row of the sheet: the same text that the page about the exam shows."""

from dataclasses import dataclass

from app.exam.vocabulary import Finding
from app.knowledge.describe_help import DrawingDescription, describe_help
from app.knowledge.load import knowledge


@dataclass(frozen=True)
class HelpView:
    """What opens at a row. label: the finding in full, so that no two have the same name."""

    label: str
    parts: tuple[tuple[str, str], ...]
    basis: str
    drawing: DrawingDescription | None


def help_view(finding: Finding) -> HelpView | None:
    """The help for one finding; None where the question needs none."""
    told = describe_help(finding, knowledge())
    return HelpView(finding.label, told.parts, told.basis, told.drawing) if told else None
