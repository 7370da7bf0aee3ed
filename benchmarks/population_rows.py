"""Rows of a registry in bulk: drawn column by column, valid values only, without making exams."""

from decimal import Decimal
from pathlib import Path

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray
from pyarrow.parquet import ParquetWriter

from app.exam.reading import MAX_AGE, SEXES
from app.exam.vocabulary import GRADES, Finding, Scale, vocabulary
from app.knowledge.load import knowledge
from app.knowledge.names import AGE
from app.store.registry.rows import PARTS, SEX, asked_by, column_of, takes_column, untestable_column
from tests.registries import KEY, schema

AT_ONCE = 50_000
# In most patients most signs are absent.
GRADE_SHARES = (0.8, 0.08, 0.08, 0.04)
HUNDREDTHS = 100


def write(file: Path, count: int, seed: int = 1) -> None:
    """So many rows as a Parquet file; the same for the same seed."""
    with ParquetWriter(file, schema(), compression="zstd") as into:
        for first in range(0, count, AT_ONCE):
            chance = np.random.default_rng((seed, first))
            into.write_batch(_batch(first, min(AT_ONCE, count - first), chance))


def _batch(first: int, count: int, chance: np.random.Generator) -> pa.RecordBatch:
    # From nearly nothing recorded to everything, a row at a time.
    density = chance.choice((0.1, 0.5, 0.9, 1.0), count)
    asked = asked_by(knowledge())

    def held(values: NDArray[np.generic], share: NDArray[np.float64] | float) -> pa.Array:
        return pa.array(values, mask=chance.random(count) >= share)

    arrays: dict[str, pa.Array] = {
        KEY: pa.array(np.arange(first, first + count)),
        AGE: held(chance.integers(18, MAX_AGE - 20, count) * PARTS, 0.98),
        SEX: held(chance.choice(SEXES, count), 0.98),
    }
    for finding in vocabulary().values():
        for side in finding.sides:
            arrays[column_of(finding.id, side)] = held(_values(finding, count, chance), density)
    for name in asked.untestable:
        for side in vocabulary()[name].sides:
            known = arrays[column_of(name, side)].is_valid().to_numpy(zero_copy_only=False)
            arrays[untestable_column(name, side)] = pa.array(~known & (chance.random(count) < 0.1))
    for name in asked.takes:
        arrays[takes_column(name)] = held(chance.random(count) < 0.1, 0.9)
    return pa.RecordBatch.from_arrays(
        [arrays[field.name].cast(field.type) for field in schema()], schema=schema()
    )


def _values(finding: Finding, count: int, chance: np.random.Generator) -> NDArray[np.generic]:
    match finding.scale:
        case Scale.GRADE:
            return chance.choice(np.array(GRADES, np.int16), count, p=GRADE_SHARES)
        case Scale.YESNO:
            return chance.random(count) < 0.15
        case Scale.CHOICE:
            others = 0.3 / max(len(finding.values) - 1, 1)
            shares = [0.7, *(others for _ in finding.values[1:])]
            return chance.choice(np.array(finding.values), count, p=np.array(shares) / sum(shares))
        case Scale.COUNT:
            return chance.integers(_whole(finding.minimum), min(_whole(finding.maximum), 20), count)
        case Scale.NUMBER:
            low, high = (_whole((end or Decimal(0)) * HUNDREDTHS) for end in _ends(finding))
            return chance.integers(low, high + 1, count) * (PARTS // HUNDREDTHS)


def _ends(finding: Finding) -> tuple[Decimal | None, Decimal | None]:
    return finding.minimum, finding.maximum


def _whole(number: Decimal | None) -> int:
    return int(number or 0)
