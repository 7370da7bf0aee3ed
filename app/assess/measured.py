"""What a timed or measured value gives: numbers worked out from it, its norm, its cutoffs."""

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Decimal
from fractions import Fraction

from app.assess.world import ExamWorld
from app.exam.measures import QUANTITIES
from app.exam.record import Patient
from app.knowledge.load import Knowledge
from app.knowledge.measured import MeasuredLine
from app.knowledge.mentions import short_name
from app.knowledge.model import STANDING_WORDS, Norm
from app.knowledge.words import COMPARED, unit_words
from app.language.numbers import figures
from app.language.words import N_, Spoken, _
from app.logic.expression import Atom
from app.logic.truth import YES

_PEOPLE = Spoken({"male": N_("men"), "female": N_("women")})
_MOST_PLACES = 2


@dataclass(frozen=True)
class Said:
    """One line beside a value. basis: its source, and how far that was checked."""

    says: str
    basis: str = ""


def measured(world: ExamWorld) -> Mapping[str, tuple[Said, ...]]:
    """The lines by the finding below which they stand; none for what was not measured."""
    found: dict[str, tuple[Said, ...]] = {}
    for line in world.knowledge.measured.values():
        said = _said(world, line) if world.holds(line.only) is YES else None
        found[line.at] = (*found.get(line.at, ()), *([said] if said else []))
    return found


def _said(world: ExamWorld, line: MeasuredLine) -> Said | None:
    compared = world.knowledge.conditions[line.when] if line.when else None
    if isinstance(compared, Atom):
        is_known = world.truth(Atom(compared.name, "known")) is YES
        return _compared(world, line, compared) if is_known else None
    quantity = QUANTITIES[line.number or ""]
    number = quantity.of(world.exam)
    if number is None:
        return None
    if line.norm is not None:
        norm = world.knowledge.norms[line.norm]
        return _by_norm(line, norm, world.exam.patient, world.knowledge, "{}", "")
    near = _compared_with(quantity.id, world.knowledge)
    return Said(f"{_(quantity.label)}: {in_figures(number, near)} {unit_words(quantity.unit)}")


def _compared(world: ExamWorld, line: MeasuredLine, compared: Atom) -> Said:
    knowledge, operand = world.knowledge, compared.operands[0]
    words = COMPARED[compared.relation]
    verdict = _("; this is") if world.truth(compared) is YES else _("; this is not")
    if operand in knowledge.norms:
        norm = knowledge.norms[operand]
        return _by_norm(line, norm, world.exam.patient, knowledge, words, verdict)
    threshold = knowledge.thresholds[operand]
    number = words.format(f"{figures(threshold.value)} {unit_words(threshold.unit)}")
    source = short_name(knowledge.sources[threshold.source]) if threshold.source else line.named
    basis = ", ".join(filter(None, (source, STANDING_WORDS[line.standing or ""])))
    return Said(f"{line.says}: {number}{verdict}", basis)


def _by_norm(
    line: MeasuredLine, norm: Norm, patient: Patient, knowledge: Knowledge, words: str, verdict: str
) -> Said:
    """A norm for this age and sex, or why there is none."""
    if patient.age is None or patient.sex is None:
        needed = [(_("age"), patient.age), (_("sex"), patient.sex)]
        lacking = _(" and ").join(name for name, value in needed if value is None)
        return Said(
            _("{says}: the norm needs the person’s {lacking}, not recorded").format(
                says=line.says, lacking=lacking
            )
        )
    band, number = norm.band(patient.age), norm.value(patient.age, patient.sex)
    if band is None or number is None:
        return Said(_("{says}: no published norm for this age").format(says=line.says))
    people = _("{people} of {ages}").format(
        people=_PEOPLE[patient.sex], ages=band.replace("-", _(" to "))
    )
    says = _("{says} for {people}: {number}").format(
        says=line.says,
        people=people,
        number=words.format(f"{figures(number)} {unit_words(norm.unit)}"),
    )
    source = short_name(knowledge.sources[norm.source])
    return Said(says + verdict, f"{source}, {STANDING_WORDS[norm.standing]}; {norm.note}")


def _compared_with(quantity: str, knowledge: Knowledge) -> tuple[Fraction, ...]:
    """Every threshold that a line compares a quantity with."""
    found = []
    for line in knowledge.measured.values():
        compared = knowledge.conditions[line.when] if line.when else None
        if isinstance(compared, Atom) and compared.name == quantity:
            found.append(Fraction(knowledge.thresholds[compared.operands[0]].value))
    return tuple(found)


def in_figures(number: Fraction, near: tuple[Fraction, ...] = ()) -> str:
    """A number with two decimals, or fewer where it is large or they are nothing.

    near: what it is compared with; a number that is not one of these is not rounded to it.
    """
    places = _MOST_PLACES - (abs(number) >= 10) - (abs(number) >= 100)
    rounded = _rounded(number, places)
    while Fraction(rounded) in near and Fraction(rounded) != number:
        places += 1
        rounded = _rounded(number, places)
    digits = f"{rounded:f}"
    digits = digits.rstrip("0").rstrip(".") if "." in digits else digits
    return figures(digits.replace("-", "−"))


def _rounded(number: Fraction, places: int) -> Decimal:
    exact = Decimal(number.numerator) / Decimal(number.denominator)
    return exact.quantize(Decimal(1).scaleb(-places), ROUND_HALF_UP)
