"""What an assessment says to another program at the bedside, as CDS Hooks 2.0 cards.

A card's summary has fewer than 140 characters, its indicator is one of three words, and it names
its source (cds-hooks.hl7.org/2.0). Nothing here is an order: a card has no suggestion to accept.
"""

from collections.abc import Iterator, Sequence
from typing import Any
from uuid import NAMESPACE_URL, uuid5

from app.assess.assessment import FITS, Assessment, CategoryFound, Reason, WarningRaised
from app.assess.words import DISCLAIMER, fall_level_words, urgency_words
from app.exam.vocabulary import vocabulary
from app.knowledge.load import Knowledge
from app.language.words import _, ngettext
from app.report.phrases import by_finding, capital, folded
from app.report.summary import category_head

# Fewer than 140, by the standard.
LONGEST_SUMMARY = 139
# More at once are not read: the sheet's own panel shows as many.
MOST_WARNINGS = 3
INDICATORS = {"emergency": "critical", "same_day": "warning", "soon": "warning", "routine": "info"}
Card = dict[str, Any]


def cards(
    assessment: Assessment, knowledge: Knowledge, *, instance: str, address: str
) -> list[Card]:
    """The cards of one assessment, the most urgent first.

    Every emergency, at most three other warnings, the patterns in one card, and the falls group.
    instance: the call's own id, so that a card can be named in a log and two calls differ.
    address: where this program's pages are reached, "" where that is not set.
    """
    writer = _Writer(assessment, knowledge, instance, address)
    raised = [each for each in assessment.warnings if each is not assessment.fall_risk]
    urgent = [each for each in raised if each.urgency == "emergency"]
    others = [each for each in raised if each.urgency != "emergency"]
    made = [writer.warning(each) for each in (*urgent, *others[:MOST_WARNINGS])]
    if others[MOST_WARNINGS:]:
        made.append(writer.more(others[MOST_WARNINGS:]))
    made += writer.patterns()
    return [*made, writer.falls()]


class _Writer:
    """Writes the cards of one assessment."""

    def __init__(
        self, assessment: Assessment, knowledge: Knowledge, instance: str, address: str
    ) -> None:
        self.assessment, self.knowledge = assessment, knowledge
        self.instance, self.address = instance, address.rstrip("/")

    def warning(self, raised: WarningRaised) -> Card:
        """One warning with its reasons and what it asks to consider."""
        rule = self.knowledge.warnings[raised.id]
        urgency = capital(urgency_words(raised.urgency))
        return self._card(
            raised.id,
            f"{urgency}: {rule.label}",
            INDICATORS[raised.urgency],
            [
                rule.says,
                self._line(_("Because"), raised.because),
                self._line(_("Not examined, and could change it"), raised.missing),
                self._steps(raised.id),
            ],
            raised.sources,
            f"/knowledge/warnings/{raised.id}",
        )

    def more(self, left: Sequence[WarningRaised]) -> Card:
        """The warnings beyond the first, by name."""
        labels = [self.knowledge.warnings[each.id].label for each in left]
        counted = (
            _("1 more warning")
            if len(left) == 1
            else _("{left} more warnings").format(left=len(left))
        )
        return self._card("more", counted, "info", ["; ".join(labels)], (), "/knowledge")

    def patterns(self) -> Iterator[Card]:
        """The patterns that the signs fit, each a card; those that are open or partial in one."""
        listed = self.assessment.listed
        for found in listed:
            if found.level in FITS:
                yield self._pattern(found)
        if unsettled := [found for found in listed if found.level not in FITS]:
            heads = [self._head(found) for found in unsettled]
            counted = ngettext(
                "{number} pattern is not settled by what was examined",
                "{number} patterns are not settled by what was examined",
                len(heads),
            ).format(number=len(heads))
            asked = ", ".join(
                vocabulary()[each.finding].label for each in self.assessment.check_next[:3]
            )
            yield self._card(
                "unsettled",
                counted,
                "info",
                ["; ".join(heads), _("Examine next: {asked}").format(asked=asked) if asked else ""],
                (),
                "/knowledge",
            )

    def falls(self) -> Card:
        """The falls group with its caveat."""
        raised, rule = self.assessment.fall_risk, self.knowledge.fall_risk
        return self._card(
            rule.id,
            _("Falls group: {level}").format(level=fall_level_words(raised.level or "open")),
            "info",
            [
                rule.says,
                rule.caveat,
                self._line(_("Because"), raised.because),
                self._line(_("Not asked or tested"), raised.missing),
                self._steps(rule.id),
            ],
            raised.sources,
            "/knowledge/falls",
        )

    def _pattern(self, found: CategoryFound) -> Card:
        return self._card(
            found.id,
            self._head(found),
            "info",
            [
                self.knowledge.categories[found.id].says,
                self._line(_("For"), found.reasons_for),
                self._line(_("Against"), found.against),
                self._line(_("Not examined, and could change it"), found.missing),
                self._steps(found.id),
            ],
            found.sources,
            f"/knowledge/categories/{found.id}",
        )

    def _head(self, found: CategoryFound) -> str:
        return (
            f"{self.knowledge.categories[found.id].label}: {category_head(found, self.knowledge)}"
        )

    def _line(self, title: str, reasons: Sequence[Reason]) -> str:
        words = "; ".join(folded(by_finding(reasons, self.knowledge)))
        return f"{title}: {words}" if words else ""

    def _steps(self, cause: str) -> str:
        steps = [
            self.knowledge.steps[step.id].says
            for step in self.assessment.next_steps
            if cause in step.because
        ]
        return "; ".join(steps)

    def _card(
        self,
        name: str,
        summary: str,
        indicator: str,
        lines: Sequence[str],
        sources: Sequence[str],
        path: str,
    ) -> Card:
        cited = "; ".join(self.knowledge.sources[each].citation for each in sources)
        detail = [
            *lines,
            _("Sources: {cited}").format(cited=cited) if cited else _("No published source."),
            DISCLAIMER,
        ]
        source = {
            "label": _("Evenhand, knowledge {knowledge}").format(
                knowledge=self.assessment.knowledge
            )
        }
        if self.address:
            source["url"] = f"{self.address}{path}"
        return {
            "uuid": str(uuid5(NAMESPACE_URL, f"evenhand:{self.instance}:{name}")),
            "summary": _cut(summary),
            "detail": "\n\n".join(_escaped(line) for line in detail if line),
            "indicator": indicator,
            "source": source,
        }


def _cut(text: str) -> str:
    return text if len(text) <= LONGEST_SUMMARY else f"{text[: LONGEST_SUMMARY - 1].rstrip()}…"


def _escaped(text: str) -> str:
    """Text as Markdown that shows it as it is; a medicine's name is typed by somebody."""
    return "".join(f"\\{letter}" if letter in "\\`*_{}[]<>#|~!" else letter for letter in text)
