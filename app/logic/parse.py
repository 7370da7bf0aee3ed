"""Parse a condition's sentence into its tree, or point at the place that is wrong.

    condition  = both { "or" both }
    both       = single { "and" single }
    single     = "not" single | "(" condition ")" | counted | sided | statement
    counted    = "at_least" "(" number "," condition { "," condition } ")"
    sided      = ( "any" | "both" | "other" | "surely" ) "(" condition ")"
    statement  = name "(" name ")"
               | name [ comparison name | "is" ["not"] name | "in" "(" name { "," name } ")" ]
    comparison = ">=" | ">" | "<=" | "<"

`and` and `or` may not be mixed without brackets: readers disagree about which binds first.
"""

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass

from app.logic.expression import (
    And,
    AnySide,
    AtLeast,
    Atom,
    BothSides,
    Expression,
    Not,
    Or,
    OtherSide,
    Surely,
)

_TOKEN = re.compile(r"\s*(?:(?P<name>[a-z][a-z0-9_]*)|(?P<number>[0-9]+)|(?P<sign>>=|<=|[<>(),]))")
_SIDED: Mapping[str, Callable[[Expression], Expression]] = {
    "any": AnySide,
    "both": BothSides,
    "other": OtherSide,
    "surely": Surely,
}
_COMPARISONS = (">=", ">", "<=", "<")
_RESERVED = {"and", "or", "not", "is", "in", "at_least", *_SIDED}


class BadExpression(ValueError):
    """The sentence is not a condition. The message shows the sentence with a mark at the place."""

    def __init__(self, text: str, position: int, problem: str) -> None:
        super().__init__(f"{problem}\n  {text}\n  {' ' * position}^")
        self.text = text
        self.position = position
        self.problem = problem


@dataclass(frozen=True)
class _Token:
    kind: str
    text: str
    position: int


def parse(text: str) -> Expression:
    """Parse one condition.

    Raises: BadExpression, pointing at the place.
    """
    return _Parser(text).whole()


class _Parser:
    def __init__(self, text: str) -> None:
        self.text = " ".join(text.split())
        self.tokens = self._tokens()
        self.place = 0

    def _tokens(self) -> list[_Token]:
        found: list[_Token] = []
        position = 0
        while position < len(self.text):
            match = _TOKEN.match(self.text, position)
            if match is None:
                at = position + (self.text[position] == " ")
                raise BadExpression(self.text, at, f"{self.text[at]!r} has no meaning here")
            kind = str(match.lastgroup)
            found.append(_Token(kind, match[kind], match.start(kind)))
            position = match.end()
        return [*found, _Token("end", "the end", len(self.text))]

    def whole(self) -> Expression:
        read = self.condition()
        if self.here.kind != "end":
            raise self.wrong(f"expected `and`, `or` or the end, found {self.here.text}")
        return read

    def condition(self) -> Expression:
        members = [self.single()]
        joint = self.here.text if self.here.text in ("and", "or") else None
        while joint and self.here.text in ("and", "or"):
            if self.here.text != joint:
                raise self.wrong("`and` and `or` side by side need brackets")
            self.place += 1
            members.append(self.single())
        if joint is None:
            return members[0]
        return And(tuple(members)) if joint == "and" else Or(tuple(members))

    def single(self) -> Expression:
        token = self.here
        if token.text == "not":
            self.place += 1
            return Not(self.single())
        if token.text == "(":
            self.place += 1
            inner = self.condition()
            self.take(")")
            return inner
        if token.text == "at_least":
            return self.counted()
        if token.text in _SIDED:
            self.place += 1
            self.take("(")
            inner = self.condition()
            self.take(")")
            return _SIDED[token.text](inner)
        return self.statement()

    def counted(self) -> Expression:
        self.place += 1
        self.take("(")
        number = self.here
        if number.kind != "number":
            raise self.wrong(f"at_least begins with how many, found {number.text}")
        self.place += 1
        members: list[Expression] = []
        while self.here.text == ",":
            self.place += 1
            members.append(self.condition())
        self.take(")")
        count = int(number.text)
        if not 1 <= count <= len(members):
            problem = f"at_least({count}, …) of {len(members)} can never be decided by its members"
            raise BadExpression(self.text, number.position, problem)
        return AtLeast(count, tuple(members))

    def statement(self) -> Expression:
        name = self.name("a finding or sign")
        token = self.here
        if token.text in _COMPARISONS:
            self.place += 1
            return Atom(name, token.text, (self.name("the name of a threshold"),))
        if token.text == "is":
            self.place += 1
            negated = self.here.text == "not"
            self.place += negated
            atom = Atom(name, "is", (self.value(),))
            return Not(atom) if negated else atom
        if token.text == "in":
            self.place += 1
            self.take("(")
            values = [self.value()]
            while self.here.text == ",":
                self.place += 1
                values.append(self.value())
            self.take(")")
            return Atom(name, "in", tuple(values))
        if token.text == "(":
            self.place += 1
            argument = self.name("a name")
            self.take(")")
            return Atom(argument, name)
        return Atom(name)

    @property
    def here(self) -> _Token:
        return self.tokens[self.place]

    def name(self, wanted: str) -> str:
        token = self.here
        if token.kind == "number":
            raise self.wrong("a number needs a name: put it among the thresholds, with its source")
        if token.kind != "name" or token.text in _RESERVED:
            raise self.wrong(f"expected {wanted}, found {token.text}")
        self.place += 1
        return token.text

    def value(self) -> str:
        # A value may be called like a function, `both` say: after `is` it cannot be mistaken.
        token = self.here
        if token.kind != "name" or token.text in ("and", "or", "not"):
            raise self.wrong(f"expected a value, found {token.text}")
        self.place += 1
        return token.text

    def take(self, sign: str) -> None:
        if self.here.text != sign:
            raise self.wrong(f"expected {sign}, found {self.here.text}")
        self.place += 1

    def wrong(self, problem: str) -> BadExpression:
        return BadExpression(self.text, self.here.position, problem)
