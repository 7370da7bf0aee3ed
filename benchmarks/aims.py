"""What every benchmark prints: the machine, the figures beside their aims, and one JSON line."""

import json
import os
import platform
import statistics
import sys
from collections.abc import Iterable, Sequence
from importlib.metadata import PackageNotFoundError, version
from typing import Any


def say(line: str = "") -> None:
    """One line for whoever reads along."""
    sys.stdout.write(f"{line}\n")
    sys.stdout.flush()


def say_machine(packages: Iterable[str]) -> None:
    """The machine, and the versions of what was measured."""
    installed = ", ".join(f"{name} {installed_version(name) or 'missing'}" for name in packages)
    say(
        f"{platform.system()} {platform.release()} {platform.machine()}, "
        f"{os.cpu_count()} processors, Python {platform.python_version()}; {installed}"
    )


def installed_version(package: str) -> str | None:
    """The version of a package, None where it is not installed."""
    try:
        return version(package)
    except PackageNotFoundError:
        return None


def aim(value: float, most: float) -> dict[str, Any]:
    """A figure that should be at most so much."""
    return {"value": round(value, 3), "aim": most, "met": value <= most}


def aim_at_least(value: float, least: float) -> dict[str, Any]:
    """A figure that should be at least so much."""
    return {"value": round(value, 3), "aim": least, "met": value >= least}


def say_aims(aims: dict[str, dict[str, Any]]) -> None:
    """The last line: one JSON object."""
    say(json.dumps({"aims": aims}))


def percentile(values: Sequence[float], share: float) -> float:
    """The value below which this share of them lies; the values need no order."""
    ordered = sorted(values)
    return ordered[min(len(ordered) - 1, int(share * len(ordered)))]


def median(values: Iterable[float]) -> float:
    """The median; of nothing it is not a number."""
    held = list(values)
    return statistics.median(held) if held else float("nan")
