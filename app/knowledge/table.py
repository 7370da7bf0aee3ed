"""What every table of a knowledge file has in common."""

from contextvars import ContextVar
from typing import Annotated, Literal

from pydantic import AfterValidator, BaseModel, ConfigDict, Field, ValidationInfo

from app.language.words import known

# The file and the rule that are being read, for whoever translates them.
reading: ContextVar[str] = ContextVar("reading", default="")


def _said(text: str, info: ValidationInfo) -> str:
    """The words in the language in which the tables are read."""
    return known(text, f"{reading.get()}: {info.field_name}")


Id = Annotated[str, Field(pattern=r"^[A-Za-z][A-Za-z0-9_]*$")]
Text = Annotated[str, Field(min_length=1)]
# What people read, in the language in use; whatever else is text is the same in every language.
MaybePhrase = Annotated[str, AfterValidator(_said)]
Phrase = Annotated[str, Field(min_length=1), AfterValidator(_said)]
# Something to do next, which is never an order.
Suggestion = Annotated[str, Field(pattern="^Consider "), AfterValidator(_said)]
Sentence = Text  # a condition, parsed by app.logic.parse
Standing = Literal["read", "secondary", "memory", "common practice"]
Level = Literal["fits", "fits_with_cautions", "partial", "open"]
Urgency = Literal["emergency", "same_day", "soon", "routine"]
FallLevel = Literal["low", "intermediate", "high", "open"]
Answer = Literal["yes", "no", "unknown"]
ANSWERS: tuple[Answer, ...] = ("yes", "no", "unknown")


class Table(BaseModel):
    """One table of a knowledge file: no key that is not named here, and none changed later."""

    model_config = ConfigDict(extra="forbid", frozen=True)


class Rule(Table):
    """A table with an id of its own, stable for ever."""

    id: Id
