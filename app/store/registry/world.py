"""What SQL answers to the atoms of conditions: the columns of the flat table of exams."""

from collections.abc import Callable, Mapping
from fractions import Fraction
from math import lcm
from typing import Any

from sqlalchemy import Boolean, ColumnElement, and_, case, column, literal_column, or_
from sqlalchemy.types import BigInteger, Integer, SmallInteger, Text, TypeEngine

from app.assess.atoms import COMPARE, mark
from app.exam.vocabulary import SIDES, Scale, Side, vocabulary
from app.knowledge.load import Knowledge
from app.knowledge.model import Balance, Norm
from app.knowledge.names import AGE
from app.logic.expression import Atom, Reference
from app.logic.query import Query, Stages, Term
from app.store.registry.rows import (
    PARTS,
    SEX,
    Holds,
    column_of,
    columns,
    takes_column,
    untestable_column,
)

SQL_TYPES: Mapping[Holds, TypeEngine[Any]] = {
    Holds.YESNO: Boolean(),
    Holds.SMALL: SmallInteger(),
    Holds.WHOLE: Integer(),
    Holds.PARTS: BigInteger(),
    Holds.TEXT: Text(),
}


class RegistryWorld:
    """The table of exams as what answers the atoms; each row is one exam."""

    sides: tuple[str, str] = SIDES

    def __init__(self, knowledge: Knowledge, stages: Stages) -> None:
        self.knowledge = knowledge
        self.query = Query(self, knowledge.definitions, stages)

    def holds(self, sentence: str) -> Term:
        """A condition of the knowledge by its sentence."""
        return self.query.truth(self.knowledge.conditions[sentence])

    def named(self, name: str) -> Term:
        """A condition by its name."""
        return self.query.truth(Reference(name))

    # ---- the Table of app.logic

    def judge(self, atom: Atom, side: str | None) -> Term:
        """Whether an atom holds; NULL where it is unknown."""
        name, at = atom.name, Side(side) if side else None
        match atom.relation:
            case "takes":
                return Term(column(takes_column(name), Boolean))
            case "untestable":
                return Term(column(untestable_column(name, at), Boolean))
            case "known":
                return Term(self._known(name, at))
            case "" if name in self.knowledge.balances:
                return self._balanced(self.knowledge.balances[name])
            case "":
                value = self._value(name, at)
                graded = vocabulary()[name].scale is Scale.GRADE
                return Term(value > 0 if graded else value)
            case "is":
                return Term(self._value(name, at) == as_literal(atom.operands[0]))
            case "in":
                value = self._value(name, at)
                return Term(or_(*(value == as_literal(each) for each in atom.operands)))
            case comparison:
                return Term(self._compared(comparison, name, at, atom.operands[0]))

    def other(self, side: str | None) -> str | None:
        """The opposite side."""
        return Side(side).other if side else None

    def is_paired(self, name: str) -> bool:
        """Whether an atom's name is recorded on each side."""
        return self.knowledge.names.is_paired(name)

    # ---- values

    def _value(self, finding: str, side: Side | None) -> ColumnElement[Any]:
        name = column_of(finding, side)
        return column(name, SQL_TYPES[columns(self.knowledge)[name]])

    def _known(self, name: str, side: Side | None) -> ColumnElement[bool]:
        if name not in _FRACTIONS:
            return self._value(name, side).is_not(None)
        above, below, _ = self._fraction(name, side)
        return and_(above.is_not(None), below.is_not(None))

    # ---- numbers

    def _compared(
        self, comparison: str, name: str, side: Side | None, operand: str
    ) -> ColumnElement[Any]:
        """A fraction beside a number: both multiplied out, so that nothing is ever rounded."""
        above, below, parts = self._fraction(name, side)
        compare = COMPARE[comparison]
        if operand in self.knowledge.norms:
            norm = self.knowledge.norms[operand]
            limit = self._limit(norm)
            unit = _unit(norm)
            return compare(above * _int(unit), below * limit * _int(parts))
        scaled = mark(self.knowledge, operand) * parts
        return compare(_times(above, scaled.denominator), _times(below, scaled.numerator))

    def _fraction(
        self, name: str, side: Side | None
    ) -> tuple[ColumnElement[Any], ColumnElement[Any], int]:
        """A number as the upper and lower part of a fraction, and in how many parts it is held.

        The lower part is above 0 wherever it is known.
        """
        if name in _FRACTIONS:
            above, below, same = _FRACTIONS[name](lambda each: self._value(each, None))
            return above, below, same
        if name == AGE:
            return column(AGE, BigInteger), _int(1), PARTS
        number = vocabulary()[name].scale is Scale.NUMBER
        return self._value(name, side), _int(1), PARTS if number else 1

    def _limit(self, norm: Norm) -> ColumnElement[Any]:
        """The norm for the age and sex of each row, in whole parts of its unit."""
        age, sex, unit = column(AGE, BigInteger), column(SEX, Text), _unit(norm)
        bands = []
        for place, band in enumerate(norm.ages):
            first, last = (int(each) for each in band.split("-"))
            of_age = and_(age >= _int(first * PARTS), age < _int((last + 1) * PARTS))
            for name, limits in (("female", norm.female), ("male", norm.male)):
                limit = int(Fraction(str(limits[place])) * unit)
                bands.append((and_(sex == as_literal(name), of_age), _int(limit)))
        return case(*bands, else_=None)

    def _balanced(self, balance: Balance) -> Term:
        """Whether the sums of grades are equal; NULL while one of them is not known."""
        sums, stage = [], 0
        for side in SIDES:
            grades = [self._value(finding, side) for finding in balance.findings]
            for finding, sign in balance.counted_where.items():
                counted = self.query.truth(Reference(sign), side)
                stage = max(stage, counted.stage)
                grade = self._value(finding, side)
                grades.append(
                    case((counted.sql, grade), (counted.sql.is_(None), None), else_=_int(0))
                )
            total = grades[0]
            for grade in grades[1:]:
                total = total + grade
            sums.append(total)
        return Term(sums[0] == sums[1], stage)


Values = Callable[[str], ColumnElement[Any]]


def _heart_rate_ratio(of: Values) -> tuple[ColumnElement[Any], ColumnElement[Any], int]:
    # Without a fall of the pressure the ratio says nothing.
    fall = of("lying_sys") - of("standing_sys")
    return of("standing_hr") - of("lying_hr"), case((fall > 0, fall), else_=None), 1


# The quantities of app/exam/measures.py: upper part, lower part, and the parts that are left over
# where only the upper one is held in parts.
_FRACTIONS: Mapping[str, Callable[[Values], tuple[ColumnElement[Any], ColumnElement[Any], int]]] = {
    "walking_speed_m_per_s": lambda of: (of("walk_m"), of("walk_s"), 1),
    "cadence_per_min": lambda of: (of("walk_steps") * _int(60 * PARTS), of("walk_s"), 1),
    "stride_m": lambda of: (of("walk_m") * _int(2), of("walk_steps"), PARTS),
    "systolic_fall": lambda of: (of("lying_sys") - of("standing_sys"), _int(1), PARTS),
    "diastolic_fall": lambda of: (of("lying_dia") - of("standing_dia"), _int(1), PARTS),
    "heart_rate_ratio": _heart_rate_ratio,
}


def _times(number: ColumnElement[Any], by: int) -> ColumnElement[Any]:
    return number if by == 1 else number * _int(by)


def _unit(norm: Norm) -> int:
    """In how many parts each number of a norm is a whole one."""
    return lcm(*(Fraction(str(each)).denominator for each in (*norm.male, *norm.female)))


def _int(number: int) -> Any:
    return literal_column(str(number), BigInteger)


def as_literal(value: str) -> Any:
    return literal_column("'" + value.replace("'", "''") + "'", Text)
