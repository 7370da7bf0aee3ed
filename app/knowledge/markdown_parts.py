"""The parts of a document: lists, links, claims and cases in Markdown."""

import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from app.knowledge.described import (
    CaseDescription,
    Claim,
    CodesDescription,
    Named,
    QualifierDescription,
)
from app.knowledge.linked import Words, capital, lower_words
from app.knowledge.load import Knowledge
from app.knowledge.mentions import label_of
from app.knowledge.outline import Outline

INDEX = "What Evenhand knows"
NUMBERS = "Numbers that rules compare with"
CHANGE = "What counts as change between two exams"
_REVIEW = (
    "Right as it stands: yes / no. What should change:",
    "Reviewed by ______________________________ on ______________",
)
_MADE = "<!-- Made by script/docs from app/knowledge. Change it there. -->"


@dataclass(frozen=True)
class Writer:
    """Writes parts of one document. up: the way from it to the folder of the index."""

    knowledge: Knowledge
    up: str = ""

    def page(self, title: str, *parts: str) -> str:
        """A whole document, with the way back to the index."""
        back = "" if title == INDEX else f"[{INDEX}]({self.up}README.md)"
        return "\n\n".join(part for part in (_MADE, f"# {title}", back, *parts) if part) + "\n"

    def reviewed_page(self, title: str, *parts: str) -> str:
        """The same with a line to sign."""
        return self.page(title, *parts, "## Review", *_REVIEW)

    def state(self, status: str) -> str:
        """Whether somebody reviewed it, and the version."""
        return f"State: {status}. Knowledge {self.knowledge.version}."

    def listed(self, outlines: Iterable[Outline]) -> str:
        """Conditions as lists."""
        return "\n".join(line for each in outlines for line in self._lines(each, 0))

    def _lines(self, each: Outline, depth: int) -> Iterator[str]:
        yield f"{'  ' * depth}- {self.text(each.words)}"
        for item in each.items:
            yield from self._lines(item, depth + 1)

    def claims(self, claims: tuple[Claim, ...]) -> str:
        """What something rests on, a claim a line."""
        return "\n".join(f"- {self._claim(each)}" for each in claims)

    def _claim(self, each: Claim) -> str:
        where = f", {each.where}" if each.where else ""
        source = f"{self.link(each.source)}{where}: " if each.source else ""
        return f"{each.claim} ({source}{each.standing}.)"

    def rests_on(self, claims: tuple[Claim, ...]) -> str:
        """The same in one paragraph, under what it is said of."""
        return f"Rests on: {' '.join(map(self._claim, claims))}" if claims else ""

    def told(self, name: str, rule: Outline, claims: tuple[Claim, ...] = ()) -> list[str]:
        """Something with its condition and what it rests on: in one paragraph if it is short."""
        rests = self.rests_on(claims)
        if rule.items:
            return [f"**{name}**, if:", self.listed([rule]), rests]
        return [f"**{name}**, if: {self.text(lower_words(rule.words))}. {rests}".rstrip()]

    def qualifiers(self, qualifiers: tuple[QualifierDescription, ...]) -> list[str]:
        """Closer descriptions with when they are given."""
        told = ["## Closer descriptions"] if qualifiers else []
        for each in qualifiers:
            at = f" (where it {each.at})" if each.at else ""
            told += self.told(f"{capital(each.label)}{at}", each.rule)
        return told

    def cases(
        self, cases: tuple[CaseDescription, ...], no_cases: tuple[str, ...] = ()
    ) -> list[str]:
        """Small invented exams with their answers."""
        told = []
        for case in cases:
            given = [f"Given: {'; '.join(case.given)}."] if case.given else []
            also = [f"{line}." for line in case.also]
            told += [f"**{case.name}**", *bullets("", [*given, *also, f"Then: {case.expects}"])]
        without = [f"No case for this answer. {reason}" for reason in no_cases]
        says = "Invented. What a case does not give is not known."
        return ["## Cases", says, *told, *without]

    def used(self, title: str, used_by: tuple[Named, ...]) -> list[str]:
        """What else speaks of something."""
        return [f"{title} {'; '.join(map(self.link, used_by))}."] if used_by else []

    def text(self, words: Words) -> str:
        """Words with their links."""
        return "".join(
            f"[{term.text}]({self._address(term.group, term.id)})" if term.group else term.text
            for term in words
        )

    def link(self, named: Named) -> str:
        """A link by its label."""
        return f"[{named.label}]({self._address(named.group, named.id)})"

    def _address(self, group: str, thing: str) -> str:
        match group:
            case "categories" | "warnings":
                return f"{self.up}{group}/{thing}.md"
            case "thresholds":
                return f"{self.up}norms.md#{anchor(NUMBERS)}"
            case "figures":
                return f"{self.up}norms.md#{anchor(CHANGE)}"
            case "falls":
                return f"{self.up}falls.md"
            case "about":
                return f"{self.up}../intended-use.md"
            case _:
                return f"{self.up}{group}.md#{anchor(label_of(group, thing, self.knowledge))}"


def bullets(title: str, points: Iterable[str]) -> list[str]:
    """A list under a title; nothing where there are no points."""
    lines = "\n".join(f"- {each}" for each in points)
    return [part for part in (title, lines) if part] if lines else []


def codes_told(codes: CodesDescription) -> list[str]:
    """The codes of a pattern, or why it has none."""
    if codes.none:
        return ["## Codes", f"{codes.none}."]
    rows = [
        f"| {each.code} | {each.title} | {each.suggested or '–'} "
        f"| {'; '.join(each.never_with) or '–'} |"
        for each in codes.offered
    ]
    head = f"| {codes.release} | | Offered at the review where | Never together with |"
    return ["## Codes", codes.says, "\n".join([head, "|---|---|---|---|", *rows])]


def anchor(heading: str) -> str:
    """The anchor that a heading gets where Markdown is shown as a page."""
    return re.sub(r"[^\w\- ]", "", heading.lower()).replace(" ", "-")


def sentence(text: str) -> str:
    """A note as a sentence; nothing for nothing."""
    return f"{capital(text).rstrip('.')}." if text else ""
