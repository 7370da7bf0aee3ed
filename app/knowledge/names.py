"""Check the names in a condition against everything that has a name, and resolve them."""

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

from app.exam.measures import QUANTITIES
from app.exam.vocabulary import GRADE_WORDS, Scale, Vocabulary
from app.knowledge.model import Balance, Kind, MedicineClass, Norm, Sign, Threshold
from app.logic.expression import (
    And,
    AnySide,
    Atom,
    BothSides,
    Definitions,
    Expression,
    Not,
    Or,
    OtherSide,
    Reference,
    Surely,
    children,
    rewrite,
    walk,
)

AGE = "age"
_COMPARISONS = (">=", ">", "<=", "<")


class BadName(ValueError):
    """A condition uses a name without meaning; the message says what would be right."""


@dataclass(frozen=True)
class Names:
    """Everything that a condition may speak of."""

    vocabulary: Vocabulary
    signs: Mapping[str, Sign]
    kinds: Mapping[str, Kind]
    balances: Mapping[str, Balance]
    thresholds: Mapping[str, Threshold]
    norms: Mapping[str, Norm]
    classes: Mapping[str, MedicineClass]

    @property
    def ingredients(self) -> frozenset[str]:
        """Every ingredient of every class."""
        return frozenset(name for each in self.classes.values() for name in each.ingredients)

    def resolve(self, expression: Expression, also: frozenset[str] = frozenset()) -> Expression:
        """Replace names of signs and kinds by references, after checking every atom.

        also: further names with a definition, such as `parkinsonism_fits`.
        Raises: BadName.
        """
        return rewrite(expression, lambda atom: self._resolve(atom, also))

    def _resolve(self, atom: Atom, also: frozenset[str]) -> Expression:
        name, relation = atom.name, atom.relation
        if name in self.kinds:
            return self._kind(atom)
        if name in self.signs or name in also:
            if relation:
                raise BadName(f"{name} is a sign: it stands alone, without `{relation}`")
            return Reference(name)
        match relation:
            case "takes":
                if name not in self.classes and name not in self.ingredients:
                    raise BadName(f"{name} is not a medicine class: {', '.join(self.classes)}")
            case "untestable":
                if name not in self.vocabulary:
                    raise BadName(f"untestable({name}): {name} is not a finding")
            case "known":
                if name not in self.vocabulary and name not in QUANTITIES:
                    raise BadName(f"known({name}): {name} is not a finding, kind or quantity")
            case "" | "is" | "in":
                self._check_plain(atom)
            case _ if relation in _COMPARISONS:
                self._check_comparison(atom)
            case _:
                raise BadName(f"{relation}() is not a function; use known, untestable or takes")
        return atom

    def _kind(self, atom: Atom) -> Expression:
        kind = self.kinds[atom.name]
        values = [value.id for value in kind.values]
        match atom.relation:
            case "known":
                return Or(tuple(Surely(Reference(kind_value(kind.id, v))) for v in values))
            case "is" if atom.operands[0] in values:
                return Reference(kind_value(kind.id, atom.operands[0]))
            case _:
                raise BadName(f"{kind.id} has values: write `{kind.id} is {values[0]}`")

    def _check_plain(self, atom: Atom) -> None:
        name, relation = atom.name, atom.relation
        if name in self.balances and not relation:
            return
        finding = self.vocabulary.get(name)
        if finding is None:
            raise BadName(f"{name} is not a finding, sign or quantity")
        if not relation and finding.scale not in (Scale.GRADE, Scale.YESNO):
            raise BadName(f"{name} is not present or absent: compare its value")
        if relation and finding.scale is not Scale.CHOICE:
            raise BadName(f"{name} has no choices: it is a {finding.scale.value}")
        for value in atom.operands:
            if value not in finding.values:
                raise BadName(f"{value} is not a value of {name}: {', '.join(finding.values)}")

    def _check_comparison(self, atom: Atom) -> None:
        name, operand = atom.name, atom.operands[0]
        finding = self.vocabulary.get(name)
        if finding is not None and finding.scale is Scale.GRADE:
            if operand not in GRADE_WORDS:
                raise BadName(f"{name} is a grade: compare it with {', '.join(GRADE_WORDS)}")
            return
        is_number = finding is not None and finding.scale in (Scale.COUNT, Scale.NUMBER)
        if not is_number and name not in QUANTITIES and name != AGE:
            raise BadName(f"{name} is not a grade, count, number or quantity")
        if operand not in self.thresholds and operand not in self.norms:
            raise BadName(f"{operand} is not a threshold or norm")

    def is_paired(self, name: str) -> bool:
        """Whether an atom's name is recorded on each side."""
        return name in self._paired

    @cached_property
    def _paired(self) -> frozenset[str]:
        return frozenset(each.id for each in self.vocabulary.values() if each.paired)

    def check_sides(self, expression: Expression, definitions: Definitions, *, sided: bool) -> None:
        """Check that what is judged on a side stands under any(), both(), or in a paired rule.

        Raises: BadName.
        """
        match expression:
            case Atom(name):
                if self.is_paired(name) and not sided:
                    raise BadName(f"{name} is recorded on each side: write any(…) or both(…)")
            case Reference(name):
                if definitions[name].paired and not sided:
                    raise BadName(f"{name} is judged on each side: write any(…) or both(…)")
            case AnySide(inner) | BothSides(inner):
                if sided:
                    raise BadName("any(…) and both(…) cannot stand where a side is given")
                if not any(self._speaks_of_a_side(each, definitions) for each in walk(inner)):
                    raise BadName("nothing inside any(…) or both(…) is judged on a side")
                self.check_sides(inner, definitions, sided=True)
            case OtherSide(inner):
                if not sided:
                    raise BadName("other(…) needs a side: put it inside any(…) or both(…)")
                self.check_sides(inner, definitions, sided=True)
            case _:
                for child in children(expression):
                    self.check_sides(child, definitions, sided=sided)

    def _speaks_of_a_side(self, expression: Expression, definitions: Definitions) -> bool:
        match expression:
            case Atom(name):
                return self.is_paired(name)
            case Reference(name):
                return definitions[name].paired
            case _:
                return False


def kind_value(kind_id: str, value: str) -> str:
    """The name under which one value of a kind is defined."""
    return f"{kind_id}:{value}"


def tier_name(warning_id: str, urgency: str) -> str:
    """The name under which one tier of a warning is defined."""
    return f"{warning_id}_{urgency}"


def every_core_normal(vocabulary: Vocabulary) -> Expression:
    """Every core sign known and normal, and no other sign known to be abnormal.

    A detail is not needed: it is asked for only where its finding is abnormal. What has no normal
    value only needs to be known.
    """
    members: list[Expression] = []
    for finding in vocabulary.values():
        if not finding.is_sign:
            continue
        needed = finding.core and finding.station != "more" and not finding.detail_of
        member: Expression
        if finding.scale in (Scale.COUNT, Scale.NUMBER) or not finding.has_normal:
            if not needed:
                continue
            member = Atom(finding.id, "known")
        elif finding.scale is Scale.CHOICE:
            member = Atom(finding.id, "is", (finding.values[0],))
            member = member if needed else Not(Surely(Not(member)))
        else:
            member = Not(Atom(finding.id) if needed else Surely(Atom(finding.id)))
        members.append(BothSides(member) if finding.paired else member)
    return And(tuple(members))
