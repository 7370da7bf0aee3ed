"""Spark on this machine, in one process: the same query, in an engine made for many machines.

pyspark comes as a source package only, which our locks refuse: `pip install pyspark` by hand, with
a Java on the path. Without them nothing is measured here, and the benchmarks say so.
"""

import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from importlib.util import find_spec
from pathlib import Path
from typing import Any


def why_not() -> str | None:
    """What is missing, None where Spark can be run."""
    if find_spec("pyspark") is None:
        return "no pyspark"
    return None if shutil.which("java") else "no Java"


@contextmanager
def session(cores: int, memory: str = "2g") -> Iterator[Any]:
    """A Spark session on so many processors of this machine."""
    from pyspark.sql import SparkSession

    # Without Hadoop's file locks of a network file system, without a page of its own, and quiet.
    made = (
        SparkSession.builder.master(f"local[{cores}]")
        .config("spark.ui.enabled", "false")
        .config("spark.driver.memory", memory)
        .config("spark.driver.host", "127.0.0.1")
        .config("spark.driver.bindAddress", "127.0.0.1")
        .config("spark.log.level", "ERROR")
        # Else a file of the registry is one piece of work, for one processor.
        .config("spark.sql.files.maxPartitionBytes", "16m")
        .getOrCreate()
    )
    try:
        yield made
    finally:
        made.stop()


def table(spark: Any, file: Path, name: str) -> None:
    """A Parquet file, or a folder of them, as a table."""
    spark.read.parquet(str(file)).createOrReplaceTempView(name)
