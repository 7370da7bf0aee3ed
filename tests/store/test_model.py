"""Any sequence of writes, against a plain dictionary that is obviously right."""

from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import timedelta
from decimal import Decimal
from typing import Any

from hypothesis import given, settings
from hypothesis import strategies as st
from sqlalchemy import Engine

from app.exam.record import Cell, Exam, Untestable
from app.exam.vocabulary import Side, vocabulary
from app.store.actor import Recorder
from app.store.engine import reading, writing
from app.store.entries import EntryRecord, history, mark_rest_normal, record, record_medicines
from app.store.exams import ExamRecord, exam_record, start_exam
from app.store.refusals import Collision
from tests.store.clinic import NOW, NURSE, PHYSICIAN, a_patient

MEDICINES: Cell = ("medicines", None)
REACH: tuple[Cell, ...] = tuple(
    (finding, side)
    for finding in ("kinetic_tremor", "endpoint_tremor", "dysmetria")
    for side in (Side.RIGHT, Side.LEFT)
)
SINGLE: tuple[Cell, ...] = (("tug_s", None), ("hx_memory", None), ("hx_bladder", None))
PAIN = Untestable("pain")
VALUES: dict[str, list[Any]] = {
    "kinetic_tremor": [0, 1, 3, PAIN, None],
    "endpoint_tremor": [0, 2, None],
    "dysmetria": [0, 1, 2, 3, None],
    "tug_s": [Decimal("9"), Decimal("9.0"), Decimal("12.50"), PAIN, None],
    "hx_memory": [True, False, None],
    "hx_bladder": ["none", "urgency", None],
}
LINES = [(), ("aspirin 75 mg",), ("aspirin 75 mg", "levodopa"), None]


@dataclass(frozen=True)
class Write:
    """One request: cells, the medicines, or the rest of the station `reach` as normal.

    behind: how many revisions ago the sheet was loaded that it comes from.
    """

    changes: dict[Cell, Any]
    bulk: bool
    behind: int
    recorder: Recorder


@dataclass
class Model:
    """What the exam must be: for each cell its value, and the revision of its last change."""

    revision: int = 0
    held: dict[Cell, Any] = field(default_factory=dict)
    changed_at: dict[Cell, int] = field(default_factory=dict)

    def write(self, asked: Write) -> set[Cell] | None:
        """Change the model; the cells that got an entry, or None where the write collides."""
        seen = max(0, self.revision - asked.behind)
        changes = asked.changes
        if asked.bulk:
            changes = {cell: 0 for cell in REACH if cell not in self.changed_at}
        real = {cell for cell, value in changes.items() if value != self.held.get(cell)}
        if any(self.changed_at.get(cell, 0) > seen for cell in real):
            return None
        if real:
            self.revision += 1
        for cell in real:
            self.held[cell] = changes[cell]
            self.changed_at[cell] = self.revision
        return real

    def snapshot(self) -> tuple[dict[Cell, Any], Any]:
        """The findings that have a value, and the medicines."""
        findings = {cell: value for cell, value in self.held.items() if value is not None}
        return {c: v for c, v in findings.items() if c != MEDICINES}, findings.get(MEDICINES)


def _cells() -> st.SearchStrategy[dict[Cell, Any]]:
    one = st.sampled_from([*REACH, *SINGLE]).flatmap(
        lambda cell: st.tuples(st.just(cell), st.sampled_from(VALUES[cell[0]]))
    )
    return st.lists(one, max_size=4).map(dict)


RECORDERS = st.sampled_from([NURSE, PHYSICIAN])
BEHIND = st.integers(0, 3)
NOTHING: st.SearchStrategy[dict[Cell, Any]] = st.just({})
WRITES = st.lists(
    st.builds(Write, _cells(), st.just(False), BEHIND, RECORDERS)
    | st.builds(
        Write,
        st.sampled_from(LINES).map(lambda x: {MEDICINES: x}),
        st.just(False),
        BEHIND,
        RECORDERS,
    )
    | st.builds(Write, NOTHING, st.just(True), BEHIND, RECORDERS),
    min_size=1,
    max_size=12,
)


def send(engine: Engine, exam: ExamRecord, asked: Write) -> ExamRecord:
    """The request as the program makes it."""
    seen = max(0, exam.revision - asked.behind)
    now = NOW + timedelta(minutes=exam.revision)
    with writing(engine) as session:
        if asked.bulk:
            return mark_rest_normal(
                session, exam.id, "reach", at_revision=seen, recorder=asked.recorder, now=now
            )
        if MEDICINES in asked.changes:
            return record_medicines(
                session,
                exam.id,
                asked.changes[MEDICINES],
                at_revision=seen,
                recorder=asked.recorder,
                now=now,
            )
        return record(
            session, exam.id, asked.changes, at_revision=seen, recorder=asked.recorder, now=now
        )


def as_snapshot(exam: Exam) -> tuple[dict[Cell, Any], Any]:
    """The exam in the form of the model."""
    return dict(exam.cells), exam.medicines


def replay(entries: list[EntryRecord]) -> Iterator[tuple[int, tuple[dict[Cell, Any], Any]]]:
    """The exam after each revision, from the history alone."""
    held: dict[Cell, Any] = {}
    for place, entry in enumerate(entries):
        held[entry.finding, entry.side] = entry.value
        last = place + 1 == len(entries) or entries[place + 1].revision > entry.revision
        if last:
            kept = {cell: value for cell, value in held.items() if value is not None}
            medicines = kept.pop(MEDICINES, None)
            yield entry.revision, (kept, medicines)


def test_any_writes_give_what_a_dictionary_gives(engine: Engine) -> None:
    """Values, collisions, revisions, the history and every earlier state are those of the model."""
    patient_id = a_patient(engine).id

    @settings(max_examples=40, deadline=None)
    @given(WRITES)
    def check(writes: list[Write]) -> None:
        with writing(engine) as session:
            exam = start_exam(session, patient_id, NURSE, "", NOW)
        model = Model()
        snapshots = [model.snapshot()]
        written: list[tuple[int, set[Cell], str]] = []
        for asked in writes:
            expected = model.write(asked)
            try:
                exam = send(engine, exam, asked)
                collided = False
            except Collision:
                collided = True
            assert (expected is None) == collided
            assert (model.revision, model.snapshot()) == (exam.revision, as_snapshot(exam.exam))
            if expected:
                snapshots.append(model.snapshot())
                written.append((model.revision, expected, asked.recorder.name))

        with reading(engine) as session:
            past = [exam_record(session, exam.id, at_revision=n) for n in range(len(snapshots))]
            entries = history(session, exam.id)
        assert snapshots == [as_snapshot(each.exam) for each in past]
        assert exam == past[-1]
        assert list(enumerate(snapshots))[1:] == list(replay(entries))
        assert written == who_wrote_what(entries)
        assert previous_of(entries) == [entry.replaces for entry in entries]

    check()


def who_wrote_what(entries: list[EntryRecord]) -> list[tuple[int, set[Cell], str]]:
    """For each revision the cells that it wrote, and by whom."""
    out: dict[int, tuple[int, set[Cell], str]] = {}
    for entry in entries:
        of_revision = out.setdefault(entry.revision, (entry.revision, set(), entry.by))
        of_revision[1].add((entry.finding, entry.side))
    return list(out.values())


def previous_of(entries: list[EntryRecord]) -> list[int | None]:
    """For each entry the one before it in the same cell, by looking back."""
    newest: dict[Cell, int] = {}
    out: list[int | None] = []
    for entry in entries:
        cell = (entry.finding, entry.side)
        out.append(newest.get(cell))
        newest[cell] = entry.entry_id
    return out


def test_the_cells_of_the_model_are_the_core_of_their_station() -> None:
    """Otherwise the bulk mark of the model would not be that of the program."""
    words = vocabulary()
    core = {(f.id, side) for f in words.at("reach") if f.core for side in f.sides}

    assert set(REACH) == core
