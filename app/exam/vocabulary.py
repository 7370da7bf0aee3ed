"""The vocabulary: every finding that an exam can hold, read once from findings.toml."""

import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum
from importlib import resources
from typing import Any

from app.exam.units import counted, grade_word
from app.language.numbers import figures
from app.language.words import InEachLanguage, _, known


class Side(StrEnum):
    """The patient's side."""

    RIGHT = "right"
    LEFT = "left"

    # As text, which it is equal to; that of an Enum is worked out in Python and costs ten times it.
    __hash__ = str.__hash__

    @property
    def other(self) -> "Side":
        """The opposite side."""
        return Side.LEFT if self is Side.RIGHT else Side.RIGHT


# Right stands before left everywhere: screen, print, note and export.
SIDES = (Side.RIGHT, Side.LEFT)


class Scale(StrEnum):
    """How a finding is recorded."""

    GRADE = "grade"
    YESNO = "yesno"
    CHOICE = "choice"
    COUNT = "count"
    NUMBER = "number"


GRADES = (0, 1, 2, 3)
GRADE_WORDS = ("none", "slight", "definite", "marked")
# Stations whose findings are signs that the examiner sees or feels; history and measures are not.
EXAM_STATIONS = ("rest", "posture", "reach", "repeat", "tone", "gait", "more")


def graded(grade: int) -> str:
    """A grade as its digit and its word: 2 definite."""
    return f"{grade} {grade_word(GRADE_WORDS[grade])}"


@dataclass(frozen=True)
class Station:
    """A part of the exam, in the order in which it is done."""

    id: str
    label: str
    hint: str


@dataclass(frozen=True)
class Finding:
    """One thing that an exam can record, on each side or once."""

    id: str
    label: str
    station: str
    scale: Scale
    paired: bool
    hint: str = ""
    values: tuple[str, ...] = ()
    words: tuple[str, ...] = ()
    unit: str = ""
    minimum: Decimal | None = None
    maximum: Decimal | None = None
    core: bool = False
    nurse: bool = False
    has_normal: bool = True
    detail_of: str | None = None
    task: str | None = None
    limb: str | None = None

    @property
    def sides(self) -> tuple[Side | None, ...]:
        """The sides on which it is recorded; a single finding has the one side None."""
        return SIDES if self.paired else (None,)

    @property
    def is_sign(self) -> bool:
        """Whether the examiner sees or feels it, as against history and measures."""
        return self.station in EXAM_STATIONS

    def words_of(self, value: object) -> str:
        """Say a recorded value in words, as on screen and in print."""
        match self.scale:
            case Scale.GRADE:
                return graded(int(str(value)))
            case Scale.YESNO:
                return _("yes") if value else _("no")
            case Scale.CHOICE:
                return self.words[self.values.index(str(value))]
            case _:
                # A Decimal may hold a power of ten, which nobody reads on a sheet: 1E+1 is 10.
                number = f"{value:f}" if isinstance(value, Decimal) else value
                return f"{figures(number)} {counted(self.unit, value)}".strip()

    def is_abnormal(self, value: object) -> bool:
        """Whether a recorded value is abnormal by itself; False where it has no normal value."""
        match self.scale:
            case Scale.GRADE:
                return int(str(value)) > 0
            case Scale.YESNO:
                return value is True
            case Scale.CHOICE:
                return self.has_normal and value != self.values[0]
            case _:
                return False

    def normal_value(self) -> int | bool | str | None:
        """The value that means nothing abnormal was found; None where there is none."""
        match self.scale:
            case Scale.GRADE:
                return 0
            case Scale.YESNO:
                return False
            case Scale.CHOICE if self.has_normal:
                return self.values[0]
            case _:
                return None


class Vocabulary(Mapping[str, Finding]):
    """Every finding by id, in the order of findings.toml."""

    def __init__(self, stations: tuple[Station, ...], findings: tuple[Finding, ...]) -> None:
        self.stations = stations
        self._findings = {finding.id: finding for finding in findings}
        self._place = {finding.id: place for place, finding in enumerate(findings)}
        self._at: dict[str, tuple[Finding, ...]] = {}
        self._details: dict[str, tuple[Finding, ...]] = {}
        for finding in findings:
            self._at[finding.station] = (*self.at(finding.station), finding)
            if finding.detail_of:
                self._details[finding.detail_of] = (*self.details_of(finding.detail_of), finding)

    def __getitem__(self, finding_id: str) -> Finding:
        return self._findings[finding_id]

    def __iter__(self) -> Iterator[str]:
        return iter(self._findings)

    def __len__(self) -> int:
        return len(self._findings)

    def place(self, finding_id: str, side: Side | None = None) -> tuple[int, int]:
        """Sort key: the order of findings.toml, right before left."""
        return self._place[finding_id], 1 if side is Side.LEFT else 0

    def at(self, station: str) -> tuple[Finding, ...]:
        """The findings of one station."""
        return self._at.get(station, ())

    def details_of(self, finding_id: str) -> tuple[Finding, ...]:
        """The findings that describe another one."""
        return self._details.get(finding_id, ())


@InEachLanguage
def vocabulary() -> Vocabulary:
    """The vocabulary that ships with the program."""
    text = resources.files(__package__).joinpath("findings.toml").read_text(encoding="utf-8")
    return read_vocabulary(tomllib.loads(text, parse_float=Decimal))


def read_vocabulary(tables: Mapping[str, Any]) -> Vocabulary:
    """Build the vocabulary from the parsed tables of findings.toml."""
    stations = tuple(
        Station(
            key,
            known(words["label"], f"findings.toml: stations: {key}"),
            known(words["hint"], f"findings.toml: stations: {key}"),
        )
        for key, words in tables["stations"].items()
    )
    findings: list[Finding] = []
    for key, table in tables["finding"].items():
        if "tasks" in table:
            for task in table["tasks"]:
                findings.append(_finding(key, table, "TASK", task, tables["tasks"][task]))
        elif "limbs" in table:
            for limb in table["limbs"]:
                findings.append(_finding(key, table, "LIMB", limb, tables["limbs"][limb]))
        else:
            findings.append(_finding(key, table))
    return Vocabulary(stations, tuple(findings))


def _finding(
    key: str, table: Mapping[str, Any], group: str = "", member: str = "", word: str = ""
) -> Finding:
    def number(name: str) -> Decimal | None:
        return Decimal(table[name]) if name in table else None

    def said(text: str, name: str) -> str:
        return known(text.replace("{" + group.title() + "}", word) if group else text, name)

    detail_of = table.get("detail_of")
    return Finding(
        id=key.replace(group, member) if group else key,
        label=said(table["label"], f"findings.toml: {key}: label"),
        station=table["station"],
        scale=Scale(table["scale"]),
        paired=table["sides"] == "pair",
        hint=said(table.get("hint", ""), f"findings.toml: {key}: hint"),
        values=tuple(table.get("values", ())),
        words=tuple(said(each, f"findings.toml: {key}: words") for each in table.get("words", ())),
        unit=table.get("unit", ""),
        minimum=number("min"),
        maximum=number("max"),
        core=table.get("core", False) and (group != "TASK" or member in table["core_tasks"]),
        nurse=table.get("nurse", False),
        has_normal=table.get("normal", True),
        detail_of=detail_of.replace(group, member) if detail_of and group else detail_of,
        task=member if group == "TASK" else None,
        limb=member if group == "LIMB" else None,
    )
