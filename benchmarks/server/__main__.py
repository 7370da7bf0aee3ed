"""How long a page takes, and an entry that is saved for good with its panel, at 1, 10, 50 clients.

`python -m benchmarks.server` serves the demonstration clinic by `evenhand serve`, on SQLite and on
PostgreSQL, and puts clients in another process to work on it. In the same run, in turn: a bare
route that does one write (naive.py, the floor) and one bare durable commit (durable.py, the limit).
The last line printed is one JSON object; its figures are SQLite's, and those of PostgreSQL end in
`_postgresql`.
"""

import argparse
import json
import subprocess
import sys
from collections import defaultdict
from collections.abc import Callable, Iterator, Mapping
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import psycopg

from app.store.engine import make_engine
from benchmarks.aims import aim, aim_at_least, median, percentile, say, say_aims, say_machine
from benchmarks.server import clinic
from benchmarks.server.durable import USER, postgresql, postgresql_commits, sqlite_commits

PACKAGES = ("fastapi", "uvicorn", "sqlalchemy", "sqlmodel", "psycopg")
REPEATS, SECONDS, COMMITS_S, CLINIC_S = 5, 1.2, 0.4, 3.0
# How often each of fifty clinicians enters something.
THINK_S = 0.7
AT = (1, 10, 50)
# One commit with the settings of the program, which is as fast as an entry could be.
LIMIT = "bare commit"
Commits = Callable[[float], list[float]]
# Above it the clients themselves may be what is measured.
BUSY = 0.7


@dataclass(frozen=True)
class Task:
    """Some clients who all ask for the same."""

    name: str
    ask: str
    clients: int
    think_s: float = 0.0
    seconds: float = SECONDS


TASKS = (
    *(Task(f"entry, {number}", "entry", number) for number in AT),
    *(Task(f"page, {number}", "page", number) for number in AT),
    *(Task(f"bare route, {number}", "naive", number) for number in AT[:2]),
    Task("clinicians, 50", "entry", 50, THINK_S, CLINIC_S),
)


@dataclass
class Measured:
    """What the repeats of one database gave.

    p50, p95: milliseconds; rate: answers in a second; cpu: milliseconds of our server for each.
    """

    p50: dict[str, list[float]] = field(default_factory=lambda: defaultdict(list))
    p95: dict[str, list[float]] = field(default_factory=lambda: defaultdict(list))
    rate: dict[str, list[float]] = field(default_factory=lambda: defaultdict(list))
    cpu: dict[str, list[float]] = field(default_factory=lambda: defaultdict(list))
    refused: dict[str, int] = field(default_factory=lambda: defaultdict(int))
    busy: float = 0.0

    def add(self, name: str, took_ms: list[float], seconds: float) -> None:
        """Keep one run."""
        self.p50[name].append(percentile(took_ms, 0.5))
        self.p95[name].append(percentile(took_ms, 0.95))
        self.rate[name].append(len(took_ms) / seconds)

    def spread(self, name: str) -> float:
        """p95 through p50, the median of the runs."""
        return median(
            late / half for late, half in zip(self.p95[name], self.p50[name], strict=True)
        )


@dataclass(frozen=True)
class Load:
    """The process of the clients."""

    process: "subprocess.Popen[str]"

    def told(self, line: str) -> dict[str, Any]:
        """What it answers to one line."""
        if self.process.stdin is None or self.process.stdout is None:
            raise RuntimeError("the process of the clients has no pipes")
        self.process.stdin.write(f"{line}\n")
        self.process.stdin.flush()
        answer: dict[str, Any] = json.loads(self.process.stdout.readline())
        return answer


@contextmanager
def load_of(people: list[dict[str, Any]]) -> Iterator[Load]:
    """The clients, ready to work."""
    command = [sys.executable, "-m", "benchmarks.server.load"]
    with subprocess.Popen(
        command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    ) as process:
        if process.stdin is None:
            raise RuntimeError("the process of the clients has no pipes")
        process.stdin.write(json.dumps(people) + "\n")
        yield Load(process)
        process.stdin.close()


def measure(
    url: str, naive_url: str, commits: Mapping[str, Commits], folder: Path, repeats: int
) -> Measured:
    """Everything in turn, as often as it is to be repeated."""
    measured = Measured()
    with ExitStack() as stack:
        server = stack.enter_context(clinic.evenhand(url, folder))
        floor = stack.enter_context(clinic.naive(naive_url))
        engine = make_engine(url)
        people = clinic.people_at_work(engine)
        load = stack.enter_context(load_of(people))
        for repeat in range(repeats + 1):
            _round(load, server, floor, measured if repeat else Measured(), short=not repeat)
            if repeat:
                for name, commit in commits.items():
                    measured.add(name, commit(COMMITS_S), COMMITS_S)
        acknowledged, kept = load.told("")["entered"], clinic.entries_of(engine, people)
        engine.dispose()
    say(f"entries acknowledged {acknowledged}, found in the database {kept}")
    if acknowledged != kept:
        raise RuntimeError("the database does not hold what was acknowledged")
    return measured


def _round(
    load: Load, server: tuple[int, int], floor: int, measured: Measured, *, short: bool
) -> None:
    """Each task once. short: only to warm up."""
    port, process = server
    for task in TASKS:
        seconds = 0.2 if short else task.seconds
        job = {
            "port": floor if task.ask == "naive" else port,
            "ask": task.ask,
            "clients": task.clients,
            "seconds": seconds,
            "think_s": task.think_s,
        }
        used = clinic.cpu_ms(process)
        told = load.told(json.dumps(job))
        if told["refused"] and task.ask != "naive":
            raise RuntimeError(f"{task.name}: {told['refused']} requests were refused")
        measured.refused[task.name] += told["refused"]
        measured.busy = max(measured.busy, told["busy"])
        if told["took_ms"]:
            measured.add(task.name, told["took_ms"], seconds)
            measured.cpu[task.name].append((clinic.cpu_ms(process) - used) / told["answers"])


def aims_of(found: Measured, ending: str = "") -> dict[str, dict[str, Any]]:
    """The figures beside their aims."""
    rates = zip(found.rate["entry, 10"], found.rate["bare route, 10"], strict=True)
    limits = zip(found.p50["entry, 1"], found.p50[LIMIT], strict=True)
    aims = {
        "entry_p95_vs_p50_at_10": aim(found.spread("entry, 10"), 1.5),
        "entry_rate_vs_naive": aim_at_least(median(ours / bare for ours, bare in rates), 2),
        "entry_p50_vs_commit_at_1": aim(median(ours / bare for ours, bare in limits), 6),
        "page_p95_vs_p50": aim(found.spread("page, 1"), 1.3),
        "clinicians_50_p95_ms": aim(median(found.p95["clinicians, 50"]), 100),
    }
    return {f"{name}{ending}": each for name, each in aims.items()}


def say_table(title: str, found: Measured) -> None:
    """Medians of the runs."""
    say(f"\n{title:24}{'p50 ms':>10}{'p95 ms':>10}{'a second':>10}{'CPU ms':>8}{'refused':>9}")
    commits = [name for name in found.p50 if name.startswith(LIMIT)]
    for name in (*(task.name for task in TASKS), *commits):
        figures = (median(each[name]) for each in (found.p50, found.p95, found.rate))
        says = "".join(f"{figure:10.2f}" for figure in figures)
        is_ours = not name.startswith("bare")
        cpu = f"{median(found.cpu[name]):8.2f}" if is_ours else f"{'':8}"
        say(f"{name:24}{says}{cpu}{found.refused[name]:9}")
    if found.busy > BUSY:
        say(f"the clients used {found.busy:.0%} of a processor: some figures may be theirs")


def on_sqlite(folder: Path, repeats: int) -> Measured:
    """On one file, as one clinic has it."""
    url, naive_url = (f"sqlite:///{folder / name}.db" for name in ("evenhand", "naive"))
    commits = {
        LIMIT: sqlite_commits(folder / "bare.db", "WAL"),
        "bare commit, as it comes": sqlite_commits(folder / "plain.db", "DELETE"),
    }
    return measure(url, naive_url, commits, folder, repeats)


def on_postgresql(folder: Path, repeats: int) -> Measured | None:
    """On PostgreSQL; None where it is not installed."""
    with postgresql(folder) as home:
        if home is None:
            say("\nPostgreSQL is not installed: not measured")
            return None
        words = f"host={home} user={USER}"
        with psycopg.connect(f"{words} dbname=postgres", autocommit=True) as connection:
            for name in ("evenhand", "naive", "bare"):
                connection.execute(f"CREATE DATABASE {name}")
        url, naive_url = (
            f"postgresql+psycopg://{USER}@/{name}?host={home}" for name in ("evenhand", "naive")
        )
        commits = {LIMIT: postgresql_commits(f"{words} dbname=bare")}
        return measure(url, naive_url, commits, folder, repeats)


def main() -> int:
    """Measure, print the tables and the aims."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks.server", description=__doc__)
    parser.formatter_class = argparse.RawDescriptionHelpFormatter
    parser.add_argument("--short", action="store_true", help="one repeat, to see that it works")
    parser.add_argument("--folder", type=Path, help="on the disk that is to be measured")
    parser.add_argument("--only", choices=("sqlite", "postgresql"))
    asked = parser.parse_args()
    repeats = 1 if asked.short else REPEATS
    say_machine(PACKAGES)
    aims: dict[str, dict[str, Any]] = {}
    with TemporaryDirectory(dir=asked.folder) as made:
        folder = Path(made)
        # PostgreSQL may run as somebody else.
        folder.chmod(0o755)
        if asked.only != "postgresql":
            found = on_sqlite(folder, repeats)
            say_table("SQLite, clients", found)
            aims |= aims_of(found)
        if asked.only != "sqlite" and (grown := on_postgresql(folder, repeats)):
            say_table("PostgreSQL, clients", grown)
            aims |= aims_of(grown, "_postgresql")
    say()
    say_aims(aims)
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
