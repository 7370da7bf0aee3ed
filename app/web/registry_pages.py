"""What the template of the registry's view may read."""

from dataclasses import dataclass

from app.language.words import _
from app.report.tally import Tally
from app.web.pages import Field, Page


@dataclass(frozen=True, kw_only=True)
class RegistryPage(Page):
    """registry.html.

    since, until: the months that were asked for, as typed. period: them in words. signed: how many
    signed exams are counted, in words, or "" where there is none. least: the smallest number that
    is told; 1 where all are. tallies: none where hardly any exam is signed.
    """

    since: Field
    until: Field
    period: str
    signed: str
    least: int
    tallies: tuple[Tally, ...]

    @property
    def refused(self) -> str:
        """Nothing was to be saved."""
        return _("Nothing was counted.")
