"""The columns of the exported tables: name, type, meaning, unit, values, and who may have them."""

from dataclasses import dataclass
from enum import StrEnum

from app.assess.assessment import LISTED, URGENCIES
from app.exam.vocabulary import Scale, vocabulary
from app.knowledge.load import Knowledge
from app.knowledge.mentions import label_of
from app.knowledge.terms import fall_level_words, level_words, urgency_words

FALL_LEVELS = ("low", "intermediate", "high", "open")
# Nothing pointed to the category, or the knowledge of that exam did not have it.
NOT_LISTED = "not_listed"
# From this age on everybody is one group where the identifiers are removed.
OLDEST = 90
RECORDED, UNTESTABLE, NOT_EXAMINED = "recorded", "untestable", "not examined"


class Form(StrEnum):
    """Whether an export says who the patients are."""

    IDENTIFIED = "identified"
    REMOVED = "identifiers removed"


class Kind(StrEnum):
    """What a cell of a column holds."""

    TEXT = "text"
    WHOLE = "whole number"
    NUMBER = "number"
    YESNO = "yes or no"
    DAY = "date"
    MOMENT = "date and time in UTC"


@dataclass(frozen=True)
class Column:
    """One column. only: the form that has it, None where both have it. values: what it can hold."""

    name: str
    kind: Kind
    meaning: str
    unit: str = ""
    values: tuple[str, ...] = ()
    only: Form | None = None


@dataclass(frozen=True)
class Table:
    """One table; a file of the same name."""

    name: str
    meaning: str
    columns: tuple[Column, ...]


def tables(knowledge: Knowledge, form: Form) -> tuple[Table, ...]:
    """The tables of one form, with the columns that this form has."""
    whole = (
        Table("exams", "One row for each signed exam", _exams(knowledge)),
        Table(
            "findings",
            "One row for each finding on each side of each signed exam, also where it was not "
            "examined",
            _findings(),
        ),
        Table(
            "medicines",
            "One row for each ingredient found in a medicine line, and for each line without one",
            _medicines(knowledge),
        ),
        Table(
            "amendments",
            "One row for each signed piece that stands beside a signed exam",
            _amendments(),
        ),
    )
    return tuple(
        Table(
            each.name,
            each.meaning,
            tuple(column for column in each.columns if column.only in (None, form)),
        )
        for each in whole
    )


def _text(name: str, meaning: str, *values: str, only: Form | None = None) -> Column:
    return Column(name, Kind.TEXT, meaning, values=values, only=only)


def _secret(name: str, meaning: str, kind: Kind = Kind.TEXT) -> Column:
    """A column that is left out where the identifiers are removed."""
    return Column(name, kind, meaning, only=Form.IDENTIFIED)


def _exam() -> tuple[Column, ...]:
    return (
        _text("exam", "The exam's id, as it is printed", only=Form.IDENTIFIED),
        _text("exam", "A made-up name of the exam, the same in every table", only=Form.REMOVED),
    )


def _exams(knowledge: Knowledge) -> tuple[Column, ...]:
    return (
        *_exam(),
        _text("patient", "The patient's id in the database", only=Form.IDENTIFIED),
        _text(
            "patient",
            "A made-up name of the patient, the same in every export with the same key",
            only=Form.REMOVED,
        ),
        _secret("chart_number", "The chart number, as it was when the exam was signed"),
        _secret("family_name", "The family name, as it was when the exam was signed"),
        _secret("given_name", "The given name, as it was when the exam was signed"),
        _secret("birth_date", "The birth date, as it was when the exam was signed", Kind.DAY),
        _text("state", "Whether anything was signed beside the exam", "signed", "amended"),
        _secret("examined_at", "When the patient was examined", Kind.MOMENT),
        _text("examined_month", "The month of the exam by UTC, as 2026-03"),
        Column("on_paper", Kind.YESNO, "Whether it was done on paper and entered later"),
        _secret("on_paper_by", "Who examined, as typed, where it was done on paper"),
        _secret("started_at", "When the exam was begun to be entered", Kind.MOMENT),
        _secret("started_by", "Who began to enter it"),
        _secret("signed_at", "When the exam was signed", Kind.MOMENT),
        _secret("signed_by", "Who signed it, as printed"),
        _text("signer_role", "In which role it was signed", "nurse", "physician"),
        _secret("signature_meaning", "What the signature stands for, as signed"),
        Column("age", Kind.WHOLE, "Age on the day of the exam", "years", only=Form.IDENTIFIED),
        Column(
            "age",
            Kind.WHOLE,
            f"Age on the day of the exam; {OLDEST} stands for {OLDEST} or more",
            "years",
            only=Form.REMOVED,
        ),
        _text("sex", "Sex as recorded; empty where it is not known", "female", "male"),
        _text("knowledge", "The version of the knowledge under which it was signed"),
        _secret("reason", "Why the exam was done, as typed"),
        Column("recorded", Kind.WHOLE, "Cells with a value", "cells"),
        Column("untestable", Kind.WHOLE, "Cells that were tried and could not be judged", "cells"),
        Column("bulk", Kind.WHOLE, "Cells that were marked normal with their station", "cells"),
        Column("medicines", Kind.WHOLE, "Medicine lines; empty where nobody asked", "lines"),
        _text(
            "fall_level",
            "The group of the fall risk",
            *(f"{level}: {fall_level_words(level)}" for level in FALL_LEVELS),
        ),
        *(
            column
            for name, label in _categories(knowledge)
            for column in (
                _text(
                    f"{name}_level",
                    f"How far {label} is supported",
                    *(f"{level}: {level_words(level)}" for level in LISTED),
                    f"{NOT_LISTED}: nothing pointed to it, or that knowledge did not have it",
                ),
                _text(
                    f"{name}_side",
                    f"On which of the patient's sides {label} is found; empty where it has none",
                    "RIGHT",
                    "LEFT",
                    "BOTH",
                ),
                _text(f"{name}_qualifiers", f"What is added to {label}; ids, by spaces"),
            )
        ),
        _text(
            "other_categories",
            "Categories that this version no longer knows, as id:level:side, by spaces",
        ),
        _text(
            "warnings",
            "Ids of the warnings besides the fall risk, most urgent first, by spaces",
            *(f"{each}: {label_of('warnings', each, knowledge)}" for each in knowledge.warnings),
        ),
        _text(
            "urgencies",
            "The urgency of each of these warnings, in the same order, by spaces",
            *(f"{urgency}: {urgency_words(urgency)}" for urgency in URGENCIES),
        ),
        _text(
            "most_urgent",
            "The highest urgency among these warnings; empty where there is none",
            *(f"{urgency}: {urgency_words(urgency)}" for urgency in URGENCIES),
        ),
        _text(
            "next_steps",
            "Ids of the next steps to consider, by spaces",
            *(f"{each}: {label_of('steps', each, knowledge)}" for each in knowledge.steps),
        ),
        _text(
            "hazards",
            "Ids of what makes a fall more likely or worse, by spaces",
            *(f"{each}: {hazard.label}" for each, hazard in knowledge.hazards.items()),
        ),
        Column("unexplained", Kind.WHOLE, "Abnormal cells that no listed category explains"),
        _text("codes", "ICD-10-CM codes that the physician chose, by spaces"),
        _secret("impression", "The physician's impression, as typed"),
        _secret("plan", "The physician's plan, as typed"),
        _secret("for_patient", "What the physician wrote for the patient's own page, as typed"),
        Column("amendments", Kind.WHOLE, "Signed pieces that stand beside the exam", "pieces"),
        _secret("content_sha256", "The hash of everything that was signed, as it is printed"),
    )


def _categories(knowledge: Knowledge) -> tuple[tuple[str, str], ...]:
    return tuple((each, label_of("categories", each, knowledge)) for each in knowledge.categories)


def _findings() -> tuple[Column, ...]:
    words = vocabulary()
    return (
        *_exam(),
        _text(
            "station",
            "The part of the exam",
            *(f"{station.id}: {station.label}" for station in words.stations),
        ),
        _text("finding", "The finding's id; each is explained below the tables"),
        _text("label", "The finding in words"),
        _text("side", "The patient's side; empty for a finding without sides", "RIGHT", "LEFT"),
        _text(
            "state",
            "Whether there is a value. Neither of the others means normal",
            RECORDED,
            f"{UNTESTABLE}: tried, and could not be judged",
            f"{NOT_EXAMINED}: nothing was recorded",
        ),
        _text("scale", "How the finding is recorded", *Scale),
        _text("value", "The value as it was recorded, with the digits that were typed"),
        Column("number", Kind.NUMBER, "The value of a grade, a count or a number"),
        _text("unit", "The unit of a count or a number"),
        _text("words", "The value in words"),
        _secret("reason", "Why it could not be tested, as typed"),
        Column("bulk", Kind.YESNO, "Whether it was marked normal with the rest of its station"),
        _text("role", "The role of who recorded it", "nurse", "physician"),
        _secret("recorded_by", "Who recorded it"),
        _secret("recorded_at", "When it was recorded", Kind.MOMENT),
    )


def _medicines(knowledge: Knowledge) -> tuple[Column, ...]:
    return (
        *_exam(),
        Column("line", Kind.WHOLE, "The number of the line, from 1"),
        _secret("text", "The line as typed"),
        _text("ingredient", "The ingredient that was recognised; empty where none was"),
        _text(
            "classes",
            "Classes of the ingredient, by spaces",
            *(f"{each}: {words}" for each, words in knowledge.medicine_classes.items()),
        ),
    )


def _amendments() -> tuple[Column, ...]:
    return (
        *_exam(),
        Column("number", Kind.WHOLE, "1 for the first piece beside the exam, and so on"),
        _text("kind", "What it is", "addendum", "late_entry", "correction"),
        _secret("signed_at", "When it was signed", Kind.MOMENT),
        _secret("signed_by", "Who signed it, as printed"),
        _text("signer_role", "In which role it was signed", "nurse", "physician"),
        _secret("text", "The piece, as typed"),
        _secret("reason", "Why it was written, as typed"),
        _secret("content_sha256", "The hash of everything that was signed, as it is printed"),
    )
