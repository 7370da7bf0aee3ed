"""What SQL concludes of a whole table is what the program concludes of each exam."""

import json
from decimal import Decimal
from pathlib import Path
from types import MappingProxyType
from typing import Any

import pytest

from app.exam.faults import BadExam
from app.exam.reading import parse_exam
from app.exam.record import Exam, Patient, Untestable
from app.exam.vocabulary import Side
from app.knowledge.load import knowledge
from app.store.registry.in_memory import Results, in_memory
from app.store.registry.rows import PARTS, columns, row_of
from tests.assess.test_contract import CASES
from tests.drawn import exams
from tests.postgres import fresh_database
from tests.registries import KEY, Rows, decided, in_duckdb, in_postgresql, in_sqlite, parquet_of
from tests.sampling import WHOLE

DRAWN = 2_000 if WHOLE else 120


def readable(text: str) -> list[Exam]:
    """The exam of a case, unless the case is about what cannot be read."""
    try:
        return [parse_exam(text)]
    except BadExam:
        return []


@pytest.fixture(scope="module")
def tried() -> list[Exam]:
    """The exams of the contract, and some that are drawn at random."""
    of_contract = [exam for each in CASES for exam in readable(json.dumps(each["exam"]))]
    return [*of_contract, *exams(DRAWN, seed=7)]


@pytest.fixture(scope="module")
def concluded(tried: list[Exam]) -> list[Results]:
    """What the program concludes of each."""
    return [decided(each, knowledge()) for each in tried]


@pytest.fixture(scope="module")
def rows(tried: list[Exam]) -> Rows:
    """Each exam as a row."""
    return [(number, row_of(each, knowledge())) for number, each in enumerate(tried)]


@pytest.mark.parametrize("engine", ["sqlite", "postgresql", "duckdb"])
def test_one_query_says_of_every_exam_what_the_program_says(
    engine: str, rows: Rows, concluded: list[Results], tmp_path: Path
) -> None:
    """Every level, urgency, falls group and hazard."""
    if engine == "postgresql":
        with fresh_database(migrated=False) as url:
            answered = list(in_postgresql(url, rows))
    elif engine == "duckdb":
        answered = list(in_duckdb(parquet_of(tmp_path / "rows.parquet", rows)))
    else:
        answered = list(in_sqlite(tmp_path / "rows.db", rows))

    assert len(concluded) == len(answered)
    for row in answered:
        assert concluded[row.pop(KEY)] == row


def test_a_batch_in_memory_is_whole(tried: list[Exam], concluded: list[Results]) -> None:
    """A second batch has nothing of the first in it."""
    with in_memory(knowledge()) as table:
        first, second = table.results(tried), table.results(tried[:3])

    assert concluded == first
    assert concluded[:3] == second


def test_a_row_has_a_column_for_every_cell() -> None:
    """A number stands in its smallest parts; what is not known is empty, and never normal."""
    exam = Exam(
        Patient(Decimal("70.5"), "female"),
        MappingProxyType(
            {
                ("rest_tremor_hand", Side.RIGHT): 2,
                ("finger_tap_slow", Side.LEFT): Untestable("pain"),
                ("walk_s", None): Decimal("5.60"),
                ("base", None): "wide",
            }
        ),
        ("levodopa 100 mg",),
    )
    row = row_of(exam, knowledge())
    held: dict[str, Any] = {name: each for name, each in row.items() if each is not None}
    taken = {name: each for name, each in held.items() if name.startswith("takes_")}

    assert [*columns(knowledge())] == [*row]
    assert taken.pop("takes_levodopa") is True
    assert set(taken.values()) == {False}
    assert {
        "age": 70_500_000_000_000,
        "sex": "female",
        "rest_tremor_hand_right": 2,
        "untestable_finger_tap_slow_right": False,
        "untestable_finger_tap_slow_left": True,
        "untestable_pull_test": False,
        "walk_s": 56 * PARTS // 10,
        "base": "wide",
    } == {name: each for name, each in held.items() if not name.startswith("takes_")}


def test_a_speed_on_the_threshold_is_slow_and_beyond_it_not() -> None:
    """4.48 m in 5.6 s are 0.8 m/s. In binary fractions they are a little more."""
    walks = [
        Exam(
            cells=MappingProxyType(
                {
                    ("hx_unsteady", None): True,
                    ("walk_m", None): Decimal(metres),
                    ("walk_s", None): Decimal("5.6"),
                }
            )
        )
        for metres in ("4.48", "4.480000000001")
    ]
    with in_memory(knowledge()) as table:
        levels = [each["fall_risk"] for each in table.results(walks)]

    assert ["intermediate", "open"] == levels
