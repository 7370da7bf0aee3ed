"""The smallest exam for everything that can be concluded: found by the solver, kept in the docs."""

import json
from collections.abc import Iterator, Mapping
from dataclasses import replace
from pathlib import Path
from types import MappingProxyType

import z3  # type: ignore[import-untyped]

from app.exam.reading import parse_exam
from app.exam.record import Exam, Patient
from app.exam.vocabulary import SIDES
from app.exam.writing import exam_as_json
from tests.proofs.claims import Claim, every_claim, fact_of, is_concluded
from tests.proofs.facts import Fact
from tests.proofs.proving import Proofs

FOLDER = Path(__file__).parents[2] / "docs" / "clinical"
KEPT, PAGE = FOLDER / "examples.ndjson", FOLDER / "examples.md"

# Numbers as a clinic sees them, the first that goes; the solver likes zeros and ends of ranges.
EVERYDAY: Mapping[str, tuple[str, ...]] = {
    "posture_tremor_delay_s": ("6", "1"),
    "turn_steps": ("5",),
    "hx_years": ("1", "4", "0.1"),
    "tug_s": ("18", "13", "9"),
    "stands_30s": ("6",),
    "five_stands_s": ("18",),
    "walk_m": ("6",),
    "walk_s": ("9", "5"),
    "tandem_stand_s": ("6",),
    "lying_sys": ("130",),
    "standing_sys": ("105", "125"),
    "lying_dia": ("80",),
    "standing_dia": ("65", "78"),
    "lying_hr": ("68",),
    "standing_hr": ("72",),
}
AGES = ("45", "72")


def find(proofs: Proofs) -> Iterator[tuple[Claim, Exam]]:
    """For everything that can be concluded, an exam that concludes it, and nothing to spare."""
    wishes = list(_everyday(proofs))
    for claim in every_claim(proofs.knowledge):
        exam = proofs.smallest(fact_of(claim, proofs.exam), wishes=wishes)
        if exam is not None:
            yield claim, _least(claim, exam, proofs)


def read() -> dict[Claim, Exam]:
    """The examples that the docs keep."""
    lines = KEPT.read_text(encoding="utf-8").splitlines()
    held = (json.loads(line) for line in lines)
    return {Claim(*each["claim"]): parse_exam(json.dumps(each["exam"])) for each in held}


def as_lines(examples: Mapping[Claim, Exam]) -> str:
    """The examples as the docs keep them."""
    lines = (
        {"claim": [claim.about, claim.id, claim.at], "exam": exam_as_json(exam)}
        for claim, exam in examples.items()
    )
    return "".join(f"{json.dumps(line, ensure_ascii=False)}\n" for line in lines)


def with_one_thing_less(exam: Exam) -> Iterator[Exam]:
    """The exam without each thing that is recorded in it."""
    for cell in exam.cells:
        rest = {other: held for other, held in exam.cells.items() if other != cell}
        yield replace(exam, cells=MappingProxyType(rest))
    if exam.patient.age is not None:
        yield replace(exam, patient=Patient(None, exam.patient.sex))
    if exam.patient.sex is not None:
        yield replace(exam, patient=Patient(exam.patient.age, None))
    if exam.medicines is not None:
        for line in exam.medicines:
            yield replace(exam, medicines=tuple(each for each in exam.medicines if each != line))
        yield replace(exam, medicines=None)


def _least(claim: Claim, exam: Exam, proofs: Proofs) -> Exam:
    """The exam without what it is concluded without: the program decides more than a formula."""
    assert is_concluded(claim, exam, proofs.knowledge), (claim, exam)
    for less in with_one_thing_less(exam):
        if is_concluded(claim, less, proofs.knowledge):
            return _least(claim, less, proofs)
    return exam


def _everyday(proofs: Proofs) -> Iterator[Fact]:
    for finding, numbers in EVERYDAY.items():
        for side in (None, *SIDES):
            if (finding, side) in proofs.exam.cells:
                value = proofs.exam.held(finding, side).value
                yield from (value == z3.RealVal(number) for number in numbers)
    yield from (proofs.exam.age.value == z3.RealVal(age) for age in AGES)
