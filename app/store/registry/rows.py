"""One exam as a flat row: a column a cell, the patient's age and sex, and what is taken.

A number and the age are whole numbers of 10⁻¹² of their unit. Every number that can be typed has at
most twelve digits (app/exam/reading.py), so that each is held exactly by every engine, and a walk
of 4.48 m in 5.6 s is 0.8 m/s in each.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum
from functools import lru_cache

from app.assess.assess import world_of
from app.exam.json_text import MAX_DIGITS
from app.exam.record import Exam
from app.exam.vocabulary import Scale, vocabulary
from app.knowledge.load import Knowledge
from app.knowledge.names import AGE
from app.logic.expression import Atom, walk

SEX = "sex"
# How many parts a number is held in.
PARTS = 10**MAX_DIGITS
RegistryRow = dict[str, bool | int | str | None]


class Holds(StrEnum):
    """What a column of the table holds."""

    YESNO = "boolean"
    SMALL = "smallint"
    WHOLE = "integer"
    PARTS = "bigint"
    TEXT = "text"


_OF_SCALE: Mapping[Scale, Holds] = {
    Scale.GRADE: Holds.SMALL,
    Scale.YESNO: Holds.YESNO,
    Scale.CHOICE: Holds.TEXT,
    Scale.COUNT: Holds.WHOLE,
    Scale.NUMBER: Holds.PARTS,
}


@dataclass(frozen=True)
class Asked:
    """What rules ask for beside values: names of medicines, findings that may be untestable."""

    takes: tuple[str, ...]
    untestable: tuple[str, ...]


@lru_cache(maxsize=4)
def asked_by(knowledge: Knowledge) -> Asked:
    """What the rules of a knowledge ask for, each name once."""
    expressions = [each.expression for each in knowledge.definitions.values()]
    found: dict[str, dict[str, None]] = {"takes": {}, "untestable": {}}
    for expression in (*expressions, *knowledge.conditions.values()):
        for part in walk(expression):
            if isinstance(part, Atom) and part.relation in found:
                found[part.relation][part.name] = None
    return Asked(tuple(found["takes"]), tuple(found["untestable"]))


def column_of(finding: str, side: str | None = None) -> str:
    """The column with the value of a cell."""
    return f"{finding}_{side}" if side else finding


def untestable_column(finding: str, side: str | None = None) -> str:
    """The column that says whether a cell was tried and could not be judged."""
    return f"untestable_{column_of(finding, side)}"


def takes_column(name: str) -> str:
    """The column that says whether a medicine, or one of a class, is taken."""
    return f"takes_{name.replace(' ', '_')}"


@lru_cache(maxsize=4)
def columns(knowledge: Knowledge) -> Mapping[str, Holds]:
    """Every column of a row: the patient, the cells in the order of the vocabulary, the rest."""
    asked, words = asked_by(knowledge), vocabulary()
    return {
        AGE: Holds.PARTS,
        SEX: Holds.TEXT,
        **{
            column_of(each.id, side): _OF_SCALE[each.scale]
            for each in words.values()
            for side in each.sides
        },
        **{
            untestable_column(name, side): Holds.YESNO
            for name in asked.untestable
            for side in words[name].sides
        },
        **{takes_column(name): Holds.YESNO for name in asked.takes},
    }


def row_of(exam: Exam, knowledge: Knowledge) -> RegistryRow:
    """The row of an exam; None stands for everything that is not known."""
    row: RegistryRow = dict.fromkeys(columns(knowledge))
    asked, medicines = asked_by(knowledge), world_of(exam, knowledge).medicines
    row[AGE] = _parts(exam.patient.age)
    row[SEX] = exam.patient.sex
    for finding, side, value in exam.known():
        row[column_of(finding, side)] = _parts(value) if isinstance(value, Decimal) else value
    for name in asked.untestable:
        for at in vocabulary()[name].sides:
            row[untestable_column(name, at)] = exam.is_untestable(name, at)
    for name in asked.takes:
        row[takes_column(name)] = medicines.takes(name).known
    return row


def _parts(value: Decimal | None) -> int | None:
    return None if value is None else int(value * PARTS)


def table_sql(knowledge: Knowledge, name: str, keys: Mapping[str, str]) -> str:
    """The statement that makes the table of rows, for SQLite, PostgreSQL and DuckDB.

    keys: the columns in front of it, with their types.
    """
    made = {**keys, **{each: holds.value for each, holds in columns(knowledge).items()}}
    return f"CREATE TABLE {name} ({', '.join(f'{each} {type_}' for each, type_ in made.items())})"
