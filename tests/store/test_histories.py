"""Histories of several writers at one exam, checked whole; and the checker itself, made to fail."""

import logging
from collections.abc import Callable
from dataclasses import replace

import pytest
from sqlalchemy import Engine

from app.exam.record import Untestable
from app.exam.vocabulary import Side
from app.store.entries import EntryRecord
from tests.store.clinic import NOW, an_exam, stored
from tests.store.histories import Act, anomalies, figures, record_history

log = logging.getLogger(__name__)

CLIENTS = 6
TURNS = 40
SEEDS = 4
A = ("dysmetria", Side.RIGHT)
B = ("dysmetria", Side.LEFT)

History = tuple[list[Act], list[EntryRecord]]


def test_no_history_of_several_writers_holds_an_anomaly(engine: Engine) -> None:
    """Nothing acknowledged is lost, nobody writes over what they have not seen, and every reading
    is of one moment: over exams that all of them want to write at once.
    """
    totals = figures([])
    for seed in range(SEEDS):
        acts, entries = record_history(
            engine, an_exam(engine, chart_number=f"T-{seed}").id,
            clients=CLIENTS, turns=TURNS, seed=seed,
        )  # fmt: skip
        totals += figures(acts)

        assert [] == anomalies(acts, entries)
    # The figures of docs/testing.md: --log-cli-level=INFO shows them.
    log.info("%s: %s", engine.dialect.name, dict(totals))

    assert totals["operations"] >= SEEDS * CLIENTS * TURNS
    assert totals["collisions"] > totals["operations"] // 20


def test_a_store_that_does_not_look_is_caught(engine: Engine) -> None:
    """Checked against the newest state instead of the one that was seen, the last writer wins:
    exactly what must never happen, and what the checker must see.
    """

    def newest(engine: Engine, exam_id: str, _seen: int) -> int:
        return stored(engine, exam_id).revision

    acts, entries = record_history(
        engine, an_exam(engine).id, clients=CLIENTS, turns=TURNS, seed=1, checked_at=newest
    )

    assert any("without having seen it" in each for each in anomalies(acts, entries))


def entry(
    number: int, cell: tuple[str, Side], value: str, by: str, replaces: int | None
) -> EntryRecord:
    """One entry, in a revision of its own."""
    return EntryRecord(
        number, *cell, Untestable(value), by, "nurse", NOW, replaces, bulk=False, revision=number
    )


def right() -> History:
    """A small history without a fault: Ann and Ben write one cell, and Ben takes over."""
    acts = [
        Act("Ann", "write", 0, 1, 0, {A: Untestable("a1")}, 1),
        Act("Ben", "write", 2, 3, 0, {A: Untestable("b1")}, None),
        Act("Ben", "write", 4, 5, 1, {A: Untestable("b2")}, 2),
        Act("Ann", "read", 6, 7, 2, {A: Untestable("b2")}, 2),
        Act("Ann", "write", 8, 9, 2, {B: Untestable("a2")}, 3),
    ]
    entries = [
        entry(1, A, "a1", "Ann", None),
        entry(2, A, "b2", "Ben", 1),
        entry(3, B, "a2", "Ann", None),
    ]
    return acts, entries


def without_an_entry(history: History) -> History:
    """An acknowledged write whose entry is gone."""
    acts, entries = history
    return acts, entries[:-1]


def with_acts(**changed: object) -> Callable[[History], History]:
    """The act of that place, with something else in it."""

    def change(history: History) -> History:
        acts, entries = history
        place = int(str(changed["place"]))
        facts = {name: value for name, value in changed.items() if name != "place"}
        acts[place] = replace(acts[place], **facts)  # type: ignore[arg-type]
        return acts, entries

    return change


def with_entries(place: int, **changed: object) -> Callable[[History], History]:
    """The entry of that place, with something else in it."""

    def change(history: History) -> History:
        acts, entries = history
        entries[place] = replace(entries[place], **changed)  # type: ignore[arg-type]
        return acts, entries

    return change


def with_a_refused_value(history: History) -> History:
    """An entry that its author was told had been refused."""
    acts, entries = history
    return acts, [*entries, entry(4, A, "b1", "Ben", 2)]


BROKEN = [
    (without_an_entry, "was answered with revision 3, which nobody made"),
    (with_entries(2, value=Untestable("else")), "is lost"),
    (with_acts(place=2, seen=0), "without having seen it"),
    (with_acts(place=3, values={A: Untestable("never")}), "Ann read"),
    (with_acts(place=3, values={A: Untestable("a1")}), "Ann read"),
    (with_entries(1, replaces=None), "entry 2 replaces None, not 1"),
    (with_entries(2, replaces=1), "entry 3 replaces 1, not None"),
    (with_entries(2, revision=5), "not counted one by one"),
    (with_entries(2, revision=2), "revision 2 was made by ['Ann', 'Ben']"),
    (with_a_refused_value, "entry 4 was acknowledged to nobody"),
    (with_acts(place=1, values={B: Untestable("b1")}, seen=3), "nobody else wrote there"),
    (with_acts(place=3, values={A: Untestable("a1")}, revision=1), "after 2 was told"),
    (with_acts(place=3, asked=2, answered=3, kind="read"), "which was told before"),
]  # fmt: skip


@pytest.mark.parametrize(("damage", "says"), BROKEN, ids=[says for _, says in BROKEN])
def test_the_checker_finds_each_kind_of_damage(
    damage: Callable[[History], History], says: str
) -> None:
    """A checker that cannot fail would prove nothing."""
    assert [] == anomalies(*right())

    found = anomalies(*damage(right()))

    assert any(says in each for each in found), found
