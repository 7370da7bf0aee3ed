"""Conditions worked out in one pass, both sides at once.

A truth is two bits, "possible" and "sure": no is 00, unknown 01, yes 11. Kleene's `and` of two is
then the bits that both have, his `or` those that either has. The right side stands in the lower two
bits and the left in the upper two; what has no side stands in both.
"""

from collections.abc import Callable, Iterable, Iterator, Sequence
from types import CodeType
from typing import Any, assert_never

from app.logic.evaluate import Evaluation, World
from app.logic.expression import (
    And,
    AnySide,
    AtLeast,
    Atom,
    BothSides,
    Definitions,
    Expression,
    Not,
    Or,
    OtherSide,
    Reference,
    Surely,
    children,
)
from app.logic.truth import NO, UNKNOWN, YES, Truth

Bits = int
_BITS = {NO: 0b00, UNKNOWN: 0b01, YES: 0b11}
# "Sure and not possible" is made by no step.
_TRUTHS = (NO, UNKNOWN, UNKNOWN, YES)
_TWO = 0b11
_PAIRS = tuple((both & _TWO, both >> 2) for both in range(16))


def bits(right: Truth, left: Truth) -> Bits:
    """Two truths as bits; for what has no side, twice the same."""
    return _BITS[right] | _BITS[left] << 2


def _table(change: Callable[[Bits, Bits], tuple[Bits, Bits]]) -> tuple[Bits, ...]:
    """What is made of each pair of truths."""
    return tuple(right | left << 2 for right, left in (change(*pair) for pair in _PAIRS))


def _not(truth: Bits) -> Bits:
    # Not possible becomes sure, and not sure becomes possible.
    return (_TWO ^ truth) >> 1 | ((_TWO ^ truth) & 1) << 1


# What these ask turns with the first answer.
_OF_GAPS = ("known", "untestable")
_HELPERS = {
    "negation": _table(lambda right, left: (_not(right), _not(left))),
    "surely": _table(lambda right, left: (_TWO * (right >> 1), _TWO * (left >> 1))),
    "any_side": _table(lambda right, left: (right | left, right | left)),
    "both_sides": _table(lambda right, left: (right & left, right & left)),
    "other_side": _table(lambda right, left: (left, right)),
    # Each bit in a byte of its own, where the members are counted.
    "counted": tuple(sum(1 << 8 * bit for bit in range(4) if m & 1 << bit) for m in range(16)),
    "__builtins__": {},
}
_TABLES = {
    Not: "negation",
    Surely: "surely",
    AnySide: "any_side",
    BothSides: "both_sides",
    OtherSide: "other_side",
}


class Circuit:
    """Conditions as one list of steps, in which equal parts stand once.

    atoms: what has to be answered first, in this order. The steps are Python made of numbers and
    operators alone, so that one run costs a few dozen nanoseconds a step.
    """

    def __init__(self, expressions: Iterable[Expression], definitions: Definitions) -> None:
        self.definitions = definitions
        # Held, so that the identity by which a part is known stays its own.
        self._held = tuple(expressions)
        self._numbers: dict[tuple[Any, ...], int] = {}
        self._places: dict[int, int] = {}
        self.atoms = tuple(dict.fromkeys(self._atoms(self._held)))
        for number, atom in enumerate(self.atoms):
            self._numbers[Atom, atom] = number
        # The parts whose yes or no can no longer change, whatever else is answered.
        self._lasting = {n for n, each in enumerate(self.atoms) if each.relation not in _OF_GAPS}
        self._steps: list[str] = []
        for expression in self._held:
            self._number(expression)
        self.run: Callable[[Sequence[Bits]], list[Bits]] = self._compiled()

    def place(self, part: Expression) -> int | None:
        """Where the result of a part stands in what a run gives; None for what is no part."""
        return self._places.get(id(part))

    def lasts(self, place: int) -> bool:
        """Whether a yes or no in this place stays so, whatever is answered of what is unknown.

        Not where `surely`, or an atom that asks what is known, goes into it.
        """
        return place in self._lasting

    def _atoms(self, expressions: Iterable[Expression]) -> Iterator[Atom]:
        seen: set[str] = set()
        waiting = list(expressions)
        while waiting:
            expression = waiting.pop()
            match expression:
                case Atom():
                    yield expression
                case Reference(name) if name not in seen:
                    seen.add(name)
                    waiting.append(self.definitions[name].expression)
                case _:
                    waiting.extend(children(expression))

    def _number(self, expression: Expression) -> int:
        known = self._places.get(id(expression))
        if known is None:
            known = self._places[id(expression)] = self._numbered(expression)
        return known

    def _numbered(self, expression: Expression) -> int:
        if isinstance(expression, Atom):
            return self._numbers[Atom, expression]
        if isinstance(expression, Reference):
            return self._number(self.definitions[expression.name].expression)
        parts = tuple(self._number(child) for child in children(expression))
        count = expression.count if isinstance(expression, AtLeast) else 0
        key = (type(expression), count, parts)
        if key not in self._numbers:
            self._numbers[key] = len(self._numbers)
            self._steps.append(f"v{self._numbers[key]} = {_step(expression, parts)}")
            if not isinstance(expression, Surely) and self._lasting.issuperset(parts):
                self._lasting.add(self._numbers[key])
        return self._numbers[key]

    def _compiled(self) -> Callable[[Sequence[Bits]], list[Bits]]:
        values = ", ".join(f"v{number}" for number in range(len(self._numbers)))
        taken = "".join(f"v{number}, " for number in range(len(self.atoms)))
        body = [f"{taken} = atoms" if taken else "", *self._steps, f"return [{values}]"]
        source = "def run(atoms):\n" + "".join(f"    {line}\n" for line in body if line)
        code: CodeType = compile(source, "<conditions>", "exec")
        made: dict[str, Any] = dict(_HELPERS)
        # Written above out of numbers and operators: no word of the knowledge comes into it.
        exec(code, made)  # noqa: S102
        return made["run"]  # type: ignore[no-any-return]


def _step(expression: Expression, parts: tuple[int, ...]) -> str:
    names = [f"v{part}" for part in parts]
    match expression:
        case And():
            return " & ".join(names) or str(0b1111)
        case Or():
            return " | ".join(names) or "0"
        case AtLeast(count):
            return _counted(count, names)
        case Not() | Surely() | AnySide() | BothSides() | OtherSide():
            return f"{_TABLES[type(expression)]}[{names[0]}]"
        case Atom() | Reference():
            raise ValueError(f"{expression} is no step")
        case _:
            assert_never(expression)


def _counted(count: int, names: list[str]) -> str:
    """A bit is set where so many of the members have it: there its byte reaches 128."""
    start = sum((128 - count) << 8 * bit for bit in range(4))
    total = " + ".join([str(start), *(f"counted[{name}]" for name in names)])
    return f"(t := {total}) >> 7 & 1 | t >> 14 & 2 | t >> 21 & 4 | t >> 28 & 8"


class WorkedOut(Evaluation):
    """An evaluation whose results are looked up; what is no part of the circuit is worked out."""

    def __init__(self, world: World, circuit: Circuit, atoms: Sequence[Bits]) -> None:
        super().__init__(world, circuit.definitions)
        self._circuit = circuit
        self._values = circuit.run(atoms)
        self._lanes = {None: 0, world.sides[0]: 0, world.sides[1]: 2}

    def truth(self, expression: Expression, side: str | None = None) -> Truth:
        """The value of a condition, judged on a side where it is a paired one."""
        place = self._circuit.place(expression)
        if place is None:
            return super().truth(expression, side)
        return _TRUTHS[self._values[place] >> self._lanes[side] & _TWO]

    def is_settled(self, expression: Expression, side: str | None = None) -> bool:
        """Whether a condition is known, and stays so whatever is answered."""
        place = self._circuit.place(expression)
        if place is None or not self._circuit.lasts(place):
            return False
        return self._values[place] >> self._lanes[side] & _TWO != _BITS[UNKNOWN]
