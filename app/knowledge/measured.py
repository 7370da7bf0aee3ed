"""What is said beside a timed or measured value: numbers worked out from it, norms and cutoffs."""

from collections.abc import Iterator, Mapping

from pydantic import model_validator

from app.exam.measures import QUANTITIES
from app.exam.vocabulary import Scale
from app.knowledge.conditions import Place
from app.knowledge.files import BadKnowledge
from app.knowledge.names import Names
from app.knowledge.table import Id, MaybePhrase, Rule, Sentence, Standing
from app.logic.expression import Atom, Expression

FILE = "measured.toml"


class MeasuredLine(Rule):
    """One line below the row of a finding: a number, a number with its norm, or a comparison.

    only: when it is shown. standing: how far the figure that `when` compares with was checked;
    None where that is a norm, which has its own. named: what a figure without a source is called
    after.
    """

    at: Id
    only: Sentence | None = None
    number: Id | None = None
    norm: Id | None = None
    when: Sentence | None = None
    says: MaybePhrase = ""
    standing: Standing | None = None
    named: MaybePhrase = ""

    @model_validator(mode="after")
    def _one_kind(self) -> "MeasuredLine":
        if (self.number is None) == (self.when is None):
            raise ValueError("expected number or when, and not both")
        if self.norm is not None and self.number is None:
            raise ValueError("expected number beside norm")
        if bool(self.says) != (self.when is not None or self.norm is not None):
            raise ValueError("expected says beside when or norm, and nowhere else")
        return self


def places_of_line(line: MeasuredLine) -> Iterator[Place]:
    """Where conditions stand in a line."""
    yield FILE, line.id, "only", line.only
    yield FILE, line.id, "when", line.when


def check_measured(
    lines: Mapping[str, MeasuredLine], names: Names, conditions: Mapping[str, Expression]
) -> None:
    """Check what a line names.

    Raises: BadKnowledge.
    """
    for line in lines.values():
        finding = names.vocabulary.get(line.at)
        if finding is None or finding.scale not in (Scale.COUNT, Scale.NUMBER) or finding.paired:
            raise _fault(line, "at", f"{line.at} is not a count or number without sides")
        if line.number is not None and line.number not in QUANTITIES:
            known = ", ".join(QUANTITIES)
            raise _fault(line, "number", f"{line.number} is not worked out; expected {known}")
        if line.norm is not None and line.norm not in names.norms:
            raise _fault(line, "norm", f"{line.norm} is not in norms.toml")
        if line.when is not None:
            _check_comparison(line, names, conditions[line.when])


def _check_comparison(line: MeasuredLine, names: Names, compared: Expression) -> None:
    if not isinstance(compared, Atom) or compared.relation not in ("<", "<=", ">", ">="):
        raise _fault(line, "when", "expected one comparison, as `tug_s >= tug_at_risk`")
    if (line.standing is None) != (compared.operands[0] in names.norms):
        raise _fault(line, "standing", "expected beside a threshold, and not beside a norm")


def _fault(line: MeasuredLine, key: str, problem: str) -> BadKnowledge:
    return BadKnowledge(f"{FILE}: {line.id}: {key}: {problem}")
