"""Any life of an exam, against a plain model that is obviously right.

Nurse and physician record, hand over, take back, review, sign what they have in front of them,
fresh or not, and amend. After every step the store holds what the model holds, and nothing else.
"""

import itertools
import json
from collections import Counter
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import (
    RuleBasedStateMachine,
    invariant,
    precondition,
    rule,
    run_state_machine_as_test,
)
from sqlalchemy import Engine
from sqlmodel import col, select

from app.exam.record import Cell, Recorded
from app.exam.vocabulary import Side
from app.knowledge.load import knowledge
from app.store.actor import Recorder
from app.store.audit import Head, head, link
from app.store.audit_tables import AuditRow
from app.store.engine import reading, writing
from app.store.entries import history, record, record_medicines
from app.store.exams import exam_record, start_exam
from app.store.refusals import BackDated, Collision, NotOpen, NotSigned, StaleReview
from app.store.review import ReviewKey, ReviewValue, StepDecision, record_review, review_of
from app.store.signatures import document, signatures
from app.store.signed_content import Amendment
from app.store.signing import AMENDMENTS, Signing, amend, hand_over, sign, take_back
from tests.sampling import WHOLE
from tests.store.clinic import MINUTE, NOW, NURSE, a_patient
from tests.store.desk import KNOWLEDGE, SIGNER, an_account, to_amend, to_sign

STEP = next(iter(knowledge().steps))
WARNING = next(iter(knowledge().warnings))
CELLS = ["drift right", "drift left", "rest_tremor_hand right"]
DECISIONS: list[tuple[ReviewKey, ReviewValue | None]] = [
    (("impression", ""), "Slow on one side."),
    (("impression", ""), "Nothing new."),
    (("impression", ""), None),
    (("step", STEP), StepDecision(True)),
    (("step", STEP), StepDecision(False, "done last year")),
    (("emergency", WARNING), True),
    (("emergency", WARNING), None),
]
LINES = [(), ("aspirin 75 mg",), None]
PEOPLE = st.sampled_from([NURSE, SIGNER])
BEHIND = st.sampled_from([0, 0, 0, 1, 2])
# How often each thing happened, over all lives; a test of nothing would pass too.
happened: Counter[str] = Counter()
charts = itertools.count(1)


@dataclass
class Piece:
    """What the model knows of a signed piece."""

    kind: str
    name: str
    revision: int
    entries: dict[str, Any]
    decisions: dict[ReviewKey, Any]
    content: str
    document: bytes


@dataclass
class Seen:
    """What somebody had in front of them, ready to be signed; it may have become old."""

    signing: Signing
    revision: int
    snapshot: tuple[dict[str, Any], dict[ReviewKey, Any]]


@dataclass
class Model:
    """The exam as it must be. log: every entry ever made, with its revision."""

    state: str = "open"
    revision: int = 0
    values: dict[str, Any] = field(default_factory=dict)
    decisions: dict[ReviewKey, Any] = field(default_factory=dict)
    changed_at: dict[Any, int] = field(default_factory=dict)
    log: list[tuple[str, Any, str, int]] = field(default_factory=list)
    pieces: list[Piece] = field(default_factory=list)
    noted: int = 0

    @property
    def is_open(self) -> bool:
        """Whether it still takes entries."""
        return self.state in ("open", "ready")

    def write(self, held: dict[Any, Any], changes: dict[Any, Any], seen: int) -> str:
        """Change entries or decisions: "written", "same", "collision" or "closed"."""
        if not self.is_open:
            return "closed"
        real = [key for key, value in changes.items() if value != held.get(key)]
        if any(self.changed_at.get(key, 0) > seen for key in real):
            return "collision"
        if not real:
            return "same"
        self.revision += 1
        self.noted += 1
        for key in real:
            held[key] = changes[key]
            self.changed_at[key] = self.revision
        return "written"

    def snapshot(self) -> tuple[dict[str, Any], dict[ReviewKey, Any]]:
        """Everything that was ever entered or decided, as it stands."""
        return dict(self.values), dict(self.decisions)


# A signed exam refuses a few writes, and then its life goes on with amendments.
ENOUGH = 5
may_write = precondition(lambda self: self.model.is_open or self.refused < ENOUGH)


class Life(RuleBasedStateMachine):
    """One exam of a new patient, from its start."""

    engine: Engine

    def __init__(self) -> None:
        super().__init__()
        self.model = Model()
        self.clock = NOW
        self.refused = 0
        self.desk: list[Seen] = []
        self.later: list[tuple[Amendment, Signing, int]] = []
        who = a_patient(self.engine, chart_number=f"L-{next(charts)}")
        with writing(self.engine) as session:
            self.exam_id = start_exam(session, who.id, NURSE, "", NOW).id
        with reading(self.engine) as session:
            self.begun = head(session)

    # ---- what people do

    @may_write
    @rule(
        cells=st.dictionaries(
            st.sampled_from(CELLS), st.sampled_from([0, 1, 2, None]), min_size=1, max_size=2
        ),
        who=PEOPLE,
        behind=BEHIND,
    )
    def record(self, cells: dict[str, int | None], who: Recorder, behind: int) -> None:
        """Somebody grades, on a sheet that may be old."""
        seen = max(0, self.model.revision - behind)
        real = {k: v for k, v in cells.items() if v != self.model.values.get(k)}
        wanted = self.model.write(self.model.values, cells, seen)
        if wanted == "written":
            self.model.log += [(k, v, who.name, self.model.revision) for k, v in real.items()]
        changes: dict[Cell, Recorded | None] = {
            (k.split()[0], Side(k.split()[1])): v for k, v in cells.items()
        }
        self.ends(
            wanted,
            lambda s, now: record(
                s, self.exam_id, changes, at_revision=seen, recorder=who, now=now
            ),
        )

    @may_write
    @rule(lines=st.sampled_from(LINES), behind=BEHIND)
    def medicines(self, lines: tuple[str, ...] | None, behind: int) -> None:
        """The nurse asks for the medicines."""
        seen = max(0, self.model.revision - behind)
        wanted = self.model.write(self.model.values, {"medicines": lines}, seen)
        if wanted == "written":
            self.model.log.append(("medicines", lines, NURSE.name, self.model.revision))
        self.ends(
            wanted,
            lambda s, now: record_medicines(
                s, self.exam_id, lines, at_revision=seen, recorder=NURSE, now=now
            ),
        )

    @may_write
    @rule(decision=st.sampled_from(DECISIONS), behind=BEHIND)
    def review(self, decision: tuple[ReviewKey, ReviewValue | None], behind: int) -> None:
        """The physician decides something, or takes it back."""
        seen = max(0, self.model.revision - behind)
        changes = dict([decision])
        wanted = self.model.write(self.model.decisions, changes, seen)
        self.ends(
            wanted,
            lambda s, now: record_review(
                s, self.exam_id, changes, at_revision=seen, recorder=SIGNER, now=now
            ),
        )

    @may_write
    @rule(to_ready=st.booleans())
    def move(self, to_ready: bool) -> None:
        """The nurse hands over, or takes back."""
        state = "ready" if to_ready else "open"
        wanted = "closed" if not self.model.is_open else "same"
        if self.model.is_open and self.model.state != state:
            wanted, self.model.state = "written", state
            self.model.noted += 1
        act = hand_over if to_ready else take_back
        self.ends(wanted, lambda s, now: act(s, self.exam_id, actor=NURSE, now=now))

    @precondition(lambda self: self.model.is_open)
    @rule()
    def look(self) -> None:
        """The physician opens the review page; it is not signed yet."""
        self.clock += MINUTE
        signing, revision = to_sign(self.engine, self.exam_id, self.clock)
        self.desk.append(Seen(signing, revision, self.model.snapshot()))

    @precondition(lambda self: self.desk and self.refused < ENOUGH)
    @rule(which=st.sampled_from([-1, -1, 0]))
    def sign(self, which: int) -> None:
        """The physician signs a page that is in front of them: the newest, or an old one."""
        seen, model = self.desk[which], self.model
        wanted = "stale"
        if not model.is_open:
            wanted = "closed"
        elif seen.revision == model.revision:
            wanted, model.state = "written", "signed"
            self.add_piece("exam", seen.signing, *seen.snapshot)
        self.ends(
            wanted,
            lambda s, _: sign(
                s,
                self.exam_id,
                seen.signing,
                reviewed_revision=seen.revision,
                knowledge=KNOWLEDGE,
            ),
            "sign",
        )

    @precondition(lambda self: self.model.is_open and self.model.revision > 1)
    @rule()
    def look_and_sign(self) -> None:
        """The physician signs what they have just read."""
        self.look()
        self.sign(-1)

    @precondition(lambda self: self.model.is_open)
    @rule(cell=st.sampled_from(CELLS))
    def sign_too_late(self, cell: str) -> None:
        """The nurse records while the physician reads, and the physician signs."""
        self.look()
        self.record({cell: 1 if self.model.values.get(cell) != 1 else 2}, NURSE, 0)
        self.sign(-1)

    @precondition(lambda self: self.model.pieces)
    @rule(kinds=st.lists(st.sampled_from(AMENDMENTS), min_size=1, max_size=2))
    def write_amendments(self, kinds: list[str]) -> None:
        """One or two people write amendments of which the other does not know; not signed yet."""
        for kind in kinds:
            self.clock += MINUTE
            made = Amendment(kind, f"Text {len(self.later)}", "a reason")
            self.later.append(to_amend(self.engine, self.exam_id, made, self.clock))

    @precondition(lambda self: self.later)
    @rule(which=st.sampled_from([-1, -1, 0]))
    def amend(self, which: int) -> None:
        """Somebody signs an amendment: the newest, or one that others came before."""
        amendment, signing, number = self.later[which]
        wanted = "stale"
        if number == len(self.model.pieces) - 1:
            wanted, self.model.state = "written", "amended"
            self.add_piece(amendment.kind, signing, *self.model.snapshot())
        self.ends(
            wanted,
            lambda s, _: amend(s, self.exam_id, amendment, signing, after_number=number),
            "amend",
        )

    @precondition(lambda self: self.model.revision == 1 and self.model.is_open)
    @rule()
    def amend_too_early(self) -> None:
        """An open exam is recorded, not amended."""
        signing, _ = to_sign(self.engine, self.exam_id, self.clock)
        amendment = Amendment("addendum", "Too early.", "a reason")
        self.ends(
            "unsigned",
            lambda s, _: amend(s, self.exam_id, amendment, signing, after_number=0),
        )

    # ---- what must hold

    @invariant()
    def no_entry_is_lost(self) -> None:
        """Every entry ever made is there, in its order, with who made it."""
        with reading(self.engine) as session:
            made = [
                (f"{e.finding} {e.side}" if e.side else e.finding, e.value, e.by, e.revision)
                for e in history(session, self.exam_id)
            ]

        # The cells of one write stand in the order of the vocabulary.
        def in_order(log: list[tuple[str, Any, str, int]]) -> list[Any]:
            return sorted(log, key=lambda each: (each[3], each[0]))

        assert in_order(self.model.log) == in_order(made)
        assert [revision for *_, revision in made] == sorted(revision for *_, revision in made)

    @invariant()
    def the_exam_is_as_in_the_model(self) -> None:
        """State, revision, values and decisions."""
        with reading(self.engine) as session:
            held = exam_record(session, self.exam_id)
            review = review_of(session, self.exam_id)
        values: dict[str, Any] = {f"{f} {s}": each.value for (f, s), each in held.cells.items()}
        if held.medicines_record is not None:
            values["medicines"] = held.medicines_record.lines

        assert (self.model.state, self.model.revision) == (held.state, held.revision)
        assert self.model.values == values
        assert self.model.decisions == {key: each.value for key, each in review.items.items()}

    @invariant()
    def what_was_signed_never_changes(self) -> None:
        """The text and the page of each piece are those that were signed, and of what was seen."""
        with reading(self.engine) as session:
            pieces = signatures(session, self.exam_id)
            pages = [document(session, each.document_sha256) for each in pieces]

        assert [(e.kind, e.name, e.content, e.document) for e in self.model.pieces] == [
            (each.kind, each.printed_name, each.content, page.content)
            for each, page in zip(pieces, pages, strict=True)
        ]
        assert list(range(len(pieces))) == [each.number for each in pieces]
        if pieces:
            model = self.model.pieces[0]
            told = json.loads(pieces[0].content)
            assert model.revision == told["exam"]["revision"] == pieces[0].revision
            assert model.entries == entries_in(told)
            assert model.decisions == decisions_in(told)

    @invariant()
    def the_audit_grows_by_what_was_done(self) -> None:
        """One row for each change, none for what was refused, each chained to the one before."""
        with reading(self.engine) as session:
            newer = select(AuditRow).where(col(AuditRow.number) > self.begun.number)
            rows = list(session.exec(newer.order_by(col(AuditRow.number))))

        assert self.model.noted == len(rows)
        before = self.begun
        for row in rows:
            assert (before.number + 1, before.hash) == (row.number, row.previous)
            assert link(row) == row.hash
            before = Head(row.number, row.hash)

    # ---- how it is asked

    def ends(self, wanted: str, ask: Any, name: str = "write") -> None:
        """Ask in a transaction of its own; it must end as the model says."""
        self.clock += MINUTE
        ended = attempt(self.engine, ask, self.clock)
        happened[f"{name} {ended}"] += 1
        self.refused += ended == "closed"

        assert wanted in (ended, "same" if ended == "written" else ended)

    def add_piece(
        self,
        kind: str,
        signing: Signing,
        values: dict[str, Any],
        decisions: dict[ReviewKey, Any],
    ) -> None:
        """Put a signed piece into the model."""
        self.model.noted += 1
        self.model.pieces.append(
            Piece(
                kind,
                signing.signer.name,
                self.model.revision,
                values,
                decisions,
                signing.content,
                signing.document,
            )
        )


def attempt(engine: Engine, ask: Any, now: datetime) -> str:
    """How it ended, in a word."""
    refused = {
        NotOpen: "closed",
        NotSigned: "unsigned",
        StaleReview: "stale",
        BackDated: "back-dated",
    }
    try:
        with writing(engine) as session:
            ask(session, now)
    except Collision:
        return "collision"
    except tuple(refused) as fault:
        return refused[type(fault)]
    return "written"


def entries_in(told: dict[str, Any]) -> dict[str, Any]:
    """The entries of a signed content, as the model names them."""
    found = {f"{e['finding']} {e['side']}": loaded(e["value"]) for e in told["entries"]}
    if told["medicines"] is not None:
        lines = loaded(told["medicines"]["value"])
        found["medicines"] = None if lines is None else tuple(lines)
    return found


def decisions_in(told: dict[str, Any]) -> dict[ReviewKey, Any]:
    """The decisions of a signed content, as the model names them."""
    found: dict[ReviewKey, Any] = {}
    for each in told["review"]:
        value = loaded(each["value"])
        if isinstance(value, dict):
            value = StepDecision(value["taken"], value["reason"])
        found[each["kind"], each["item"]] = value
    return found


def loaded(text: str | None) -> Any:
    """A value of a signed content."""
    return None if text is None else json.loads(text)


def test_any_life_of_an_exam(engine: Engine) -> None:
    """Entries, decisions, states, signatures and audit are those of the model after every step."""
    an_account(engine)
    happened.clear()
    kept = type("KeptLife", (Life,), {"engine": engine})
    run_state_machine_as_test(
        kept,
        settings=settings(max_examples=25 if WHOLE else 8, stateful_step_count=40, deadline=None),
    )

    # Each of these must have been tried, or the test says nothing about it.
    for what in (
        "write written",
        "write closed",
        "write collision",
        "write unsigned",
        "sign written",
        "sign stale",
        "sign closed",
        "amend written",
        "amend stale",
    ):
        assert happened[what] > 0, happened
