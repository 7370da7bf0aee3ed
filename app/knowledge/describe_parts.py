"""Describe what the rules are made of: signs, medicine classes, norms, thresholds and sources."""

from app.exam.units import counted
from app.exam.vocabulary import vocabulary
from app.knowledge.course import FIGURE_WORDS, Figure
from app.knowledge.describe import claims
from app.knowledge.described import (
    FigureDescription,
    Ingredient,
    KindDescription,
    MedicineClassDescription,
    NormDescription,
    SignDescription,
    SourceDescription,
    ThresholdDescription,
)
from app.knowledge.linked import lower_whole
from app.knowledge.load import Knowledge
from app.knowledge.mentions import (
    compared,
    label_of,
    measure_label,
    named,
    short_name,
    sources_named,
    used_by,
)
from app.knowledge.model import STANDING_WORDS, Kind, MedicineClass, Norm, Sign, Source, Threshold
from app.knowledge.outline import outline
from app.knowledge.words import unit_words
from app.language.numbers import figures
from app.language.words import N_, Spoken, _

_JUDGED = Spoken({"pair": N_("Judged on each side."), "one": N_("Judged once.")})
# A class without a source says so by its standing; a threshold without one says so in its note.
_NO_SOURCE = N_("no published source")


def sign_ids(knowledge: Knowledge) -> tuple[str, ...]:
    """Everything that is described as a sign, in the order of the knowledge."""
    return (*knowledge.signs, *knowledge.kinds, *knowledge.balances)


def describe_sign(sign_id: str, knowledge: Knowledge) -> SignDescription:
    """A sign by its id: one with a rule, one with several values, or a comparison of sums.

    Raises: KeyError.
    """
    sign: Sign | Kind | None = knowledge.signs.get(sign_id) or knowledge.kinds.get(sign_id)
    conditions = knowledge.conditions
    if sign is None:
        return _describe_balance(sign_id, knowledge)
    values = sign.values if isinstance(sign, Kind) else ()
    return SignDescription(
        id=sign.id,
        label=sign.label,
        judged=_JUDGED[sign.sides],
        rule=outline(conditions[sign.when], knowledge) if isinstance(sign, Sign) else None,
        values=tuple(
            KindDescription(value.label, outline(conditions[value.when], knowledge))
            for value in values
        ),
        counted=(),
        claims=claims(sign.support, knowledge),
        used_by=used_by(knowledge, "signs", sign.id),
    )


def _describe_balance(sign_id: str, knowledge: Knowledge) -> SignDescription:
    balance = knowledge.balances[sign_id]
    words = vocabulary()
    counted = [words[finding].label for finding in balance.findings]
    counted += [
        _("{label}, counted where there is: {knowledge}").format(
            label=words[finding].label, knowledge=lower_whole(label_of("signs", sign, knowledge))
        )
        for finding, sign in balance.counted_where.items()
    ]
    return SignDescription(
        id=balance.id,
        label=balance.label,
        judged=_("The sums of the grades on the right and on the left are equal."),
        rule=None,
        values=(),
        counted=tuple(counted),
        claims=claims(balance.support, knowledge),
        used_by=used_by(knowledge, "signs", balance.id),
    )


def describe_medicine_class(
    medicine_class: MedicineClass, knowledge: Knowledge
) -> MedicineClassDescription:
    """The medicines of one class."""
    source = medicine_class.source
    return MedicineClassDescription(
        id=medicine_class.id,
        label=label_of("medicines", medicine_class.id, knowledge),
        ingredients=tuple(
            Ingredient(
                name,
                knowledge.medicines.spellings.get(name, ()),
                name in medicine_class.weak,
            )
            for name in medicine_class.ingredients
        ),
        source=named("sources", source, knowledge) if source else None,
        citation=knowledge.sources[source].citation if source else "",
        standing=STANDING_WORDS[medicine_class.standing],
        used_by=used_by(knowledge, "medicines", medicine_class.id),
    )


def describe_norm(norm: Norm, knowledge: Knowledge) -> NormDescription:
    """One norm by age and sex."""
    return NormDescription(
        id=norm.id,
        label=norm.label,
        unit=unit_words(norm.unit),
        note=norm.note,
        bands=tuple(
            (ages.replace("-", _(" to ")), str(male), str(female))
            for ages, male, female in zip(norm.ages, norm.male, norm.female, strict=True)
        ),
        source=named("sources", norm.source, knowledge),
        citation=knowledge.sources[norm.source].citation,
        standing=STANDING_WORDS[norm.standing],
        used_by=used_by(knowledge, "norms", norm.id),
    )


def describe_threshold(threshold: Threshold, knowledge: Knowledge) -> ThresholdDescription:
    """A number with its unit, and what is compared with it."""
    source = knowledge.sources[threshold.source] if threshold.source else None
    return ThresholdDescription(
        id=threshold.id,
        number=_number(threshold),
        compared=compared(knowledge, threshold.id),
        note=sources_named(threshold.note, knowledge),
        source=named("sources", source.id, knowledge) if source else None,
        citation=source.citation if source else "",
        standing=STANDING_WORDS[source.standing] if source else _(_NO_SOURCE),
        used_by=used_by(knowledge, "thresholds", threshold.id),
    )


def _number(threshold: Threshold) -> str:
    # One fall, two falls.
    falls = threshold.unit.startswith("falls")
    unit = counted(threshold.unit, threshold.value) if falls else unit_words(threshold.unit)
    return f"{figures(threshold.value)} {unit}"


def describe_figure(figure: Figure, knowledge: Knowledge) -> FigureDescription:
    """What counts as change of a measured value."""
    return FigureDescription(
        id=figure.id,
        label=measure_label(figure.of),
        number=f"{figures(figure.value)} {unit_words(figure.unit)}",
        means=FIGURE_WORDS[figure.kind],
        population=figure.population,
        source=named("sources", figure.source, knowledge),
        standing=STANDING_WORDS[figure.standing],
    )


def describe_source(source: Source, knowledge: Knowledge) -> SourceDescription:
    """A source, and everything that rests on it."""
    return SourceDescription(
        id=source.id,
        label=short_name(source),
        citation=source.citation,
        standing=STANDING_WORDS[source.standing],
        used_by=used_by(knowledge, "sources", source.id),
    )
