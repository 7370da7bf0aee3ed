"""Read knowledge files into their models; a fault names file, rule and key."""

import tomllib
from collections.abc import Iterable, Mapping
from decimal import Decimal
from importlib.resources.abc import Traversable
from typing import Any, TypeVar

from pydantic import ValidationError

from app.knowledge.table import Rule, Table, reading

AnyTable = TypeVar("AnyTable", bound=Table)
AnyRule = TypeVar("AnyRule", bound=Rule)


class BadKnowledge(ValueError):
    """The knowledge cannot be used; the message names file, rule, key and what would be right."""


class Files:
    """A folder of knowledge files."""

    def __init__(self, folder: Traversable) -> None:
        self.folder = folder

    def tables(self, name: str, expected: set[str] | None = None) -> dict[str, Any]:
        """The parsed file, which must hold just the tables expected.

        Raises: BadKnowledge.
        """
        try:
            text = self.folder.joinpath(name).read_text(encoding="utf-8")
            read = tomllib.loads(text, parse_float=Decimal)
        except FileNotFoundError:
            raise BadKnowledge(f"{name}: there is no such file") from None
        except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
            raise BadKnowledge(f"{name}: not TOML: {error}") from None
        if expected is not None and set(read) != expected:
            wrong = ", ".join(sorted(set(read) ^ expected))
            right = ", ".join(sorted(expected))
            raise BadKnowledge(f"{name}: {wrong}: expected the tables {right}")
        return read

    def one(self, name: str, model: type[AnyTable]) -> AnyTable:
        """A file that holds one table."""
        return check(name, "", self.tables(name), model)

    def keyed(self, name: str, table: str, model: type[AnyRule]) -> dict[str, AnyRule]:
        """A file of tables named `[table.id]`."""
        found = self.tables(name, {table})[table]
        return {key: check(name, key, {"id": key} | held, model) for key, held in found.items()}

    def names(self, folder: str) -> set[str]:
        """The knowledge files of a folder, without their ending."""
        here = self.folder.joinpath(folder)
        names = (each.name for each in here.iterdir()) if here.is_dir() else ()
        return {name.removesuffix(".toml") for name in names if name.endswith(".toml")}

    def folder_of(
        self, folder: str, order: tuple[str, ...], model: type[AnyRule]
    ) -> dict[str, AnyRule]:
        """A folder with a file for each id of the order, and no other."""
        present = self.names(folder)
        for name in sorted(present ^ set(order)):
            problem = "is not listed in index.toml" if name in present else "is listed but missing"
            raise BadKnowledge(f"{folder}/{name}.toml: {problem}")
        found: dict[str, AnyRule] = {}
        for name in order:
            file = f"{folder}/{name}.toml"
            found[name] = self.one(file, model)
            if found[name].id != name:
                raise BadKnowledge(f"{file}: id: expected {name}, the name of the file")
        return found


def by_id(file: str, tables: Iterable[dict[str, Any]], model: type[AnyRule]) -> dict[str, AnyRule]:
    """Tables that carry their id, each id once."""
    found: dict[str, AnyRule] = {}
    for held in tables:
        rule = str(held.get("id", "?"))
        if rule in found:
            raise BadKnowledge(f"{file}: {rule}: this id stands twice; give one another id")
        found[rule] = check(file, rule, held, model)
    return found


def check(file: str, rule: str, held: Mapping[str, Any], model: type[AnyTable]) -> AnyTable:
    """Read one table into its model.

    Raises: BadKnowledge, with every fault of the table.
    """
    before = reading.set(f"{file}: {rule}" if rule else file)
    try:
        return model.model_validate(held)
    except ValidationError as error:
        faults = [
            ": ".join(filter(None, (file, rule, ".".join(map(str, fault["loc"])), fault["msg"])))
            for fault in error.errors()
        ]
        raise BadKnowledge("\n".join(faults)) from None
    finally:
        reading.reset(before)


def each_limb(tables: Iterable[dict[str, Any]]) -> list[dict[str, Any]]:
    """Write a table out once for each of its limbs, with LIMB replaced by the limb."""
    written: list[dict[str, Any]] = []
    for table in tables:
        limbs = table.get("limbs")
        written += [_with_limb(table, limb) for limb in limbs] if limbs else [table]
    return written


def _with_limb(held: Any, limb: str) -> Any:
    match held:
        case str():
            return held.replace("LIMB", limb)
        case dict():
            return {key: _with_limb(value, limb) for key, value in held.items()}
        case list():
            return [_with_limb(value, limb) for value in held]
        case _:
            return held
