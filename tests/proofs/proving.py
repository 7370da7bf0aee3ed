"""Ask the solver about every exam at once."""

from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import z3  # type: ignore[import-untyped]

from app.exam.record import Cell, Exam
from app.exam.vocabulary import SIDES, Side
from app.exam.writing import exam_as_json
from app.knowledge.conditions import (
    place_of_conflict,
    places_of_category,
    places_of_falls,
    places_of_step,
    places_of_warning,
)
from app.knowledge.load import Knowledge
from app.logic.expression import Expression
from tests.proofs.cells import Held
from tests.proofs.exams import exam_of
from tests.proofs.facts import Fact, Pair, all_of, if_then
from tests.proofs.solver import AnyExam

Json = dict[str, Any]


@dataclass(frozen=True)
class Rule:
    """A condition of the knowledge, with the name by which an exemption can speak of it.

    A sign, kind, category or tier has a name of its own; any other is called after its place.
    """

    name: str
    expression: Expression
    paired: bool = False

    @property
    def sides(self) -> tuple[Side | None, ...]:
        """The sides on which it is judged."""
        return SIDES if self.paired else (None,)

    def of(self, exam: AnyExam) -> list[Pair]:
        """The condition in an exam, on each of its sides."""
        return [exam.truth(self.expression, side) for side in self.sides]


class Proofs:
    """What can be asked about one version of the knowledge, over every exam."""

    def __init__(self, knowledge: Knowledge) -> None:
        self.knowledge = knowledge
        self.solver = z3.Solver()
        self.exam = AnyExam(knowledge)
        self.solver.add(*self.exam.possible)

    @cached_property
    def rules(self) -> dict[str, Rule]:
        """Every condition by its name."""
        named = [
            Rule(name, each.expression, each.paired)
            for name, each in self.knowledge.definitions.items()
        ]
        return {rule.name: rule for rule in (*named, *_placed(self.knowledge))}

    def possible(self, *facts: Fact) -> bool:
        """Whether some exam has all of these."""
        return self._model(*facts) is not None

    def never(self, *facts: Fact) -> Json | None:
        """None where no exam has all of these; else the smallest exam found that has them."""
        found = self.smallest(*facts)
        return None if found is None else exam_as_json(found)

    def smallest(self, *facts: Fact, wishes: Iterable[Fact] = ()) -> Exam | None:
        """An exam that has all of these, of which nothing can be left out; None where none has.

        wishes: what it should also have, each only as far as it goes with the others.
        """
        model = self._small(facts, self.exam, wishes=wishes)
        return None if model is None else exam_of(model, self.exam)

    def _small(
        self, facts: tuple[Fact, ...], *exams: AnyExam, wishes: Iterable[Fact] = ()
    ) -> z3.ModelRef | None:
        """A model of all of these, with as little recorded and as slight as goes, one by one."""
        less = [each for exam in exams for each in (*exam.less_recorded, *exam.slighter)]
        with self.assuming(*facts):
            model = self._model()
            if model is None:
                return None
            for wish in (*less, *wishes):
                if not z3.is_true(model.eval(wish, model_completion=True)):
                    wished = self._model(wish)
                    if wished is None:
                        continue
                    model = wished
                self.solver.add(wish)
            return model

    def _model(self, *facts: Fact) -> z3.ModelRef | None:
        with self.assuming(*facts):
            answer = self.solver.check()
            assert answer != z3.unknown, f"the solver gave up: {self.solver.reason_unknown()}"
            return self.solver.model() if answer == z3.sat else None

    @contextmanager
    def assuming(self, *facts: Fact) -> Iterator[None]:
        """Ask only of exams that have all of these."""
        self.solver.push()
        try:
            self.solver.add(*facts)
            yield
        finally:
            self.solver.pop()


class TwoExams(Proofs):
    """The same over every two exams; nothing ties them together but what a proof says."""

    def __init__(self, knowledge: Knowledge) -> None:
        super().__init__(knowledge)
        self.later = AnyExam(knowledge, ", later")
        self.solver.add(*self.later.possible)

    def never_then(self, *facts: Fact) -> tuple[Json, Json] | None:
        """None where no two exams have all of these; else the smallest two that were found."""
        model = self._small(facts, self.exam, self.later)
        if model is None:
            return None
        return exam_as_json(exam_of(model, self.exam)), exam_as_json(exam_of(model, self.later))


def _placed(knowledge: Knowledge) -> Iterator[Rule]:
    """The conditions without a name of their own, each called after where it first stands."""
    places = [
        *(place for each in knowledge.categories.values() for place in places_of_category(each)),
        *(place for each in knowledge.warnings.values() for place in places_of_warning(each)),
        *places_of_falls(knowledge.fall_risk),
        *(place for each in knowledge.steps.values() for place in places_of_step(each)),
    ]
    placed = [(place, False) for place in places]
    placed += [(place_of_conflict(rule), rule.paired) for rule in knowledge.conflicts]
    seen: set[str] = set()
    names: dict[str, int] = {}
    for (_, rule, key, sentence), paired in placed:
        if sentence is None or sentence in seen:
            continue
        seen.add(sentence)
        name = f"{rule}, {key}"
        names[name] = names.get(name, 0) + 1
        if names[name] > 1:
            name = f"{name} {names[name]}"
        yield Rule(name, knowledge.conditions[sentence], paired)


# ---- what if


def recorded_as(fact: Fact, held: Held, value: z3.ExprRef) -> Fact:
    """The same fact, with one cell recorded as this whatever it was."""
    return z3.substitute(
        fact,
        (held.known, z3.BoolVal(True)),
        (held.untestable, z3.BoolVal(False)),
        (held.value, value),
    )


# ---- how a later exam follows from an earlier one


def more_recorded(first: AnyExam, later: AnyExam) -> list[Fact]:
    """That the later exam holds all that was recorded, and adds no conflict.

    What could not be tested stays so. Of a list of medicines that was whole nothing changes.
    """
    pairs = zip(first.everything, later.everything, strict=True)
    facts = [if_then(held.known, after.is_(held.value)) for held, after in pairs]
    facts += [held.untestable == later.cells[cell].untestable for cell, held in first.cells.items()]
    whole = first.list_is_whole
    facts.append(if_then(whole, later.list_is_whole))
    for names, taken in first.signatures.items():
        facts.append(if_then(taken, later.signatures[names]))
        facts.append(if_then(all_of(whole, later.signatures[names]), taken))
    return [*facts, *no_new_conflict(first, later)]


def same_but(first: AnyExam, later: AnyExam, *cells: Cell) -> list[Fact]:
    """That two exams are recorded alike but for these cells."""
    facts = [
        held.is_same(later.cells[cell]) for cell, held in first.cells.items() if cell not in cells
    ]
    facts += [first.age.is_same(later.age), first.sex.is_same(later.sex)]
    facts += [taken == later.signatures[names] for names, taken in first.signatures.items()]
    return [*facts, first.list_is_whole == later.list_is_whole]


def no_new_conflict(first: AnyExam, later: AnyExam) -> list[Fact]:
    """That nothing contradicts itself in the later exam that did not before."""
    pairs = zip(first.conflicts, later.conflicts, strict=True)
    return [if_then(after, before) for before, after in pairs]
