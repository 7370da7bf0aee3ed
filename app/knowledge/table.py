"""What every table of a knowledge file has in common."""

from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field

Id = Annotated[str, Field(pattern=r"^[A-Za-z][A-Za-z0-9_]*$")]
Text = Annotated[str, Field(min_length=1)]
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
