"""Which finding has a watch on the sheet, of which kind, and for how many seconds."""

from collections.abc import Mapping
from itertools import pairwise
from typing import Annotated, Literal

from pydantic import Field, model_validator

from app.exam.vocabulary import Scale, Vocabulary
from app.knowledge.files import BadKnowledge
from app.knowledge.table import Id, MaybePhrase, Rule, Standing

FILE = "watches.toml"
Kind = Literal["stopwatch", "count", "reminder"]
# What must be recorded in a finding for a watch of this kind to stand beside it.
_SCALES: Mapping[Kind, Scale] = {
    "stopwatch": Scale.NUMBER,
    "count": Scale.COUNT,
    "reminder": Scale.NUMBER,
}


class Watch(Rule):
    """A watch. id: the finding beside which it stands.

    seconds: how long a count lasts, or when a reminder speaks. counts: the finding that may be
    counted while a stopwatch runs. standing: how far the seconds were checked.
    """

    kind: Kind
    seconds: tuple[Annotated[int, Field(gt=0)], ...] = ()
    counts: Id | None = None
    source: str | None = None
    standing: Standing | None = None
    says: MaybePhrase = ""

    @model_validator(mode="after")
    def _fits_its_kind(self) -> "Watch":
        is_one = len(self.seconds) == 1
        rises = bool(self.seconds) and all(one < other for one, other in pairwise(self.seconds))
        fits = {"stopwatch": not self.seconds, "count": is_one, "reminder": rises}
        if not fits[self.kind]:
            raise ValueError(
                "expected no seconds for a stopwatch, one number for a count, "
                "rising ones for a reminder"
            )
        if self.counts and self.kind != "stopwatch":
            raise ValueError("expected counts beside a stopwatch only")
        if bool(self.seconds) != (self.standing is not None):
            raise ValueError("expected standing beside seconds, and nowhere else")
        if (self.source is None) != (self.standing in (None, "common practice")):
            raise ValueError("expected a source, or the standing common practice")
        return self


def check_watches(watches: Mapping[str, Watch], vocabulary: Vocabulary) -> None:
    """Check the findings that watches name.

    Raises: BadKnowledge.
    """
    for watch in watches.values():
        finding = vocabulary.get(watch.id)
        if finding is None or finding.scale is not _SCALES[watch.kind]:
            expected = f"a finding that is a {_SCALES[watch.kind].value}"
            raise _fault(watch, "kind", f"a {watch.kind} stands beside {expected}")
        if watch.kind == "stopwatch" and finding.unit != "s":
            raise _fault(watch, "kind", "a stopwatch gives seconds")
        counted = vocabulary.get(watch.counts) if watch.counts else None
        if watch.counts and (counted is None or counted.scale is not Scale.COUNT or counted.paired):
            raise _fault(watch, "counts", f"{watch.counts} is not a count without sides")


def _fault(watch: Watch, key: str, problem: str) -> BadKnowledge:
    return BadKnowledge(f"{FILE}: {watch.id}: {key}: {problem}")
