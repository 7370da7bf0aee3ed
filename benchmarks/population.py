"""What one query costs over a registry: 10,000, 100,000 and 1,000,000 exams, in each engine.

`python -m benchmarks.population` draws the rows (benchmarks/population_rows.py), and measures each
of these in a process of its own, in turn, five times: the whole query, whose result is written away
in the engine; one full scan of the same columns in the same engine; and, over the same Parquet
file, the rules as vectorised NumPy (benchmarks/vectorised.py). Time is from the statement to its
end, with planning; memory is the most that the client's process held. The last line printed is one
JSON object. `--short`: 10,000 and 50,000 exams, once. `--engines duckdb,numpy`: only these.
"""

import argparse
import json
import math
import os
import resource
import sqlite3
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

import duckdb
import psycopg
import pyarrow.csv
from pyarrow.parquet import ParquetFile

from app.knowledge.load import knowledge
from app.store.registry.rows import columns, table_sql
from benchmarks import spark
from benchmarks.aims import aim, median, say, say_aims, say_machine
from benchmarks.population_rows import write
from benchmarks.vectorised import Columns
from tests.postgres import fresh_database
from tests.registries import AT_ONCE, KEY, TABLE, query

SIZES, SHORT_SIZES = (10_000, 100_000, 1_000_000), (10_000, 50_000)
REPEATS = 5
MOST_SECONDS, MOST_GROWTH, MOST_MEMORY = 10, 1.1, 1.25
PROCESSORS = os.cpu_count() or 1
# What DuckDB may hold, whatever the size of the registry.
DUCKDB_MEMORY = "300MB"
# By kind and size: seconds, seconds of the client's processors, MiB of the client.
Measured = dict[tuple[str, int], list[tuple[float, float, float]]]


def scan() -> str:
    """One look at every column that the query reads, and nothing done with it."""
    wanted = query("duckdb")
    read = [each for each in columns(knowledge()) if each in wanted]
    return f"SELECT {', '.join(f'count({each})' for each in read)} FROM {TABLE}"  # noqa: S608


# ---- one measurement, in a process of its own


def in_duckdb(place: str, statement: str, *, is_scan: bool) -> float:
    """Over a Parquet file; the result is written as another one."""
    with duckdb.connect() as database, tempfile.TemporaryDirectory() as made:
        database.execute(f"SET threads = {PROCESSORS}")
        database.execute(f"SET memory_limit = '{DUCKDB_MEMORY}'")
        database.execute("SET preserve_insertion_order = false")
        database.execute(f"CREATE VIEW {TABLE} AS FROM read_parquet('{place}')")
        if not is_scan:
            into = f"'{made}/results.parquet' (FORMAT parquet, ROW_GROUP_SIZE 20480)"
            statement = f"COPY ({statement}) TO {into}"
        return _timed(lambda: database.execute(statement).fetchall())


def in_sqlite(place: str, statement: str, *, is_scan: bool) -> float:
    """In a database file; the result becomes a temporary table."""
    with closing(sqlite3.connect(place)) as database:
        made = statement if is_scan else f"CREATE TEMP TABLE results AS {statement}"
        return _timed(lambda: database.execute(made).fetchall())


def in_postgresql(place: str, statement: str, *, is_scan: bool) -> float:
    """In a server; the result becomes a temporary table there."""
    with psycopg.connect(place) as database:
        made = statement if is_scan else f"CREATE TEMP TABLE results AS {statement}"
        return _timed(lambda: database.execute(made.encode()))


def in_spark(place: str, statement: str, *, is_scan: bool) -> float:
    """Over a Parquet file, in this process; the result is worked out and thrown away."""
    with spark.session(PROCESSORS) as session:
        spark.table(session, Path(place), TABLE)
        # Else starting up would be measured.
        session.sql(f"SELECT count({KEY}) FROM {TABLE}").collect()  # noqa: S608
        asked = session.sql(statement)
        return _timed(
            asked.collect if is_scan else asked.write.format("noop").mode("overwrite").save
        )


def in_numpy(place: str, statement: str, *, is_scan: bool) -> float:
    """Over a Parquet file, a batch at a time; the results are thrown away."""
    wanted = query("duckdb")
    read = [each for each in columns(knowledge()) if each in wanted]

    def work() -> None:
        for batch in ParquetFile(place).iter_batches(50_000, columns=read):
            if not is_scan:
                Columns(knowledge(), batch).results()

    return _timed(work)


ENGINES: dict[str, Callable[..., float]] = {
    "duckdb": in_duckdb,
    "numpy": in_numpy,
    "sqlite": in_sqlite,
    "postgresql": in_postgresql,
    "spark": in_spark,
}


def _timed(work: Callable[[], object]) -> float:
    begun = time.perf_counter()
    work()
    return time.perf_counter() - begun


def measure(engine: str, kind: str, place: str) -> None:
    """Measure once, and print seconds, those of the processors, and the most memory in MiB."""
    is_scan = kind == "scan"
    statement = scan() if is_scan else query("duckdb" if engine == "numpy" else engine)
    begun = time.process_time()
    seconds = ENGINES[engine](place, statement, is_scan=is_scan)
    worked = time.process_time() - begun
    most = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    say(json.dumps([seconds, worked, most]))


def measured(engine: str, kind: str, place: str) -> tuple[float, float, float]:
    """One measurement in a process of its own."""
    done = subprocess.run(
        [sys.executable, "-m", "benchmarks.population", "--measure", engine, kind, place],
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        text=True,
        check=True,
    )
    seconds, worked, most = json.loads(done.stdout.splitlines()[-1])
    return seconds, worked, most


# ---- the rows, in every engine


def fill_sqlite(rows: Path, file: Path) -> None:
    """The rows in a SQLite file."""
    with closing(sqlite3.connect(file)) as database:
        database.execute("PRAGMA journal_mode = OFF")
        database.execute("PRAGMA synchronous = OFF")
        database.execute(table_sql(knowledge(), TABLE, {KEY: "integer"}))
        marks = ", ".join("?" * (len(columns(knowledge())) + 1))
        for batch in ParquetFile(rows).iter_batches(AT_ONCE):
            held = (column.to_pylist() for column in batch.columns)
            database.executemany(
                f"INSERT INTO {TABLE} VALUES ({marks})",  # noqa: S608 - names are our own
                zip(*held, strict=True),
            )
        database.commit()


def fill_postgresql(rows: Path, place: str) -> None:
    """The rows in a PostgreSQL."""
    plain = pyarrow.csv.WriteOptions(include_header=False)
    with psycopg.connect(place) as database:
        database.execute(table_sql(knowledge(), TABLE, {KEY: "integer"}).encode())
        with database.cursor().copy(f"COPY {TABLE} FROM STDIN (FORMAT csv)".encode()) as copy:
            for batch in ParquetFile(rows).iter_batches(AT_ONCE):
                into = pyarrow.BufferOutputStream()
                pyarrow.csv.write_csv(batch, into, plain)
                copy.write(into.getvalue().to_pybytes())
        database.commit()
        database.execute(f"ANALYZE {TABLE}".encode())


def measure_all(sizes: tuple[int, ...], repeats: int, engines: list[str]) -> dict[str, Measured]:
    """Every engine at every size, in turn; by engine, then by kind and size."""
    found: dict[str, Measured] = {engine: {} for engine in engines}
    for size in sizes:
        with tempfile.TemporaryDirectory() as made, fresh_database(migrated=False) as address:
            rows, file = Path(made) / "rows.parquet", Path(made) / "rows.db"
            write(rows, size)
            places = dict.fromkeys(engines, str(rows))
            if "sqlite" in engines:
                places["sqlite"] = str(file)
                fill_sqlite(rows, file)
            if "postgresql" in engines:
                places["postgresql"] = address.replace("+psycopg", "")
                fill_postgresql(rows, places["postgresql"])
            say(f"{size} exams, {rows.stat().st_size / 1e6:.0f} MB as Parquet")
            for _ in range(repeats):
                for engine in engines:
                    for kind in ("query", "scan"):
                        one = measured(engine, kind, places[engine])
                        found[engine].setdefault((kind, size), []).append(one)
    return found


def say_table(found: dict[str, Measured], sizes: tuple[int, ...]) -> None:
    """Medians, as a table."""
    say(
        f"{'engine':12}{'exams':>10}{'query s':>10}{'scan s':>9}{'ratio':>8}"
        f"{'client CPU s':>14}{'client MiB':>12}"
    )
    for engine, each in found.items():
        for size in sizes:
            query_s, worked, most = (median(one) for one in zip(*each["query", size], strict=True))
            scan_s = median(seconds for seconds, _, _ in each["scan", size])
            say(
                f"{engine:12}{size:>10}{query_s:>10.2f}{scan_s:>9.3f}"
                f"{query_s / scan_s:>8.1f}{worked:>14.2f}{most:>12.0f}"
            )


def growth(each: Measured, sizes: tuple[int, ...]) -> float:
    """How time grows from the last but one size to the last: 1 is linear."""
    first, last = sizes[-2:]
    times = [median(seconds for seconds, _, _ in each["query", size]) for size in (first, last)]
    return math.log(times[1] / times[0]) / math.log(last / first)


def main() -> None:
    """Measure, print the table and the aims."""
    parser = argparse.ArgumentParser(description="What one query costs over a registry.")
    parser.add_argument("--short", action="store_true", help="small registries, once")
    parser.add_argument("--engines", default=",".join(ENGINES), help="only these, by commas")
    parser.add_argument("--repeats", type=int, help=f"instead of {REPEATS}")
    parser.add_argument("--measure", nargs=3, help=argparse.SUPPRESS)
    asked = parser.parse_args()
    if asked.measure:
        measure(*asked.measure)
        return
    sizes, repeats = (SHORT_SIZES, 1) if asked.short else (SIZES, REPEATS)
    repeats = asked.repeats or repeats
    engines = asked.engines.split(",")
    say_machine(("duckdb", "numpy", "psycopg", "pyarrow", "pyspark"))
    say(f"SQLite {sqlite3.sqlite_version}; {repeats} repeats, medians")
    missing = spark.why_not()
    if missing is not None and "spark" in engines:
        engines.remove("spark")
        say(f"spark: not measured: {missing}")
    found = measure_all(sizes, repeats, engines)
    say_table(found, sizes)
    for engine, each in found.items():
        say(f"{engine}: time grows with the exams to the power of {growth(each, sizes):.2f}")
    if "duckdb" not in found:
        return
    ours, (first, last) = found["duckdb"], sizes[-2:]
    seconds = {size: median(each for each, _, _ in ours["query", size]) for size in sizes}
    most = {size: median(each for _, _, each in ours["query", size]) for size in sizes}
    if "numpy" in found:
        peer = median(each for each, _, _ in found["numpy"]["query", last])
        say(f"duckdb takes {seconds[last] / peer:.2f} of the time of NumPy at {last} exams")
    say_aims(
        {
            f"duckdb_{last}_exams_s": aim(seconds[last], MOST_SECONDS),
            "duckdb_growth_exponent": aim(growth(ours, sizes), MOST_GROWTH),
            "duckdb_client_memory_growth": aim(most[last] / most[first], MOST_MEMORY),
        }
    )


if __name__ == "__main__":
    main()
