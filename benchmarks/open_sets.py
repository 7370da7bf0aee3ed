"""How often the right category is listed for published diseases and patients.

`python -m benchmarks.open_sets FILE...` reads files of one JSON object a line:
`{"case", "title", "source", "exam", "accept", "tier", "not_normal"}`. `accept` holds every category
that is right by the disease's definition; `not_normal` names findings that the source leaves
doubtful, which are never filled in as normal. tests/external/README.md says how such cases are
made and what they can and cannot check. The last line printed is one JSON object.

A strong category outside `accept` is mostly no fault: a disease profile is the union of many
patients, and a patient can have two things. No threshold may be tuned on these figures.
"""

import argparse
import json
import sys
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from decimal import Decimal
from pathlib import Path
from types import MappingProxyType
from typing import Any

from app.assess.assess import assess
from app.assess.assessment import Assessment
from app.exam.faults import BadExam
from app.exam.reading import read_exam
from app.exam.record import Exam
from app.exam.vocabulary import vocabulary
from app.knowledge.load import knowledge

STRONG = ("fits", "fits_with_cautions")
# Movements that are seen at once: a profile that has one beside its disease is hardly a confusion.
VISIBLE = frozenset({"dystonia", "chorea", "myoclonus", "tics"})
READINGS = ("as recorded", "rest taken as normal")
# The usual number of steps of a half turn, for which the vocabulary names no normal value.
NORMAL_TURN_STEPS = 2


class BadFile(ValueError):
    """A file of cases cannot be read; the message names the file and the line."""


@dataclass(frozen=True)
class Case:
    """One published disease or patient, as an exam with the categories that are right for it."""

    id: str
    title: str
    exam: Exam
    accept: frozenset[str]
    not_normal: frozenset[str]


@dataclass(frozen=True)
class Result:
    """What one case gave."""

    case: Case
    listed: tuple[str, ...]
    strong: tuple[str, ...]

    @property
    def is_listed(self) -> bool:
        """Whether a right category is listed at any level."""
        return not self.case.accept.isdisjoint(self.listed)

    @property
    def is_strong(self) -> bool:
        """Whether a right category fits, with or without cautions."""
        return not self.case.accept.isdisjoint(self.strong)

    @property
    def outside(self) -> frozenset[str]:
        """The categories that fit and are not among the right ones."""
        return frozenset(self.strong) - self.case.accept - {"nothing_abnormal"}

    def missed(self) -> str:
        """A line that says which right categories are not listed, and what is instead."""
        missing = ", ".join(sorted(self.case.accept.difference(self.listed)))
        instead = ", ".join(self.listed) or "nothing"
        return f"{self.case.id} {self.case.title}: not listed {missing}; listed {instead}"


def read_cases(path: Path) -> tuple[Case, ...]:
    """The cases of a file.

    Raises: BadFile.
    """
    try:
        lines = path.read_text(encoding="utf-8").splitlines()
    except (OSError, UnicodeDecodeError) as error:
        raise BadFile(f"{path}: cannot be read: {error}") from None
    return tuple(_case(line, f"{path}:{at}") for at, line in enumerate(lines, 1) if line.strip())


def _case(line: str, place: str) -> Case:
    try:
        # The exam keeps its numbers as they were typed, as in the program itself.
        raw = json.loads(line, parse_float=Decimal)
        exam = read_exam(raw["exam"])
        accept, not_normal = frozenset(raw["accept"]), frozenset(raw.get("not_normal", ()))
        case = Case(raw["case"], raw["title"], exam, accept, not_normal)
    except json.JSONDecodeError as error:
        raise BadFile(f"{place}: not JSON: {error.msg}") from None
    except BadExam as error:
        raise BadFile(f"{place}: {'; '.join(error.faults)}") from None
    except KeyError as error:
        raise BadFile(f"{place}: the key {error} is missing") from None
    except TypeError:
        raise BadFile(f"{place}: not a case with case, title, exam and accept") from None
    unknown = sorted(accept.difference(knowledge().categories))
    if unknown:
        raise BadFile(f"{place}: not a category: {', '.join(unknown)}")
    unknown = sorted(not_normal.difference(vocabulary()))
    if unknown:
        raise BadFile(f"{place}: not a finding: {', '.join(unknown)}")
    return case


def rest_taken_as_normal(case: Case) -> Exam:
    """The exam with every sign that was not recorded normal, except the doubtful ones."""
    cells = dict(case.exam.cells)
    for finding in vocabulary().values():
        if not finding.is_sign or finding.detail_of or finding.id in case.not_normal:
            continue
        normal = NORMAL_TURN_STEPS if finding.id == "turn_steps" else finding.normal_value()
        if normal is not None:
            for side in finding.sides:
                cells.setdefault((finding.id, side), normal)
    return Exam(case.exam.patient, MappingProxyType(cells), case.exam.medicines)


def result_of(case: Case, found: Assessment) -> Result:
    """What an assessment says of a case."""
    strong = tuple(each.id for each in found.listed if each.level in STRONG)
    return Result(case, tuple(each.id for each in found.listed), strong)


def measure(cases: Iterable[Case], reading: str) -> tuple[Result, ...]:
    """Every case assessed, in one of the two readings."""
    return tuple(
        result_of(
            case,
            assess(
                case.exam if reading == READINGS[0] else rest_taken_as_normal(case), knowledge()
            ),
        )
        for case in cases
    )


def counts(results: Sequence[Result]) -> dict[str, int]:
    """The figures of a table's row.

    outside_more: of those with a strong category outside, how many have more than a visible one.
    """
    return {
        "cases": len(results),
        "listed": sum(each.is_listed for each in results),
        "strong": sum(each.is_strong for each in results),
        "outside": sum(bool(each.outside) for each in results),
        "outside_more": sum(bool(each.outside - VISIBLE) for each in results),
    }


def main(arguments: Sequence[str] | None = None) -> int:
    """Print a table of the files named on the command line, then the same as one JSON object."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks.open_sets", description=__doc__)
    parser.formatter_class = argparse.RawDescriptionHelpFormatter
    parser.add_argument("files", nargs="+", type=Path, metavar="FILE")
    files = parser.parse_args(arguments).files
    try:
        sets = [(path, read_cases(path)) for path in files]
    except BadFile as fault:
        sys.stderr.write(f"{fault}\n")
        return 2
    measured: list[dict[str, Any]] = []
    _say("| file | read | right category listed | strong | strong and outside accept (more) |")
    _say("|---|---|---|---|---|")
    for path, cases in sets:
        for reading in READINGS:
            results = measure(cases, reading)
            row = counts(results)
            missed = [each.missed() for each in results if not each.is_listed]
            measured.append({"file": path.name, "read": reading, **row, "missed": missed})
            _say(
                f"| {path.name} | {reading} | {row['listed']}/{row['cases']} | {row['strong']}"
                f" | {row['outside']} ({row['outside_more']}) |"
            )
    _say("\nstrong: fits, with or without cautions. more: beyond a visible movement alone")
    _say(f"({', '.join(sorted(VISIBLE))}).\n")
    _say(json.dumps({"knowledge": knowledge().version, "measured": measured}))
    return 0


def _say(line: str) -> None:
    sys.stdout.write(f"{line}\n")


if __name__ == "__main__":
    sys.exit(main())
