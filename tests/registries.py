"""The same rows of exams in several engines, and what the one query gives in each.

rows = [(0, row_of(exam, knowledge)), ...]
in_duckdb(parquet_of(folder, rows))
"""

import sqlite3
from collections.abc import Iterable, Iterator
from contextlib import closing
from itertools import islice
from pathlib import Path
from typing import Any

import duckdb
import psycopg
import pyarrow as pa
from pyarrow.parquet import ParquetWriter

from app.assess.assess import world_of
from app.assess.results import result_of
from app.exam.record import Exam
from app.knowledge.load import Knowledge, knowledge
from app.logic.truth import YES
from app.store.registry.in_memory import Results
from app.store.registry.results import hazard_column, results_sql
from app.store.registry.rows import Holds, RegistryRow, columns, table_sql

KEY = "id"
TABLE = "registry"
AT_ONCE = 5_000
ARROW = {
    Holds.YESNO: pa.bool_(),
    Holds.SMALL: pa.int16(),
    Holds.WHOLE: pa.int32(),
    Holds.PARTS: pa.int64(),
    Holds.TEXT: pa.string(),
}
Rows = Iterable[tuple[int, RegistryRow]]
Answers = Iterator[dict[str, Any]]


def decided(exam: Exam, knowledge: Knowledge) -> Results:
    """What the program itself concludes from one exam, as the query names it."""
    world = world_of(exam, knowledge)
    rules = (*knowledge.categories, *knowledge.warnings, knowledge.fall_risk.id)
    return {
        **{rule: result_of(world, rule) for rule in rules},
        **{
            hazard_column(each.id): world.holds(each.when) is YES
            for each in knowledge.hazards.values()
        },
    }


def query(engine: str, source: str = TABLE) -> str:
    """The query in the SQL of an engine."""
    return results_sql(knowledge(), engine, source, (KEY,))


def schema() -> pa.Schema:
    """The columns of a Parquet file."""
    fields = [(name, ARROW[holds]) for name, holds in columns(knowledge()).items()]
    return pa.schema([(KEY, pa.int64()), *fields])


def parquet_of(file: Path, rows: Rows) -> Path:
    """The rows as a Parquet file."""
    with ParquetWriter(file, schema()) as into:
        left = iter(rows)
        while some := list(islice(left, AT_ONCE)):
            listed = [{KEY: number, **row} for number, row in some]
            into.write_batch(pa.RecordBatch.from_pylist(listed, schema=schema()))
    return file


def in_sqlite(file: Path, rows: Rows) -> Answers:
    """What SQLite says."""
    with closing(sqlite3.connect(file)) as database:
        database.execute(table_sql(knowledge(), TABLE, {KEY: "integer"}))
        marks = ", ".join("?" * (len(columns(knowledge())) + 1))
        database.executemany(
            f"INSERT INTO {TABLE} VALUES ({marks})", ((key, *row.values()) for key, row in rows)
        )
        database.commit()
        answered = database.execute(query("sqlite"))
        yield from _named([each[0] for each in answered.description], answered)


def in_postgresql(url: str, rows: Rows) -> Answers:
    """What PostgreSQL says. url: of a database that may be filled."""
    with psycopg.connect(url.replace("+psycopg", "")) as database:
        database.execute(table_sql(knowledge(), TABLE, {KEY: "integer"}))
        with database.cursor().copy(f"COPY {TABLE} FROM STDIN") as copy:
            for key, row in rows:
                copy.write_row((key, *row.values()))
        with database.cursor("answers") as cursor:
            cursor.itersize = AT_ONCE
            answered = cursor.execute(query("postgresql"))
            assert answered.description is not None
            yield from _named([each.name for each in answered.description], answered)


def in_duckdb(file: Path) -> Answers:
    """What DuckDB says of a Parquet file."""
    with duckdb.connect() as database:
        database.execute(f"CREATE VIEW {TABLE} AS FROM read_parquet('{file}')")
        answered = database.execute(query("duckdb"))
        names = [each[0] for each in answered.description or ()]
        while some := answered.fetchmany(AT_ONCE):
            yield from _named(names, some)


def _named(names: list[str], rows: Iterable[Iterable[Any]]) -> Answers:
    for row in rows:
        yield dict(zip(names, row, strict=True))
