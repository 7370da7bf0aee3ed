"""What several people did at one exam at once, recorded, and a checker of such histories."""

import itertools
import random
import threading
from collections import Counter
from collections.abc import Callable, Iterable, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field

from sqlalchemy import Engine

from app.exam.record import Cell, Recorded, Untestable
from app.exam.vocabulary import vocabulary
from app.store.actor import Recorder
from app.store.engine import reading, writing
from app.store.entries import EntryRecord, history, mark_rest_normal, record, record_medicines
from app.store.exams import ExamRecord, exam_record
from app.store.refusals import Collision, MedicinesCollision
from app.store.tables import MEDICINES
from tests.store.clinic import NOW

# Few cells, so that many want the same.
STATION = "reach"
CELLS: tuple[Cell, ...] = tuple(
    (finding.id, side)
    for finding in vocabulary().at(STATION)
    if finding.core
    for side in finding.sides
)
LINES: Cell = (MEDICINES, None)

Value = Recorded | tuple[str, ...] | None


@dataclass(frozen=True)
class Act:
    """One request, from its beginning to its answer.

    kind: write, normal (the rest of a station) or read. asked, answered: moments of one clock.
    seen: the revision that a write named. values: what was to be written, or what was read.
    revision: that of the answer, None where it was refused.
    """

    client: str
    kind: str
    asked: int
    answered: int
    seen: int
    values: Mapping[Cell, Value]
    revision: int | None


@dataclass
class Client:
    """Somebody who records, reads and settles collisions as the dice fall."""

    engine: Engine
    exam_id: str
    name: str
    dice: random.Random
    clock: "itertools.count[int]"
    # The revision under which a write is checked, from the one that the client has seen.
    checked_at: Callable[[Engine, str, int], int]
    known: int = 0
    acts: list[Act] = field(default_factory=list)

    def act(self, turn: int) -> None:
        """Do one thing."""
        match self.dice.random():
            case chance if chance < 0.25:
                self.read(None)
            case chance if chance < 0.35:
                self.read(self.dice.randint(0, self.known))
            case chance if chance < 0.4:
                self._answer("normal", {}, self._mark_normal)
            case chance if chance < 0.55:
                self.write({LINES: (f"drug {self.name} {turn}",)})
            case _:
                cells = self.dice.sample(CELLS, self.dice.randint(1, 3))
                self.write({cell: self._value(turn) for cell in cells})

    def read(self, at_revision: int | None) -> None:
        """Read the exam as it is, or as it was."""
        asked = next(self.clock)
        with reading(self.engine) as session:
            held = exam_record(session, self.exam_id, at_revision=at_revision)
        found = state_in(held)
        self.acts.append(Act(
            self.name, "read" if at_revision is None else "read back", asked, next(self.clock),
            held.revision, found, held.revision,
        ))  # fmt: skip
        self.known = max(self.known, held.revision)

    def write(self, values: Mapping[Cell, Value]) -> None:
        """Write at a revision seen now or earlier; a collision is taken over, or left."""
        collision = self._answer("write", values, lambda seen: self._record(values, seen))
        if collision is None or self.dice.random() < 0.5:
            return
        # Whoever takes it over has seen what the collision showed.
        theirs = [held.revision for held, _ in collision.cells.values()]
        if isinstance(collision, MedicinesCollision):
            theirs.append(collision.theirs.revision)
        self.known = max(self.known, *theirs)
        self._answer("write", values, lambda seen: self._record(values, seen))

    def _answer(
        self, kind: str, values: Mapping[Cell, Value], send: Callable[[int], ExamRecord]
    ) -> Collision | None:
        seen, asked = self.known, next(self.clock)
        refused, revision = None, None
        try:
            revision = send(seen).revision
        except Collision as collision:
            refused = collision
        answered = next(self.clock)
        self.acts.append(Act(self.name, kind, asked, answered, seen, values, revision))
        # Many pages do not follow: what they show is older than what they were told.
        if revision is not None and self.dice.random() < 0.5:
            self.known = max(self.known, revision)
        return refused

    def _record(self, values: Mapping[Cell, Value], seen: int) -> ExamRecord:
        at_revision = self.checked_at(self.engine, self.exam_id, seen)
        who = Recorder(self.name, "nurse")
        with writing(self.engine) as session:
            if LINES in values:
                lines = values[LINES]
                assert isinstance(lines, tuple)
                return record_medicines(
                    session, self.exam_id, lines, at_revision=at_revision, recorder=who, now=NOW
                )
            cells = {cell: value for cell, value in values.items() if not isinstance(value, tuple)}
            return record(
                session, self.exam_id, cells, at_revision=at_revision, recorder=who, now=NOW
            )

    def _mark_normal(self, seen: int) -> ExamRecord:
        who = Recorder(self.name, "nurse")
        with writing(self.engine) as session:
            return mark_rest_normal(
                session, self.exam_id, STATION, at_revision=seen, recorder=who, now=NOW
            )

    def _value(self, turn: int) -> Recorded | None:
        # No two writes have the same value, so that each can be found again; some clear the cell.
        return None if self.dice.random() < 0.1 else Untestable(f"{self.name} {turn}")


def as_seen(engine: Engine, exam_id: str, seen: int) -> int:
    """A write is checked against what its author saw."""
    return seen


def record_history(
    engine: Engine,
    exam_id: str,
    *,
    clients: int,
    turns: int,
    seed: int,
    checked_at: Callable[[Engine, str, int], int] = as_seen,
) -> tuple[list[Act], list[EntryRecord]]:
    """Let them all go at once; every act, and every entry that is there afterwards."""
    clock, start = itertools.count(), threading.Barrier(clients)
    all_of_them = [
        Client(
            engine, exam_id, f"Writer {number}", random.Random(seed * clients + number), clock,
            checked_at,
        )
        for number in range(clients)
    ]  # fmt: skip

    def run(client: Client) -> None:
        start.wait()
        for turn in range(turns):
            client.act(turn)

    with ThreadPoolExecutor(clients) as pool:
        list(pool.map(run, all_of_them))
    with reading(engine) as session:
        made = history(session, exam_id)
    return [act for client in all_of_them for act in client.acts], made


def state_in(held: ExamRecord) -> dict[Cell, Value]:
    """What stands in an exam, the medicines among it."""
    lines = {} if held.exam.medicines is None else {LINES: held.exam.medicines}
    return {**held.exam.cells, **lines}


def figures(acts: Iterable[Act]) -> Counter[str]:
    """How many acts there were, and how many writes were refused because of a collision."""
    acts = list(acts)
    counted = Counter(act.kind for act in acts)
    counted["operations"] = len(acts)
    counted["collisions"] = sum(act.revision is None for act in acts)
    return counted


def anomalies(acts: Sequence[Act], entries: Sequence[EntryRecord]) -> list[str]:
    """Everything that should not have happened; empty where the history is right."""
    states = _states(entries)
    return [
        *_order_of_entries(entries),
        *_chains(entries),
        *_answers(acts, states),
        *_makers(acts, entries),
        *_refusals(acts, entries),
        *_real_time(acts, entries),
    ]


def _states(entries: Sequence[EntryRecord]) -> dict[int, dict[Cell, Value]]:
    """What stood in the exam at each revision."""
    states: dict[int, dict[Cell, Value]] = {0: {}}
    standing: dict[Cell, Value] = {}
    for entry in entries:
        standing[entry.finding, entry.side] = entry.value
        states[entry.revision] = dict(standing)
    return states


def _order_of_entries(entries: Sequence[EntryRecord]) -> Iterable[str]:
    """Every write has a revision of its own, one higher than the last."""
    revisions = list(dict.fromkeys(entry.revision for entry in entries))
    if revisions != list(range(1, len(revisions) + 1)):
        yield f"the revisions of the entries are not counted one by one: {revisions}"
    for revision, makers in _by_revision(entries).items():
        if len(makers) > 1:
            yield f"revision {revision} was made by {sorted(makers)}"


def _by_revision(entries: Sequence[EntryRecord]) -> dict[int, set[str]]:
    made: dict[int, set[str]] = {}
    for entry in entries:
        made.setdefault(entry.revision, set()).add(entry.by)
    return made


def _chains(entries: Sequence[EntryRecord]) -> Iterable[str]:
    """Each entry of a cell replaces the one before it."""
    last: dict[Cell, int] = {}
    for entry in entries:
        cell = (entry.finding, entry.side)
        if entry.replaces != last.get(cell):
            yield f"entry {entry.entry_id} replaces {entry.replaces}, not {last.get(cell)}"
        last[cell] = entry.entry_id


def _answers(acts: Sequence[Act], states: Mapping[int, Mapping[Cell, Value]]) -> Iterable[str]:
    """What was acknowledged stands there, and what was read is what stood there."""
    for act in acts:
        if act.revision is None:
            continue
        stood = states.get(act.revision)
        if stood is None:
            yield f"{act.client} was answered with revision {act.revision}, which nobody made"
        elif act.kind.startswith("read"):
            written = {cell: value for cell, value in stood.items() if value is not None}
            if act.values != written:
                yield f"{act.client} read {act.values} at {act.revision}, where {written} stood"
        else:
            for cell, value in act.values.items():
                if stood.get(cell) != value:
                    yield f"{act.client}'s {value} is lost: it was acknowledged at {act.revision}"


def _makers(acts: Sequence[Act], entries: Sequence[EntryRecord]) -> Iterable[str]:
    """Every entry was asked for by an acknowledged write that had seen what it replaces."""
    revision_of = {entry.entry_id: entry.revision for entry in entries}
    made = {
        (act.client, act.revision): act
        for act in sorted(acts, key=lambda act: act.asked, reverse=True)
        if not act.kind.startswith("read")
    }
    for entry in entries:
        act, cell = made.get((entry.by, entry.revision)), (entry.finding, entry.side)
        asked_for = act and (act.kind == "normal" or act.values.get(cell, ...) == entry.value)
        if act is None or not asked_for:
            yield f"entry {entry.entry_id} was acknowledged to nobody"
        elif entry.replaces is not None and revision_of.get(entry.replaces, 0) > act.seen:
            yield (
                f"{entry.by} wrote over entry {entry.replaces} without having seen it: they saw "
                f"revision {act.seen}"
            )


def _refusals(acts: Sequence[Act], entries: Sequence[EntryRecord]) -> Iterable[str]:
    """A write is refused only where somebody wrote one of its cells since what it saw."""
    for act in acts:
        if act.revision is None and not any(
            entry.revision > act.seen
            and (entry.finding, entry.side) in act.values
            and entry.value != act.values[entry.finding, entry.side]
            for entry in entries
        ):
            yield f"{act.client}'s write at {act.seen} was refused, and nobody else wrote there"


def _real_time(acts: Sequence[Act], entries: Sequence[EntryRecord]) -> Iterable[str]:
    """Whoever asks after an answer was given sees at least what that answer told."""
    makers = _by_revision(entries)
    now = [act for act in acts if act.revision is not None and act.kind != "read back"]
    told = sorted(now, key=lambda act: act.answered)
    highest, place = 0, 0
    for act in sorted(now, key=lambda act: act.asked):
        assert act.revision is not None
        while place < len(told) and told[place].answered < act.asked:
            highest = max(highest, told[place].revision or 0)
            place += 1
        if act.revision < highest:
            yield f"{act.client} was told revision {act.revision} after {highest} was told"
        made_it = act.kind == "write" and act.client in makers.get(act.revision, set())
        if made_it and act.revision == highest and _is_first(act, now):
            yield f"{act.client} made revision {act.revision}, which was told before"


def _is_first(act: Act, acts: Sequence[Act]) -> bool:
    """Whether no earlier answer to the same client named this revision."""
    return not any(
        other.client == act.client and other.revision == act.revision and other.asked < act.asked
        for other in acts
    )
