"""What an exam says of the comparisons that the rules make.

What one cell says of those that read it alone is worked out once for each value and kept, so that
an exam is put together from what it records. What reads several cells, the age or the medicines is
asked of the exam itself.
"""

from collections.abc import Callable, Hashable, Mapping
from dataclasses import dataclass
from fractions import Fraction
from functools import lru_cache, partial
from operator import ge, gt, le, lt
from types import MappingProxyType
from typing import Any

from app.exam.measures import QUANTITIES
from app.exam.record import Cell, Exam, Recorded, Untestable
from app.exam.vocabulary import GRADE_WORDS, Side, vocabulary
from app.knowledge.load import Knowledge
from app.knowledge.names import AGE
from app.logic.circuit import Bits, Circuit, bits
from app.logic.expression import Atom
from app.logic.truth import NO, UNKNOWN, Truth

# Of numbers, and of columns of them.
COMPARE: Mapping[str, Callable[[Any, Any], Any]] = MappingProxyType(
    {">=": ge, ">": gt, "<=": le, "<": lt}
)
Judge = Callable[[Atom, Side | None], Truth]
# An atom with its place among the atoms of a circuit.
Placed = tuple[int, Atom]
_LANES = {None: 0b1111, Side.RIGHT: 0b0011, Side.LEFT: 0b1100}
_MOST_KEPT = 512


@lru_cache(maxsize=1024)
def is_of_one_cell(knowledge: Knowledge, atom: Atom) -> bool:
    """Whether an atom reads one cell and nothing else."""
    compares_with_norm = any(operand in knowledge.norms for operand in atom.operands)
    return atom.name in vocabulary() and not compares_with_norm


def judge_recorded(knowledge: Knowledge, atom: Atom, recorded: Recorded | None) -> Truth:
    """Whether an atom of one cell holds, by what was recorded there; None where nothing was."""
    value = None if isinstance(recorded, Untestable) else recorded
    match atom.relation:
        case "untestable":
            return Truth.of(isinstance(recorded, Untestable))
        case "known":
            return Truth.of(value is not None)
        case _ if value is None:
            return UNKNOWN
        case "":
            return Truth.of(bool(value))
        case "is" | "in":
            return Truth.of(value in atom.operands)
        case comparison:
            against = mark(knowledge, atom.operands[0])
            return Truth.of(COMPARE[comparison](Fraction(str(value)), against))


def inputs_of(name: str) -> tuple[str, ...]:
    """The findings that a number is worked out from; a finding itself."""
    return QUANTITIES[name].inputs if name in QUANTITIES else (name,)


def mark(knowledge: Knowledge, name: str) -> Fraction:
    """The number of a grade or a threshold that atoms compare with."""
    if name in GRADE_WORDS:
        return Fraction(GRADE_WORDS.index(name))
    return Fraction(str(knowledge.thresholds[name].value))


@dataclass(frozen=True)
class _Joint:
    """An atom that reads several cells or the patient, with what it was for what stood there."""

    placed: Placed
    cells: tuple[Cell, ...]
    reads_patient: bool
    kept: dict[Hashable, int]


class Reading:
    """How exams are read for one circuit: its atoms answered in a row, a byte for each."""

    def __init__(self, knowledge: Knowledge, circuit: Circuit) -> None:
        self.circuit = circuit
        self._knowledge = knowledge
        self._alone: dict[str, list[Placed]] = {}
        self._joint: list[_Joint] = []
        self._of_medicines: list[Placed] = []
        self._balances: list[Placed] = []
        blank = []
        for placed in enumerate(circuit.atoms):
            atom = placed[1]
            if atom.relation == "takes":
                self._of_medicines.append(placed)
            elif atom.name in knowledge.balances:
                self._balances.append(placed)
            elif is_of_one_cell(knowledge, atom):
                self._alone.setdefault(atom.name, []).append(placed)
            else:
                cells = tuple((name, None) for name in inputs_of(atom.name) if name != AGE)
                reads_patient = atom.name not in QUANTITIES
                self._joint.append(_Joint(placed, cells, reads_patient, {}))
            blank.append(self._blank_of(atom))
        self._blank = int.from_bytes(blank, "little")
        self._of_cell = _Kept(lambda cell: _Kept(partial(self._change, cell)))

    def read(self, exam: Exam, judge: Judge, *, medicines: bool) -> bytes:
        """The answers of an exam, for the circuit to run on; of a balance none.

        judge: how the exam answers what more than one cell goes into. medicines: whether it can say
        anything of them.
        """
        answers = self._blank
        cells, of_cell = exam.cells, self._of_cell
        for cell, recorded in cells.items():
            answers ^= of_cell[cell][recorded]
        patient = (exam.patient.age, exam.patient.sex)
        for joint in self._joint:
            read = (joint.reads_patient and patient, *map(cells.get, joint.cells))
            change = joint.kept.get(read)
            if change is None:
                change = self._asked(joint.placed, judge)
                if len(joint.kept) < _MOST_KEPT:
                    joint.kept[read] = change
            answers ^= change
        if medicines:
            for placed in self._of_medicines:
                answers ^= self._asked(placed, judge)
        return self._row(answers)

    def with_balances(self, answers: bytes, judge: Judge) -> bytes:
        """The same answers with those of the balances, which rest on other conditions."""
        weighed = int.from_bytes(answers, "little")
        for placed in self._balances:
            weighed ^= self._asked(placed, judge)
        return self._row(weighed)

    def _row(self, answers: int) -> bytes:
        return answers.to_bytes(len(self.circuit.atoms), "little")

    def _asked(self, placed: Placed, judge: Judge) -> int:
        """What the exam itself says of an atom, as a change of an exam with nothing in it."""
        number, atom = placed
        return (_both(judge(atom, None)) ^ self._blank_of(atom)) << 8 * number

    def _change(self, cell: Cell, recorded: Recorded) -> int:
        """What a recorded cell changes in the answers of an exam with nothing in it."""
        name, side = cell
        changes = 0
        for number, atom in self._alone.get(name, ()):
            before = self._blank_of(atom)
            change = before ^ _both(judge_recorded(self._knowledge, atom, recorded))
            changes |= (change & _LANES[side]) << 8 * number
        return changes

    def _blank_of(self, atom: Atom) -> Bits:
        return _both(NO if atom.relation in ("known", "untestable") else UNKNOWN)


class _Kept(dict[Any, Any]):
    """What a function gave for each key so far, up to a limit."""

    def __init__(self, of: Callable[[Any], Any]) -> None:
        super().__init__()
        self._of = of

    def __missing__(self, key: Any) -> Any:
        found = self._of(key)
        # Numbers have many values, and not all of them are worth their room.
        if len(self) < _MOST_KEPT:
            self[key] = found
        return found


def _both(truth: Truth) -> Bits:
    return bits(truth, truth)
