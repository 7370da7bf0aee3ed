"""The same rules over whole columns with NumPy: what a program by hand would do for a registry.

Two masks a condition, where it holds and where it does not; each name is worked out once a batch.
What stands in several places of a rule is left to Kleene logic.
"""

from collections.abc import Mapping
from fractions import Fraction
from functools import reduce
from typing import Any, TypeAlias, assert_never

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from app.exam.measures import QUANTITIES
from app.exam.vocabulary import GRADE_WORDS, SIDES, Scale, Side, vocabulary
from app.knowledge.load import Knowledge
from app.knowledge.names import AGE, tier_name
from app.logic.expression import (
    And,
    AnySide,
    AtLeast,
    Atom,
    BothSides,
    Expression,
    Not,
    Or,
    OtherSide,
    Reference,
    Surely,
)
from app.store.registry.rows import PARTS, SEX, column_of, takes_column, untestable_column

# An array of booleans, or one boolean for all rows.
Mask: TypeAlias = Any
Pair = tuple[Mask, Mask]


class Columns:
    """One batch of rows."""

    def __init__(self, knowledge: Knowledge, batch: pa.RecordBatch) -> None:
        self.knowledge = knowledge
        self.batch = batch
        self._named: dict[tuple[str, Side | None], Pair] = {}
        self._held: dict[str, tuple[Any, Mask]] = {}

    def results(self) -> Mapping[str, NDArray[Any]]:
        """Every level, urgency, falls group and hazard."""
        known = self.knowledge
        found: dict[str, NDArray[Any]] = {}
        for category in known.categories.values():
            fits, fits_not = self.truth(Reference(f"{category.id}_fits"))
            cautioned, _ = self.truth(Reference(f"{category.id}_cautioned"))
            core = _any(self._says(each)[0] for each in category.core)
            found[category.id] = np.select(
                [fits & cautioned, fits, ~core, fits_not],
                ["fits_with_cautions", "fits", "not_supported", "partial"],
                "open",
            )
        for warning in known.warnings.values():
            tiers = [
                self.truth(Reference(tier_name(warning.id, t.urgency)))[0] for t in warning.tier
            ]
            found[warning.id] = np.select(tiers, [t.urgency for t in warning.tier], "not_raised")
        *branches, last = known.fall_risk.branch
        found["fall_risk"] = np.select(
            [self._says(str(each.when))[0] for each in branches],
            [each.level for each in branches],
            last.level,
        )
        for hazard in known.hazards.values():
            found[f"hazard_{hazard.id}"] = self._says(hazard.when)[0]
        return found

    def truth(self, expression: Expression, side: Side | None = None) -> Pair:
        """Where a condition holds, and where it does not."""
        match expression:
            case Atom(name):
                return self._atom(
                    expression, side if self.knowledge.names.is_paired(name) else None
                )
            case Reference(name):
                definition = self.knowledge.definitions[name]
                key = (name, side if definition.paired else None)
                if key not in self._named:
                    self._named[key] = self.truth(definition.expression, key[1])
                return self._named[key]
            case And(members):
                return _conjunction([self.truth(each, side) for each in members])
            case Or(members):
                return _disjunction([self.truth(each, side) for each in members])
            case Not(inner):
                return self.truth(inner, side)[::-1]
            case AtLeast(count, members):
                pairs = [self.truth(each, side) for each in members]
                sure = sum(yes.astype(np.int8) for yes, _ in pairs)
                lost = sum(no.astype(np.int8) for _, no in pairs)
                return sure >= count, len(pairs) - lost < count
            case AnySide(inner):
                return _disjunction([self.truth(inner, each) for each in SIDES])
            case BothSides(inner):
                return _conjunction([self.truth(inner, each) for each in SIDES])
            case OtherSide(inner):
                return self.truth(inner, side.other if side else None)
            case Surely(inner):
                yes, _ = self.truth(inner, side)
                return yes, ~yes
            case _:
                assert_never(expression)

    def _says(self, sentence: str) -> Pair:
        return self.truth(self.knowledge.conditions[sentence])

    def _column(self, name: str) -> tuple[Any, Mask]:
        if name not in self._held:
            array = self.batch.column(name)
            known = array.is_valid().to_numpy(zero_copy_only=False)
            if pa.types.is_string(array.type):
                self._held[name] = array.dictionary_encode(), known
            else:
                filled = array.fill_null(False if pa.types.is_boolean(array.type) else 0)
                self._held[name] = filled.to_numpy(zero_copy_only=False), known
        return self._held[name]

    def _atom(self, atom: Atom, side: Side | None) -> Pair:
        name = atom.name
        match atom.relation:
            case "takes":
                return _where(*self._column(takes_column(name)))
            case "untestable":
                return _where(*self._column(untestable_column(name, side)))
            case "known":
                known = self._number(name, side)[2]
                return known, ~known
            case "" if name in self.knowledge.balances:
                return self._balanced(name)
            case "":
                values, known = self._column(column_of(name, side))
                return _where(values > 0, known)
            case "is" | "in":
                coded, known = self._column(column_of(name, side))
                words = coded.dictionary.to_pylist()
                codes = coded.indices.fill_null(0).to_numpy(zero_copy_only=False)
                wanted = np.array([each in atom.operands for each in words] or [False])
                return _where(wanted[codes], known)
            case relation:
                above, below, known, parts = self._number(name, side)
                limit, limited = self._limit(atom.operands[0])
                scaled = limit * parts
                left, right = above * scaled.denominator, below * scaled.numerator
                if limited is not None:
                    unit, numbers = limited
                    left, right = above * unit, numbers * below * parts
                    known = known & (numbers > 0)
                compare = {">=": np.greater_equal, ">": np.greater, "<=": np.less_equal}
                return _where(compare.get(relation, np.less)(left, right), known)

    def _number(self, name: str, side: Side | None) -> tuple[Any, Any, Mask, int]:
        if name not in QUANTITIES:
            values, known = self._column(AGE if name == AGE else column_of(name, side))
            numbers = name == AGE or vocabulary()[name].scale is Scale.NUMBER
            if isinstance(values, pa.DictionaryArray):
                return None, 1, known, 1
            return values.astype(np.int64), 1, known, PARTS if numbers else 1
        inputs = [self._column(column_of(each)) for each in QUANTITIES[name].inputs]
        known = _all(known for _, known in inputs)
        first, second, *rates = (values.astype(np.int64) for values, _ in inputs)
        match name:
            case "walking_speed_m_per_s":
                return first, second, known, 1
            case "systolic_fall" | "diastolic_fall":
                return first - second, 1, known, PARTS
            case "heart_rate_ratio":
                return rates[1] - rates[0], first - second, known & (first > second), 1
            case _:
                raise AssertionError(f"no rule asks for {name}")

    def _limit(self, name: str) -> tuple[Fraction, tuple[int, Any] | None]:
        if name in GRADE_WORDS:
            return Fraction(GRADE_WORDS.index(name)), None
        if name in self.knowledge.thresholds:
            return Fraction(str(self.knowledge.thresholds[name].value)), None
        norm = self.knowledge.norms[name]
        ages, known = self._column(AGE)
        sexes, sex_known = self._column(SEX)
        codes = sexes.indices.fill_null(0).to_numpy(zero_copy_only=False)
        words = sexes.dictionary.to_pylist()
        numbers = np.zeros(len(ages), np.int64)
        for place, band in enumerate(norm.ages):
            low, high = (int(each) for each in band.split("-"))
            of_age = known & sex_known & (ages >= low * PARTS) & (ages < (high + 1) * PARTS)
            for code, word in enumerate(words):
                limit = (norm.male if word == "male" else norm.female)[place]
                numbers[of_age & (codes == code)] = int(limit)
        return Fraction(0), (1, numbers)

    def _balanced(self, name: str) -> Pair:
        balance = self.knowledge.balances[name]
        known: list[Mask] = []
        sums = []
        for side in SIDES:
            total = np.zeros(self.batch.num_rows, np.int16)
            for finding in balance.findings:
                values, held = self._column(column_of(finding, side))
                total, known = total + values, [*known, held]
            for finding, sign in balance.counted_where.items():
                values, held = self._column(column_of(finding, side))
                yes, no = self.truth(Reference(sign), side)
                total, known = total + np.where(yes, values, 0), [*known, no | (yes & held)]
            sums.append(total)
        return _where(sums[0] == sums[1], _all(known))


def _where(holds: Any, known: Mask) -> Pair:
    return known & holds, known & ~holds


def _conjunction(pairs: list[Pair]) -> Pair:
    return _all(yes for yes, _ in pairs), _any(no for _, no in pairs)


def _disjunction(pairs: list[Pair]) -> Pair:
    return _any(yes for yes, _ in pairs), _all(no for _, no in pairs)


def _all(masks: Any) -> Mask:
    return reduce(np.logical_and, masks, np.True_)


def _any(masks: Any) -> Mask:
    return reduce(np.logical_or, masks, np.False_)
