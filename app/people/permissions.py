"""The permission table: role, state of the exam, section and action; read once, strictly."""

import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from enum import StrEnum
from importlib import resources
from itertools import product
from types import MappingProxyType
from typing import Any

FILE = "permissions.toml"
ROLES = ("nurse", "physician", "administrator")
STATES = ("none", "open", "ready", "signed", "amended")
SECTIONS = (
    "worklist",
    "patient",
    "exam",
    "chart",
    "document",
    "nurse_part",
    "physician_part",
    "medicines",
    "handover",
    "review",
    "signature",
    "amendment",
    "own_account",
    "knowledge",
    "verification",
    "practice",
    "accounts",
    "clinic",
    "audit",
    "export",
    "registry",
    "emergency_access",
)
ACTIONS = ("read", "write")
# A row that treats the roles alike, and what a section calls its meaning.
EVERYBODY = "everybody"
MEANING = "is"


class Right(StrEnum):
    """What a cell of the table says."""

    NOTHING = "nothing"
    READ = "read"
    WRITE = "write"
    EMERGENCY = "read in an emergency"


class BadTable(ValueError):
    """The permission table cannot be used; the message names the section, the row and the word."""


@dataclass(frozen=True)
class Place:
    """Where a cell stands in the table."""

    section: str
    state: str
    role: str


@dataclass(frozen=True)
class Cell:
    """One question that can be asked of the table, with its answer."""

    role: str
    state: str
    section: str
    action: str
    has_emergency_access: bool
    is_allowed: bool


@dataclass(frozen=True)
class Permissions:
    """A whole table: the meaning of each section, and the right at every place."""

    meanings: Mapping[str, str]
    rights: Mapping[Place, Right]


def read_permissions(text: str) -> Permissions:
    """A table as it is written in permissions.toml.

    Raises: BadTable, on anything unknown, missing or doubled.
    """
    try:
        tables = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise BadTable(f"{FILE}: not TOML: {error}") from None
    _expect(tables, SECTIONS, "sections", FILE)
    meanings: dict[str, str] = {}
    rights: dict[Place, Right] = {}
    for section in SECTIONS:
        where = f"{FILE}: [{section}]"
        rows = tables[section]
        if not isinstance(rows, dict):
            raise BadTable(f"{where}: expected a table")
        meaning = rows.pop(MEANING, None)
        if not isinstance(meaning, str) or not meaning.strip():
            raise BadTable(f"{where}: {MEANING}: expected a sentence")
        meanings[section] = meaning
        for state, row in _rows_by_state(rows, where).items():
            for role, right in _rights_by_role(row, f"{where} {state}").items():
                rights[Place(section, state, role)] = right
    return Permissions(MappingProxyType(meanings), MappingProxyType(rights))


def _rows_by_state(rows: Mapping[str, Any], where: str) -> dict[str, Any]:
    """Each row under each of the states that its key names."""
    found: dict[str, Any] = {}
    for key, row in rows.items():
        for state in (word.strip() for word in key.split(",")):
            if state in found:
                raise BadTable(f"{where}: {state}: stands twice")
            found[state] = row
    _expect(found, STATES, "states", where)
    return found


def _rights_by_role(row: Any, where: str) -> dict[str, Right]:
    if not isinstance(row, dict):
        raise BadTable(f"{where}: expected a right for each role")
    if set(row) == {EVERYBODY}:
        row = dict.fromkeys(ROLES, row[EVERYBODY])
    _expect(row, ROLES, f"roles (or {EVERYBODY} alone)", where)
    for role, word in row.items():
        if word not in list(Right):
            raise BadTable(f"{where}: {role}: {word!r} is not one of {', '.join(Right)}")
    return {role: Right(word) for role, word in row.items()}


def _expect(found: Mapping[str, Any], expected: tuple[str, ...], what: str, where: str) -> None:
    """Refuse what is unknown, and then what is missing."""
    for word in found:
        if word not in expected:
            raise BadTable(f"{where}: {word!r} is not one of the {what} {', '.join(expected)}")
    for word in expected:
        if word not in found:
            raise BadTable(f"{where}: {word} is missing")


PERMISSIONS = read_permissions(resources.files("app.people").joinpath(FILE).read_text("utf-8"))


def allows(
    *, role: str, state: str, section: str, action: str, has_emergency_access: bool = False
) -> bool:
    """Whether somebody in this role may do this.

    state: of the exam in question, "none" where there is none. has_emergency_access: the person has
    opened it and it is not over. Raises: ValueError, on a word that the table does not have.
    """
    for word, known in ((role, ROLES), (state, STATES), (section, SECTIONS), (action, ACTIONS)):
        if word not in known:
            raise ValueError(f"{word!r} is not one of {', '.join(known)}")
    right = PERMISSIONS.rights[Place(section, state, role)]
    if right is Right.WRITE:
        return True
    if action == "write":
        return False
    return right is Right.READ or (right is Right.EMERGENCY and has_emergency_access)


def cells() -> Iterator[Cell]:
    """Every question that can be asked of the table, each once, with its answer."""
    for section, state, role, action, emergency in product(
        SECTIONS, STATES, ROLES, ACTIONS, (False, True)
    ):
        answer = allows(
            role=role,
            state=state,
            section=section,
            action=action,
            has_emergency_access=emergency,
        )
        yield Cell(role, state, section, action, emergency, answer)
