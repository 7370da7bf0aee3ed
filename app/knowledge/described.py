"""What a page or a document says of each thing that is known: everything in words, no ids to read.

Ids stand only where a link needs one: `group` and `id` together name the place that it leads to.
"""

from dataclasses import dataclass

from app.knowledge.linked import Words
from app.knowledge.outline import Outline


@dataclass(frozen=True)
class Named:
    """Something with a page or a place of its own, by its label."""

    group: str
    id: str
    label: str


@dataclass(frozen=True)
class Claim:
    """What something rests on. standing: how far it was checked, where there is a source."""

    claim: str
    standing: str
    source: Named | None
    citation: str
    where: str


@dataclass(frozen=True)
class CaseDescription:
    """A small invented exam and what the rule must say of it.

    given: one finding a line. also: what is not there, told together.
    """

    name: str
    given: tuple[str, ...]
    also: tuple[str, ...]
    expects: str


@dataclass(frozen=True)
class CautionDescription:
    """What argues against the usual cause of a pattern."""

    says: str
    rule: Outline
    claims: tuple[Claim, ...]


@dataclass(frozen=True)
class QualifierDescription:
    """A closer description, and when it is given. at: at which levels, nothing for all."""

    label: str
    rule: Outline
    at: str = ""


@dataclass(frozen=True)
class StepOf:
    """A step that follows from a rule. when: in which case, nothing where always."""

    step: Named
    when: Words


@dataclass(frozen=True)
class CodeDescription:
    """A code with its title. never_with: notes of the classification on what excludes it.

    suggested: when it is offered at the review, in words; "" for never.
    """

    code: str
    title: str
    suggested: str
    never_with: tuple[str, ...]


@dataclass(frozen=True)
class CodesDescription:
    """The codes that may be offered with a pattern. none: why there are none."""

    says: str
    release: str
    offered: tuple[CodeDescription, ...]
    none: str


@dataclass(frozen=True)
class CategoryDescription:
    """One pattern. explains: the findings that it accounts for."""

    id: str
    label: str
    says: str
    status: str
    sentence: str
    rule: Outline | None
    core: tuple[Outline, ...]
    cautions: tuple[CautionDescription, ...]
    qualifiers: tuple[QualifierDescription, ...]
    steps: tuple[StepOf, ...]
    explains: tuple[str, ...]
    misleads: tuple[str, ...]
    claims: tuple[Claim, ...]
    codes: CodesDescription
    cases: tuple[CaseDescription, ...]
    no_cases: tuple[str, ...]
    used_by: tuple[Named, ...]


@dataclass(frozen=True)
class TierDescription:
    """How urgent a warning is. rule: None where it is so in every other case."""

    urgency: str
    rule: Outline | None


@dataclass(frozen=True)
class WarningDescription:
    """One warning: its signs, the context in which they count, and how urgent it is."""

    id: str
    label: str
    says: str
    status: str
    signs: Outline
    context: Outline | None
    tiers: tuple[TierDescription, ...]
    qualifiers: tuple[QualifierDescription, ...]
    steps: tuple[Named, ...]
    claims: tuple[Claim, ...]
    cases: tuple[CaseDescription, ...]
    no_cases: tuple[str, ...]
    used_by: tuple[Named, ...]


@dataclass(frozen=True)
class BranchDescription:
    """One branch of the falls group; the first that holds counts. rule: None for all the rest."""

    level: str
    urgency: str
    says: str
    rule: Outline | None


@dataclass(frozen=True)
class HazardDescription:
    """Something that makes a fall more likely or worse."""

    id: str
    label: str
    rule: Outline
    claims: tuple[Claim, ...]


@dataclass(frozen=True)
class FallsDescription:
    """The falls group with its hazards."""

    label: str
    says: str
    caveat: str
    status: str
    branches: tuple[BranchDescription, ...]
    steps: tuple[StepOf, ...]
    hazards: tuple[HazardDescription, ...]
    claims: tuple[Claim, ...]
    cases: tuple[CaseDescription, ...]


@dataclass(frozen=True)
class KindDescription:
    """One value that a sign may have, and when it has it."""

    label: str
    rule: Outline


@dataclass(frozen=True)
class SignDescription:
    """A sign that is put together from findings.

    judged: on which sides. A sign has a rule, or it has one of several values, or it compares sums
    of grades (`counted`).
    """

    id: str
    label: str
    judged: str
    rule: Outline | None
    values: tuple[KindDescription, ...]
    counted: tuple[str, ...]
    claims: tuple[Claim, ...]
    used_by: tuple[Named, ...]


@dataclass(frozen=True)
class StepDescription:
    """Something to consider, and what it follows from."""

    id: str
    says: str
    urgency: str
    follows: tuple[Words, ...]
    claims: tuple[Claim, ...]


@dataclass(frozen=True)
class Ingredient:
    """One ingredient. spellings: other names for it; is_weak: its association is a weak one."""

    name: str
    spellings: tuple[str, ...]
    is_weak: bool


@dataclass(frozen=True)
class MedicineClassDescription:
    """The ingredients that a rule means when it speaks of such a medicine."""

    id: str
    label: str
    ingredients: tuple[Ingredient, ...]
    source: Named | None
    citation: str
    standing: str
    used_by: tuple[Named, ...]


@dataclass(frozen=True)
class NormDescription:
    """A published norm: (ages, men, women) for each band."""

    id: str
    label: str
    unit: str
    note: str
    bands: tuple[tuple[str, str, str], ...]
    source: Named
    citation: str
    standing: str
    used_by: tuple[Named, ...]


@dataclass(frozen=True)
class ThresholdDescription:
    """A number that conditions compare with, and the comparisons in words."""

    id: str
    number: str
    compared: tuple[str, ...]
    note: str
    source: Named | None
    citation: str
    standing: str
    used_by: tuple[Named, ...]


@dataclass(frozen=True)
class FigureDescription:
    """What counts as change of a measured value. means: what the figure says of a difference."""

    id: str
    label: str
    number: str
    means: str
    population: str
    source: Named
    standing: str


@dataclass(frozen=True)
class SourceDescription:
    """A published source, and what rests on it."""

    id: str
    label: str
    citation: str
    standing: str
    used_by: tuple[Named, ...]


@dataclass(frozen=True)
class SectionDescription:
    """One section of the intended use."""

    title: str
    text: tuple[str, ...]
    points: tuple[str, ...]
    claims: tuple[Claim, ...]
