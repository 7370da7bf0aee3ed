"""One exam as the world that answers the atoms of conditions."""

from collections.abc import Iterable, Mapping
from dataclasses import replace
from decimal import Decimal
from fractions import Fraction
from functools import cached_property, lru_cache
from types import MappingProxyType

from app.assess.assessment import Reason
from app.assess.atoms import COMPARE, Reading, inputs_of, is_of_one_cell, judge_recorded, mark
from app.assess.medicines import CheckedMedicines
from app.exam.measures import QUANTITIES
from app.exam.record import Exam, Value
from app.exam.vocabulary import SIDES, Side, vocabulary
from app.knowledge.load import Knowledge
from app.knowledge.model import Balance
from app.knowledge.names import AGE
from app.logic.circuit import Circuit, WorkedOut
from app.logic.expression import Atom, Expression
from app.logic.truth import NO, UNKNOWN, YES, Truth

_BY_NAME = {side.value: side for side in SIDES}


class ExamWorld:
    """Answers from one exam under one version of the knowledge, with the cells behind each."""

    sides: tuple[str, str] = SIDES

    def __init__(
        self,
        exam: Exam,
        knowledge: Knowledge,
        medicines: CheckedMedicines,
        supposed_taken: Mapping[str, bool] = MappingProxyType({}),
    ) -> None:
        self.exam = exam
        self.knowledge = knowledge
        self.medicines = medicines
        self.supposed_taken = supposed_taken

    @cached_property
    def evaluation(self) -> WorkedOut:
        """Every condition of the knowledge, worked out."""
        reading = _reading(self.knowledge)
        knows_of_medicines = self.medicines.asked or bool(self.supposed_taken)
        answers = reading.read(self.exam, self.judge, medicines=knows_of_medicines)
        self.evaluation = WorkedOut(self, reading.circuit, answers)
        # A balance rests on a sign, which is known only now.
        weighed = reading.with_balances(answers, self.judge)
        return WorkedOut(self, reading.circuit, weighed) if weighed != answers else self.evaluation

    # ---- what if

    def supposing(self, values: Mapping[tuple[str, Side | None], Value]) -> "ExamWorld":
        """The same exam with some of what is unknown filled in."""
        cells = {each: value for each, value in values.items() if each[0] in vocabulary()}
        taken = {each[0]: bool(value) for each, value in values.items() if each not in cells}
        exam = replace(self.exam, cells=MappingProxyType({**self.exam.cells, **cells}))
        return ExamWorld(exam, self.knowledge, self.medicines, {**self.supposed_taken, **taken})

    def _takes(self, name: str) -> Truth:
        supposed = self.supposed_taken.get(name)
        return self.medicines.takes(name) if supposed is None else Truth.of(supposed)

    # ---- what conditions say

    def holds(self, sentence: str | None, side: Side | None = None) -> Truth:
        """The truth of a condition of the knowledge; yes where there is none."""
        return YES if sentence is None else self.truth(self.knowledge.conditions[sentence], side)

    def truth(self, expression: Expression, side: Side | None = None) -> Truth:
        """The truth of a parsed condition."""
        return self.evaluation.truth(expression, side)

    def named(self, name: str, side: Side | None = None) -> Truth:
        """The truth of a condition that has a name."""
        return self.evaluation.truth(self.knowledge.definitions[name].expression, side)

    def because(self, *expressions: Expression, side: Side | None = None) -> tuple[Reason, ...]:
        """What was recorded that makes the conditions true, in the order of findings.toml."""
        found: list[Reason] = []
        for expression in expressions:
            for atom, at in self.evaluation.because(expression, side):
                found += self._behind(atom, at)
        return in_order(found)

    def grounds(self, *expressions: Expression) -> tuple[Reason, ...]:
        """What was recorded that makes the conditions true or false, in the same order."""
        found: list[Reason] = []
        for expression in expressions:
            for atom, side in self.evaluation.grounds(expression):
                found += self._behind(atom, side)
        return in_order(found)

    def unsettled(self, *expressions: Expression) -> tuple[Reason, ...]:
        """The unknown cells that could still change the conditions, in the same order."""
        found: list[Reason] = []
        for expression in expressions:
            for judged in self.evaluation.unsettled(expression):
                found += self._lacking(*judged)
        return in_order(found)

    # ---- the World of app.logic

    def judge(self, atom: Atom, side: str | None) -> Truth:
        """Whether an atom holds in this exam."""
        if is_of_one_cell(self.knowledge, atom):
            recorded = self.exam.cells.get((atom.name, _side(side)))
            return judge_recorded(self.knowledge, atom, recorded)
        match atom.relation:
            case "takes":
                return self._takes(atom.name)
            case "known":
                return Truth.of(self._number(atom.name) is not None)
            case "":
                return self._balanced(self.knowledge.balances[atom.name])
            case comparison:
                left, right = self._number(atom.name), self._operand(atom.operands[0])
                if left is None or right is None:
                    return UNKNOWN
                return Truth.of(COMPARE[comparison](left, right))

    def can_change(self, atom: Atom, side: str | None) -> bool:
        """Whether recording more could change the answer; what could not be tested is final."""
        at = _side(side)
        if atom.relation == "known":
            cells = [(name, at) for name in inputs_of(atom.name)]
            return any(cell not in self.exam.cells for cell in cells)
        return self.judge(atom, side) is UNKNOWN

    def other(self, side: str | None) -> str | None:
        """The opposite side."""
        at = _side(side)
        return at.other if at else None

    def is_paired(self, name: str) -> bool:
        """Whether an atom's name is recorded on each side."""
        return self.knowledge.names.is_paired(name)

    # ---- numbers

    def _number(self, name: str) -> Fraction | None:
        if name in QUANTITIES:
            return QUANTITIES[name].of(self.exam)
        value = self.exam.patient.age if name == AGE else self.exam.value(name)
        return None if value is None else Fraction(str(value))

    def _operand(self, name: str) -> Fraction | None:
        if name not in self.knowledge.norms:
            return mark(self.knowledge, name)
        patient = self.exam.patient
        norm = self.knowledge.norms[name].value(patient.age, patient.sex)
        return None if norm is None else Fraction(norm)

    def _balanced(self, balance: Balance) -> Truth:
        """Whether the sums of grades are equal; a grade that is unknown leaves it unknown."""
        sums = []
        for side in SIDES:
            grades = [self.exam.value(finding, side) for finding in balance.findings]
            for finding, sign in balance.counted_where.items():
                counted = self.named(sign, side)
                grade = self.exam.value(finding, side)
                grades.append(grade if counted is YES else 0 if counted is NO else None)
            if any(grade is None for grade in grades):
                return UNKNOWN
            sums.append(sum(int(str(grade)) for grade in grades))
        return Truth.of(sums[0] == sums[1])

    # ---- the cells behind an atom

    def _behind(self, atom: Atom, side: str | None) -> list[Reason]:
        if atom.relation == "takes":
            taken = self.medicines.taken(atom.name)
            return [Reason(medicine=each, medicine_class=atom.name) for each in taken]
        if atom.relation in ("known", "untestable"):
            return []
        return [
            Reason(finding, at, value)
            for finding, at in self._cells(atom, side)
            if (value := self._recorded(finding, at)) is not None
        ]

    def _lacking(self, atom: Atom, side: str | None) -> list[Reason]:
        if atom.relation == "takes":
            return [Reason(medicine_class=atom.name)]
        return [
            Reason(finding, at)
            for finding, at in self._cells(atom, side)
            if self._recorded(finding, at) is None
        ]

    def _cells(self, atom: Atom, side: str | None) -> list[tuple[str, Side | None]]:
        if atom.name in self.knowledge.balances:
            balance = self.knowledge.balances[atom.name]
            found = [(finding, at) for finding in balance.findings for at in SIDES]
            for finding in balance.counted_where:
                found += [
                    (each.id, at)
                    for each in (vocabulary()[finding], *vocabulary().details_of(finding))
                    if each.core
                    for at in SIDES
                ]
            return [*found]
        at = _side(side)
        return [(name, at) for name in inputs_of(atom.name)]

    def _recorded(self, finding: str, side: Side | None) -> Decimal | int | bool | str | None:
        return self.exam.patient.age if finding == AGE else self.exam.value(finding, side)


def in_order(reasons: Iterable[Reason]) -> tuple[Reason, ...]:
    """Each reason once, in the order of findings.toml, right before left; medicines last."""

    def place(reason: Reason) -> tuple[int, int]:
        if reason.finding is None or reason.finding == AGE:
            return len(vocabulary()), reason.finding is None
        return vocabulary().place(reason.finding, reason.side)

    return tuple(sorted(dict.fromkeys(reasons), key=place))


def _side(side: str | None) -> Side | None:
    # Sides come back from app.logic as the str that they are; a look-up is the quick way back.
    return _BY_NAME[side] if side else None


@lru_cache(maxsize=4)
def _reading(knowledge: Knowledge) -> Reading:
    expressions = [each.expression for each in knowledge.definitions.values()]
    expressions += [*knowledge.conditions.values(), *knowledge.completions.values()]
    circuit = Circuit(expressions, knowledge.definitions)
    return Reading(knowledge, circuit)
