"""What the knowledge files may hold: one strict model a kind of table."""

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from typing import Annotated, Literal

from pydantic import Field, model_validator

from app.knowledge.case import CategoryCase, WarningCase
from app.knowledge.table import (
    Answer,
    Id,
    Level,
    MaybePhrase,
    Phrase,
    Rule,
    Sentence,
    Standing,
    Suggestion,
    Table,
    Text,
    Urgency,
)
from app.language.words import N_, Spoken

STANDING_WORDS: Mapping[str, str] = Spoken(
    {
        "read": N_("read in the source"),
        "secondary": N_("read in a secondary copy"),
        "memory": N_("from memory, not yet checked against the source"),
        "common practice": N_("common practice, no source"),
    }
)


class Support(Table):
    """What a rule rests on: our paraphrase of the claim, and how far it was checked.

    Without a source it is common practice, or from memory.
    """

    claim: Phrase
    standing: Standing
    source: Id | None = None
    where: MaybePhrase = ""


class Source(Rule):
    """A published source; `standing` says how far the wording used here was checked."""

    citation: Text
    standing: Standing


class Threshold(Rule):
    """A number that conditions compare with."""

    value: int | Decimal
    unit: Text
    source: Id | None = None
    note: MaybePhrase = ""


class Norm(Rule):
    """A published norm by age band and sex."""

    label: Phrase
    source: Id
    standing: Standing
    note: MaybePhrase
    unit: Text
    ages: tuple[Annotated[str, Field(pattern=r"^[0-9]+-[0-9]+$")], ...]
    male: tuple[int | Decimal, ...]
    female: tuple[int | Decimal, ...]

    @model_validator(mode="after")
    def _number_for_each_band(self) -> "Norm":
        if not len(self.ages) == len(self.male) == len(self.female):
            raise ValueError("expected one number in male and in female for each of ages")
        return self

    def value(self, age: Decimal | None, sex: str | None) -> Decimal | None:
        """The norm for an age in years and a sex; None outside the published bands."""
        if age is None or sex is None:
            return None
        band = self.band(age)
        if band is None:
            return None
        return Decimal((self.male if sex == "male" else self.female)[self.ages.index(band)])

    def band(self, age: Decimal) -> str | None:
        """The published band of an age in years, as `70-74`; None outside all of them."""
        for band in self.ages:
            first, last = map(int, band.split("-"))
            if first <= int(age) <= last:
                return band
        return None


class Sign(Rule):
    """A derived sign: a condition with a name. `shown` ones are part of the assessment."""

    label: Phrase
    sides: Literal["pair", "one"]
    shown: bool = False
    limbs: tuple[str, ...] = ()
    when: Sentence
    support: tuple[Support, ...]


class KindValue(Rule):
    """One value of a kind, and when it holds."""

    label: Phrase
    when: Sentence


class Kind(Rule):
    """A derived sign that has one of several values; unknown while no value is sure."""

    label: Phrase
    sides: Literal["pair"]
    shown: bool = False
    limbs: tuple[str, ...] = ()
    values: tuple[KindValue, ...]
    support: tuple[Support, ...]


class Balance(Rule):
    """Whether the sums of grades are equal on both sides; unknown while one grade is.

    counted_where: a finding is counted on the side where the named sign holds, else as 0.
    """

    label: Phrase
    findings: tuple[Id, ...]
    counted_where: dict[Id, Id]
    support: tuple[Support, ...]


class Caution(Table):
    """A feature that argues against the usual cause of a category."""

    when: Sentence
    says: Phrase
    medicine: bool = False
    support: tuple[Support, ...]


class Qualifier(Rule):
    """A closer description of a category, given at the levels named (all listed ones if none)."""

    label: Phrase
    at: tuple[Level, ...] = ()
    when: Sentence


class CategoryStep(Rule):
    """A step that follows where a category fits (with or without cautions), or is listed."""

    at: Literal["fits", "listed"]
    qualifier: Id | None = None
    when: Sentence | None = None


class Category(Rule):
    """A pattern of signs: requirement, core signs, cautions.

    no_case: for an answer that no case gives, the reason why.
    """

    label: Phrase
    says: Phrase
    status: Literal["draft", "reviewed"]
    requires: Sentence = ""
    built_from_vocabulary: bool = False
    core: tuple[Sentence, ...] = ()
    explains: tuple[Sentence, ...] = ()
    misleads: tuple[Phrase, ...] = ()
    support: tuple[Support, ...]
    caution: tuple[Caution, ...] = ()
    qualifier: tuple[Qualifier, ...] = ()
    step: tuple[CategoryStep, ...] = ()
    case: tuple[CategoryCase, ...] = ()
    no_case: dict[Answer, Phrase] = Field(default_factory=dict)

    @property
    def qualifiers(self) -> dict[str, Qualifier]:
        """The qualifiers by id."""
        return {qualifier.id: qualifier for qualifier in self.qualifier}


class Tier(Table):
    """How urgent a warning is; the first tier that holds counts. Without `when` it always holds."""

    urgency: Urgency
    when: Sentence | None = None


class WarningQualifier(Rule):
    """A closer description of a warning."""

    label: Phrase
    when: Sentence


class WarningRule(Rule):
    """Something not to miss: signs, and a context in which they count.

    no_case: for an answer that no case gives, the reason why.
    """

    label: Phrase
    says: Phrase
    status: Literal["draft", "reviewed"]
    signs: Sentence
    context: Sentence | None = None
    tier: tuple[Tier, ...]
    steps: tuple[Id, ...] = ()
    qualifier: tuple[WarningQualifier, ...] = ()
    support: tuple[Support, ...]
    case: tuple[WarningCase, ...] = ()
    no_case: dict[Answer, Phrase] = Field(default_factory=dict)


class Follows(Table):
    """A condition from which a step follows by itself, and what is named as its cause.

    Of the categories named, those that fit are the cause.
    """

    when: Sentence
    because: tuple[Id, ...]


class Step(Rule):
    """Something to consider next.

    Beside what categories and warnings name, a step may follow from every warning of an urgency,
    from any hazard, or from anything that is open.
    """

    says: Suggestion
    urgency: Urgency | Literal["as cause"]
    support: tuple[Support, ...]
    follows: tuple[Follows, ...] = ()
    follows_urgency: Urgency | None = None
    follows_hazards: bool = False
    follows_open: bool = False


class Completion(Rule):
    """Further ways in which a condition holds: where it does whatever is unknown turns out to be.

    id: the name of the condition.
    """

    when: tuple[Sentence, ...]


class ConflictRule(Table):
    """Recorded values that contradict each other."""

    findings: tuple[Id, ...]
    limbs: tuple[str, ...] = ()
    paired: bool = False
    when: Sentence
    says: Phrase


class MedicineClass(Rule):
    """The ingredients of one class."""

    words: Phrase
    source: Id | None = None
    standing: Standing
    weak: tuple[Text, ...] = ()
    ingredients: tuple[Text, ...]


class Spellings(Table):
    """Other spellings of an ingredient."""

    spellings: dict[str, tuple[Text, ...]]


@dataclass(frozen=True, eq=False)
class Medicines:
    """The medicine classes, and other spellings of their ingredients."""

    classes: Mapping[str, MedicineClass]
    spellings: Mapping[str, tuple[str, ...]]


class Index(Table):
    """The version, and the order in which categories, warnings and practice cases are listed."""

    version: Text
    categories: tuple[Id, ...]
    warnings: tuple[Id, ...]
    practice: tuple[Id, ...]
