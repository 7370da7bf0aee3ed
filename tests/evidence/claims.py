"""The hazard log and the table of security requirements, read strictly."""

import re
import tomllib
from functools import cache
from pathlib import Path
from typing import Annotated, Any, Literal, Self, TypeVar

from pydantic import BaseModel, ConfigDict, Field, StringConstraints, ValidationError
from pydantic import model_validator as checked

ROOT = Path(__file__).resolve().parents[2]
HAZARDS = ROOT / "docs" / "safety" / "hazards.toml"
ASVS = ROOT / "docs" / "security" / "asvs.toml"

Text = Annotated[str, StringConstraints(min_length=3, strip_whitespace=True)]
# A test function, without the brackets of one of its cases: it stands for all of them.
NodeId = Annotated[
    str,
    StringConstraints(
        pattern=r"^tests/[a-z0-9_/]+/test_\w+\.py::test_\w+$|^tests/test_\w+\.py::test_\w+$"
    ),
]
Status = Literal["met", "partly", "not met", "clinic", "does not apply"]
Step = Annotated[int, Field(ge=1, le=5)]
Read = TypeVar("Read", bound=BaseModel)


class BadClaims(ValueError):
    """A file of claims cannot be used; the message names file and place."""


class _Strict(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


class Level(_Strict):
    """One step of a scale, the first the least."""

    name: Text
    means: Text


class Risk(_Strict):
    """How bad and how often, as steps of the scales."""

    severity: Step
    likelihood: Step


class Control(_Strict):
    """What the program does against a hazard, and the tests that show it."""

    says: Text
    tests: Annotated[tuple[NodeId, ...], Field(min_length=1)]


class Hazard(_Strict):
    """What can do harm.

    error: where a person's mistake has a part in it: in seeing, in thinking or in doing; or none.
    clinic: what the clinic has to do, as the program cannot. left: what stays, all the same.
    accepted: why a risk of the middle stays, where one does.
    """

    id: Annotated[str, StringConstraints(pattern=r"^H\d\d$")]
    title: Text
    cause: Text
    harm: Text
    error: Literal["perception", "cognition", "action", "none"]
    before: Risk
    after: Risk
    clinic: Text
    left: Text
    accepted: str = ""
    controls: Annotated[tuple[Control, ...], Field(min_length=1, alias="control")]


class HazardLog(_Strict):
    """The hazard log. matrix: the risk of each severity (row) at each likelihood (column)."""

    severity: Annotated[tuple[Level, ...], Field(min_length=5, max_length=5)]
    likelihood: Annotated[tuple[Level, ...], Field(min_length=5, max_length=5)]
    risk: Annotated[tuple[Level, ...], Field(min_length=5, max_length=5)]
    matrix: tuple[tuple[Step, Step, Step, Step, Step], ...]
    hazards: Annotated[tuple[Hazard, ...], Field(min_length=1, alias="hazard")]

    def risk_of(self, risk: Risk) -> int:
        """From 1 to 5."""
        return self.matrix[risk.severity - 1][risk.likelihood - 1]

    @checked(mode="after")
    def _consistent(self) -> Self:
        if len(self.matrix) != 5:
            raise ValueError("matrix: five rows, one for each severity")
        for row in (*self.matrix, *zip(*self.matrix, strict=True)):
            if list(row) != sorted(row):
                raise ValueError("matrix: a worse harm, or a likelier one, is never a lower risk")
        ids = [each.id for each in self.hazards]
        if ids != sorted(set(ids)):
            raise ValueError("hazards: each id once, in order")
        for each in self.hazards:
            before, after = self.risk_of(each.before), self.risk_of(each.after)
            if each.after.severity > each.before.severity or after > before:
                raise ValueError(f"{each.id}: controls make nothing worse")
            if after > 3:
                raise ValueError(f"{each.id}: a risk of {after} is left, which may not be")
            if (after == 3) != bool(each.accepted):
                raise ValueError(f"{each.id}: `accepted` says why a risk of 3 stays, and only then")
        return self


class Requirement(_Strict):
    """One requirement of the standard, in our words.

    where: where it is met, or why it does not apply, or what is missing.
    """

    id: Annotated[str, StringConstraints(pattern=r"^\d+\.\d+\.\d+$")]
    level: Literal[1, 2]
    asks: Text
    status: Status
    where: Text
    tests: tuple[NodeId, ...] = ()

    @checked(mode="after")
    def _shown(self) -> Self:
        if self.status in ("not met", "does not apply", "clinic") and self.tests:
            raise ValueError(f"{self.id}: what is {self.status} has no test that shows it")
        return self


class Asvs(_Strict):
    """The table. chapters: their names, by number. counts: requirements of level 1 and of 2."""

    chapters: dict[str, Text]
    counts: tuple[int, int]
    requirements: Annotated[tuple[Requirement, ...], Field(min_length=1, alias="requirement")]

    @checked(mode="after")
    def _whole(self) -> Self:
        ids = [tuple(map(int, each.id.split("."))) for each in self.requirements]
        if ids != sorted(set(ids)):
            raise ValueError("requirements: each once, in order")
        found = tuple(sum(each.level == level for each in self.requirements) for level in (1, 2))
        if found != self.counts:
            raise ValueError(f"requirements: {found} of level 1 and 2, and should be {self.counts}")
        if {str(each[0]) for each in ids} != set(self.chapters):
            raise ValueError("chapters: not those of the requirements")
        return self


@cache
def hazard_log(file: Path = HAZARDS) -> HazardLog:
    """The hazard log. Raises: BadClaims."""
    return _read(file, HazardLog)


@cache
def asvs(file: Path = ASVS) -> Asvs:
    """The table of security requirements. Raises: BadClaims."""
    return _read(file, Asvs)


def named_tests() -> dict[str, list[str]]:
    """The node id of every test that shows something, with what it is to show."""
    named: dict[str, list[str]] = {}
    for hazard in hazard_log().hazards:
        for number, control in enumerate(hazard.controls, start=1):
            for test in control.tests:
                named.setdefault(test, []).append(f"control {hazard.id}.{number}")
    for requirement in asvs().requirements:
        for test in requirement.tests:
            named.setdefault(test, []).append(f"ASVS v5.0.0-{requirement.id}")
    return named


def base_id(node_id: str) -> str:
    """The test function of a node id, without the brackets of the case."""
    return re.sub(r"\[.*", "", node_id, flags=re.DOTALL)


def _read(file: Path, kind: type[Read]) -> Read:
    try:
        held: dict[str, Any] = tomllib.loads(file.read_text(encoding="utf-8"))
        return kind.model_validate(held)
    except (OSError, tomllib.TOMLDecodeError) as error:
        raise BadClaims(f"{file}: {error}") from error
    except ValidationError as error:
        places = [
            f"{'.'.join(str(part) for part in fault['loc'])}: {fault['msg']}"
            for fault in error.errors(include_url=False)
        ]
        raise BadClaims(f"{file}:\n" + "\n".join(places)) from error
