"""Whether the readers of a rule agree: the evaluator, exam by exam, and one query in each engine.

`python -m benchmarks.readers` draws 200,000 exams (tests/drawn.py), from almost nothing known to
everything, and compares every level, urgency, falls group and hazard. The last line printed is one
JSON object. `--short`: 2,000 exams.
"""

import argparse
import json
import os
import sys
import tempfile
import time
from collections.abc import Iterator, Mapping
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from app.knowledge.load import knowledge
from app.store.registry.rows import RegistryRow, row_of
from benchmarks import spark
from benchmarks.aims import say, say_machine
from tests.drawn import exams
from tests.postgres import fresh_database
from tests.registries import (
    KEY,
    TABLE,
    decided,
    in_duckdb,
    in_postgresql,
    in_sqlite,
    parquet_of,
    query,
)

EXAMS, SHORT = 200_000, 2_000
AT_ONCE = 500
Said = dict[str, str | bool]


@dataclass
class Compared:
    """What an engine said. different: results that are not the program's; first: one of them."""

    exams: int = 0
    results: int = 0
    different: int = 0
    first: str = ""


def _chunk(number: int) -> tuple[list[RegistryRow], list[Said]]:
    """Some exams as rows, and what the evaluator says of each."""
    drawn = list(exams(AT_ONCE, seed=number))
    said = [{k: _same(v) for k, v in decided(each, knowledge()).items()} for each in drawn]
    return [row_of(each, knowledge()) for each in drawn], said


def _same(value: str | bool) -> str | bool:
    return sys.intern(value) if isinstance(value, str) else value


def evaluated(count: int, into: Path) -> list[Said]:
    """What the evaluator says of each exam; the rows go into a Parquet file."""
    said: list[Said] = []
    names: dict[str, str] = {}

    def rows() -> Iterator[tuple[int, RegistryRow]]:
        with ProcessPoolExecutor(os.cpu_count()) as pool:
            for some, answers in pool.map(_chunk, range(count // AT_ONCE)):
                for row, answer in zip(some, answers, strict=True):
                    yield len(said), row
                    said.append({names.setdefault(k, k): _same(v) for k, v in answer.items()})
                sys.stderr.write(f"\r{len(said)} exams evaluated")
        sys.stderr.write("\n")

    parquet_of(into, rows())
    return said


def stored(file: Path) -> Iterator[tuple[int, RegistryRow]]:
    """The rows of a Parquet file."""
    from pyarrow.parquet import ParquetFile

    for batch in ParquetFile(file).iter_batches(AT_ONCE):
        for row in batch.to_pylist():
            yield row.pop(KEY), row


def compared(answers: Iterator[Mapping[str, Any]], said: list[Said]) -> Compared:
    """The answers of an engine beside those of the evaluator."""
    found = Compared()
    for answer in answers:
        row = dict(answer)
        expected = said[row.pop(KEY)]
        found.exams += 1
        for name, value in row.items():
            found.results += 1
            # SQLite has no booleans of its own.
            if value != expected[name]:
                found.different += 1
                found.first = found.first or f"{name}: {value}, not {expected[name]}"
    return found


def in_spark(file: Path) -> Iterator[Mapping[str, Any]]:
    """What Spark SQL says of a Parquet file."""
    with spark.session(os.cpu_count() or 1) as opened:
        spark.table(opened, file, TABLE)
        for row in opened.sql(query("spark")).toLocalIterator():
            yield row.asDict()


def main() -> None:
    """Draw, evaluate, ask every engine, compare."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--short", action="store_true", help=f"{SHORT} exams only")
    count = SHORT if parser.parse_args().short else EXAMS
    say_machine(("duckdb", "psycopg", "pyspark", "sqlalchemy"))
    found: dict[str, Compared] = {}
    with tempfile.TemporaryDirectory() as made:
        file = Path(made) / "rows.parquet"
        begun = time.perf_counter()
        said = evaluated(count, file)
        say(f"evaluator: {len(said)} exams in {time.perf_counter() - begun:.0f} s")
        found["sqlite"] = compared(in_sqlite(Path(made) / "rows.db", stored(file)), said)
        with fresh_database(migrated=False) as url:
            found["postgresql"] = compared(in_postgresql(url, stored(file)), said)
        found["duckdb"] = compared(in_duckdb(file), said)
        missing = spark.why_not()
        if missing is None:
            found["spark"] = compared(in_spark(file), said)
        else:
            say(f"spark: not measured: {missing}")
    aims = {}
    for engine, each in found.items():
        whole = each.exams == len(said)
        say(
            f"{engine}: {each.exams} exams, {each.results} results, {each.different} different "
            f"{each.first}"
        )
        aims[f"{engine}_different"] = {
            "value": each.different if whole else None,
            "aim": 0,
            "met": whole and not each.different,
        }
    say(json.dumps({"exams": len(said), "aims": aims}))


if __name__ == "__main__":
    main()
