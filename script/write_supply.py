"""Write docs/supply.md from the software bill of materials and the lock, or say what is stale.

The bill is written before, by script/supply.
"""

import json
import re
import sys
import tomllib
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parent.parent
BILL = Path("docs", "supply.cdx.json")
ADDRESS = re.compile(r"\w\.(?:org|com|io)\b")
PAGE = Path("docs", "supply.md")
LOCK = Path("requirements.lock")
_PINNED = re.compile(r"^([A-Za-z0-9._-]+)==([^\s\\]+)(?: ; ([^\\]+?))? \\$", re.M)
_CLASSIFIER = "License :: OSI Approved :: "

PAGE_HEAD = """# Supply

Which packages of others a clinic runs, and under which licences. Made by `script/supply` from
`requirements.lock` and from what each package says of itself once it is installed; do not edit.
The same as a software bill of materials, with what needs what:
[supply.cdx.json](supply.cdx.json) (CycloneDX {spec}, written and validated by cyclonedx-py).

- `script/supply` after a change of the lock; a stale page or bill fails `script/test`.
- `script/audit` asks a public list of vulnerabilities about every locked package (pip-audit). It
  needs the network, so it is no part of `script/test`: run it before each release and every week.
  It ends with 0 only where every package could be asked about.
- Each package is installed by its hash, as a wheel; why, stands in
  [decision 0002](decisions/0002-hash-pinned-locks.md).

**Not in the bill:** what Debian brings (Python, Pango, HarfBuzz, fontconfig; PostgreSQL, a proxy),
which its own updates keep; C libraries inside wheels (in cryptography, lxml, pillow,
psycopg-binary, pyarrow), which change with their package; htmx and the font, which
[NOTICE](../NOTICE) names.

## What a clinic runs: {count} packages

*Asked for* is what `pyproject.toml` names; the others come with them.

| package | version | licence, as the package says | |
|---|---|---|---|
"""
ELSEWHERE = """
## Elsewhere

In the lock for other systems, and not installed on Linux under CPython:

"""


@dataclass(frozen=True)
class Pinned:
    """A package of the lock. marker: where it is installed, empty for everywhere."""

    version: str
    marker: str


def plain(name: str) -> str:
    """A package's name as it is compared (PEP 503)."""
    return re.sub(r"[-_.]+", "-", name).lower()


def locked(root: Path) -> dict[str, Pinned]:
    """What the lock names."""
    found = _PINNED.findall((root / LOCK).read_text("utf-8"))
    return {plain(name): Pinned(version, marker.strip()) for name, version, marker in found}


def billed(root: Path) -> dict[str, dict[str, Any]]:
    """The components of the bill."""
    bill = json.loads((root / BILL).read_text("utf-8"))
    return {plain(each["name"]): each for each in bill["components"]}


def faults(root: Path) -> list[str]:
    """What is not as the lock has it."""
    lock, bill = locked(root), billed(root)
    found = [
        f"{BILL}: {name} {each['version']} is not in the lock"
        for name, each in bill.items()
        if name not in lock or lock[name].version != each["version"]
    ]
    found += [
        f"{BILL}: {name} is missing"
        for name, each in lock.items()
        if name not in bill and not each.marker
    ]
    found += [f"{BILL}: {name} says no licence" for name in bill if not licence(bill[name])]
    if not found and (
        not (root / PAGE).is_file() or (root / PAGE).read_text("utf-8") != page(root)
    ):
        found.append(f"{PAGE} is stale")
    return found


def licence(component: dict[str, Any]) -> str:
    """What a package says of its licence: identifiers where it has any, else its own words."""
    said = component.get("licenses", [])
    exact = [
        each.get("expression") or each["license"].get("id")
        for each in said
        if "expression" in each or "id" in each.get("license", {})
    ]
    words = [each["license"]["name"] for each in said if "name" in each.get("license", {})]
    return _joined(exact or [each.removeprefix(_CLASSIFIER) for each in words])


def page(root: Path) -> str:
    """The page of licences."""
    bill, lock = billed(root), locked(root)
    spec = json.loads((root / BILL).read_text("utf-8"))["specVersion"]
    project = tomllib.loads((root / "pyproject.toml").read_text("utf-8"))["project"]
    named = {plain(re.split(r"[\[<>=!~ ]", each)[0]) for each in project["dependencies"]}
    rows = [
        f"| {name} | {bill[name]['version']} | {licence(bill[name])} | "
        f"{'asked for' if name in named else ''} |"
        for name in sorted(bill)
    ]
    others = [
        f"- {name} {each.version}: `{each.marker}`"
        for name, each in sorted(lock.items())
        if name not in bill
    ]
    told = PAGE_HEAD.format(spec=spec, count=len(rows)) + "\n".join(rows) + "\n"
    return told + (ELSEWHERE + "\n".join(others) + "\n" if others else "")


def drop_addresses_of_indexes(root: Path) -> None:
    """Take out of the bill where packages are to be had: no file here names an index."""
    bill = json.loads((root / BILL).read_text("utf-8"))
    for each in bill["components"]:
        if ADDRESS.search(each.get("description", "")):
            del each["description"]
    for tool in bill["metadata"]["tools"]["components"]:
        tool["externalReferences"] = [
            each for each in tool["externalReferences"] if each["type"] != "distribution"
        ]
    (root / BILL).write_text(json.dumps(bill, indent=2), encoding="utf-8", newline="\n")


def main(arguments: list[str], root: Path = ROOT) -> int:
    """Write, or check with --check; 1 where something is stale, 2 for a wrong call."""
    if arguments not in ([], ["--check"]):
        print("usage: write_supply.py [--check]", file=sys.stderr)
        return 2
    if not arguments:
        drop_addresses_of_indexes(root)
        (root / PAGE).write_text(page(root), encoding="utf-8", newline="\n")
    found = faults(root)
    for each in found:
        print(f"{each}; run script/supply", file=sys.stderr)
    return 1 if found else 0


def _joined(words: Iterable[str]) -> str:
    return "; ".join(dict.fromkeys(words))


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
