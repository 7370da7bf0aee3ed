"""Cases: small exams beside a rule, each with what the rule must say of it."""

from decimal import Decimal
from typing import Any, Literal

from app.knowledge.table import Answer, FallLevel, Level, Phrase, Table, Text, Urgency


class Case(Table):
    """A small invented exam beside its rule, with what the rule must say of it.

    given: a value, as in an exam, for each "finding", "finding right" or "finding left". What is
    not said is unknown.
    """

    name: Phrase
    given: dict[str, Any]
    medicines: tuple[Text, ...] | None = None
    age: int | Decimal | None = None
    sex: Literal["female", "male"] | None = None


class CategoryCase(Case):
    """expect: whether the requirement is met. level: what the category then is."""

    expect: Answer
    level: Level | Literal["not_supported"] | None = None


class WarningCase(Case):
    """expect: whether the warning is raised. urgency: how urgent it then is."""

    expect: Answer
    urgency: Urgency | None = None


class FallCase(Case):
    """level: the falls group that the answers and tests give."""

    level: FallLevel
