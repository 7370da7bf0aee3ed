"""What the PDF of an exam costs, beside WeasyPrint as its manual shows it, Typst and ReportLab.

`python -m benchmarks.pdf` makes the same exam of two pages with each in turn, every time in a
process of its own: the first file and the ones after it, with the seal, and by two workers at once.
Meanwhile another process makes 500 in a row and watches its memory; that is why CPU time is
compared and wall time only told. The last line printed is one JSON object.
"""

import argparse
import json
import subprocess
import sys
import time
from collections import defaultdict
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from benchmarks.aims import aim, installed_version, median, say, say_aims, say_machine
from benchmarks.pdf.content import markup
from benchmarks.pdf.engines import NEEDS, PEERS

PACKAGES = ("weasyprint", "pyhanko", "typst", "reportlab")
REPEATS, EACH, ROW, SEALED, AT_ONCE = 5, 4, 500, 8, 8


def started(job: str, engine: str, file: Path, count: int) -> "subprocess.Popen[str]":
    """A worker at work."""
    command = [sys.executable, "-m", "benchmarks.pdf.worker", job, engine, str(file), str(count)]
    return subprocess.Popen(command, stdout=subprocess.PIPE, text=True)


def told(process: "subprocess.Popen[str]") -> dict[str, Any]:
    """What a worker says at its end."""
    said, _ = process.communicate()
    if process.returncode:
        raise RuntimeError(f"a worker failed: {process.args!r}")
    answer: dict[str, Any] = json.loads(said)
    return answer


def two_at_once(file: Path, count: int) -> float:
    """How much faster two workers are than one: by the files that they make in a second."""
    rates = []
    for workers in (1, 2):
        at_work = [started("warm", "ours", file, count) for _ in range(workers)]
        walls = [median(wall for _, wall in told(each)["took_ms"]) for each in at_work]
        rates.append(sum(1000 / wall for wall in walls))
    return rates[1] / rates[0]


def main() -> int:
    """Measure, print the table and the aims."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks.pdf", description=__doc__)
    parser.formatter_class = argparse.RawDescriptionHelpFormatter
    parser.add_argument("--short", action="store_true", help="one repeat, to see that it works")
    asked = parser.parse_args()
    repeats, row = (1, 20) if asked.short else (REPEATS, ROW)
    say_machine(PACKAGES)
    engines = [name for name in PEERS if name not in NEEDS or installed_version(NEEDS[name])]
    for name in PEERS.keys() - set(engines):
        say(f"{name} is not installed (script/bootstrap --bench): not measured")
    engines.insert(0, "ours")
    with TemporaryDirectory() as folder:
        file = Path(folder) / "exam.html"
        file.write_text(markup(), "utf-8")
        memory = started("memory", "ours", file, row)
        cold, first, later = defaultdict(list), defaultdict(list), defaultdict(list)
        walls: dict[str, list[float]] = defaultdict(list)
        for _ in range(repeats):
            for name in engines:
                cold[name].append(told(started("cold", name, file, 1))["took_ms"][0][0])
                took = told(started("warm", name, file, EACH))["took_ms"]
                first[name].append(took[0][0])
                later[name].append(median(cpu for cpu, _ in took[1:]))
                walls[name].append(median(wall for _, wall in took[1:]))
        sealed = told(started("sealed", "ours", file, SEALED))["pairs_ms"]
        began = time.perf_counter()
        grown = told(memory)
        say(f"waited {time.perf_counter() - began:.0f} s more for the {row} in a row")
        faster = two_at_once(file, 3 if asked.short else AT_ONCE)
    say(f"\n{'ms':16}{'cold CPU':>10}{'first CPU':>11}{'CPU':>9}{'wall':>9}{'CPU, ours':>11}")
    for name in engines:
        share = median(
            mine / theirs for mine, theirs in zip(later["ours"], later[name], strict=True)
        )
        figures = (cold[name], first[name], later[name], walls[name])
        columns = zip(figures, (10, 11, 9, 9), strict=True)
        says = "".join(f"{median(each):{width}.0f}" for each, width in columns)
        say(f"{name:16}{says}{share:10.2f}x")
    say(f"seal, CPU         {median(seal for _, seal in sealed):8.1f} ms")
    say(f"two workers make  {faster:8.2f} times as many as one")
    more, held = grown["growth_mib"], grown["held_mib"]
    say(f"{row} in a row       {more:8.2f} MiB more, {held:.0f} MiB held\n")
    pairs = zip(later["ours"], later["stock"], strict=True)
    firsts = zip(first["ours"], later["ours"], strict=True)
    say_aims(
        {
            "tagged_cpu_vs_stock": aim(median(mine / theirs for mine, theirs in pairs), 0.85),
            "growth_mib_500": aim(grown["growth_mib"], 2),
            "seal_vs_render": aim(median(seal / made for made, seal in sealed), 0.2),
            "first_vs_warm": aim(median(one / more for one, more in firsts), 1.2),
        }
    )
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
