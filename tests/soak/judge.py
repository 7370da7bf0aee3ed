"""What is compared with the database: what people were told, and that nothing is half there."""

import hashlib
import json
from collections import defaultdict
from collections.abc import Iterable, Iterator

from sqlalchemy import func, text
from sqlmodel import Session, col, select

from app.exam.vocabulary import vocabulary
from app.store.audit_tables import AuditRow
from app.store.entries import EntryRecord, history
from app.store.exams import OPEN_STATES, exam_record
from app.store.refusals import NotFound
from app.store.review import review_of
from app.store.signatures import Signature, document, signatures
from app.store.signing_tables import AttachedFileRow, DocumentRow, ReviewRow, SignatureRow
from app.store.tables import EntryRow, ExamRow, PatientRow
from app.store.verify import verify
from app.web.sheet import typed_of
from tests.soak.acts import (
    Act,
    Entered,
    HandedOver,
    RestNormal,
    Reviewed,
    Signed,
    Started,
    TakenBack,
)


def half_written(session: Session) -> list[str]:
    """Everything that is there in part only, or that does not fit together; in one moment."""
    found = [str(each) for each in verify(session).alterations]
    found += _in_the_file(session)
    noted = _noted(session)
    pieces = defaultdict(list)
    for piece in session.exec(select(SignatureRow).order_by(col(SignatureRow.number))):
        pieces[piece.exam_id].append(piece)
    for exam in session.exec(select(ExamRow)):
        found += _exam(session, exam, pieces.pop(exam.id, []), noted)
    found += [f"signature of no exam: {exam_id}" for exam_id in pieces]
    pages = set(session.exec(select(DocumentRow.sha256)))
    signed = set(session.exec(select(SignatureRow.document_sha256)))
    found += [f"page without its signature, or the reverse: {each}" for each in pages ^ signed]
    alone = select(PatientRow.id).where(col(PatientRow.id).not_in(select(ExamRow.patient_id)))
    found += [f"patient without the exam of the same form: {each}" for each in session.exec(alone)]
    return found


def _exam(
    session: Session,
    exam: ExamRow,
    pieces: list[SignatureRow],
    noted: dict[tuple[str, str], list[dict[str, int]]],
) -> Iterator[str]:
    place = f"exam {exam.id}"
    states = OPEN_STATES if not pieces else ("signed",) if len(pieces) == 1 else ("amended",)
    if exam.state not in states:
        yield f"{place} is {exam.state} with {len(pieces)} signatures"
    if [each.number for each in pieces] != list(range(len(pieces))):
        yield f"{place} has signatures {[each.number for each in pieces]}"
    acts = [len(noted["sign", exam.id]), len(noted["amend", exam.id])]
    if acts != [min(len(pieces), 1), max(len(pieces) - 1, 0)]:
        yield f"{place} has {len(pieces)} signatures, and {acts} in the audit"
    for piece in pieces:
        files = select(func.count()).where(AttachedFileRow.document_sha256 == piece.document_sha256)
        if not session.exec(files).one():
            yield f"{place}: a signed page without its files"
    written: dict[int, int] = defaultdict(int)
    for table, action, counted in (
        (EntryRow, "record", "entries"),
        (ReviewRow, "review", "decisions"),
    ):
        asked = (
            select(table.revision, func.count())
            .where(table.exam_id == exam.id)
            .group_by(col(table.revision))
        )
        held = dict(session.exec(asked).all())
        told = {each["revision"]: each[counted] for each in noted[action, exam.id]}
        if held != told:
            yield f"{place}: {action} {held}, by the audit {told}"
        for revision, count in held.items():
            written[revision] += count
    if sorted(written) != list(range(1, exam.revision + 1)):
        yield f"{place} is at revision {exam.revision} with {sorted(written)}"


def _noted(session: Session) -> dict[tuple[str, str], list[dict[str, int]]]:
    noted: dict[tuple[str, str], list[dict[str, int]]] = defaultdict(list)
    asked = select(AuditRow.action, AuditRow.exam_id, AuditRow.detail)
    for action, exam_id, detail in session.exec(asked):
        noted[action, exam_id].append(json.loads(detail))
    return noted


def _in_the_file(session: Session) -> list[str]:
    """What SQLite says of its file; PostgreSQL is asked once at the end, by `damaged`."""
    connection = session.connection()
    if connection.dialect.name != "sqlite":
        return []
    sound = [row[0] for row in connection.execute(text("PRAGMA integrity_check"))]
    dangling = [str(row) for row in connection.execute(text("PRAGMA foreign_key_check"))]
    return [*(f"integrity: {each}" for each in sound if each != "ok"), *dangling]


def lost(session: Session, acts: Iterable[Act]) -> tuple[list[str], list[str]]:
    """What somebody was told and is not there as told; and writes that nobody was told of.

    Everybody has waited for every answer, so there is none of the latter, and nothing twice.
    """
    by_exam: dict[str, list[Act]] = defaultdict(list)
    for act in acts:
        by_exam[act.exam_id].append(act)
    missing: list[str] = []
    extra: list[str] = []
    for exam_id, done in by_exam.items():
        try:
            kept = _Kept(session, exam_id)
        except NotFound:
            missing += [f"no such exam: {each}" for each in done]
        else:
            missing += kept.compare(done)
            extra += [f"nobody was told: {each}" for each in kept.untold(done)]
    others = select(ExamRow.id).where(col(ExamRow.id).not_in(list(by_exam)))
    extra += [f"an exam that nobody was told of: {each}" for each in session.exec(others)]
    return missing, extra


class _Kept:
    """What the database has of one exam."""

    def __init__(self, session: Session, exam_id: str) -> None:
        self.session = session
        self.exam = exam_record(session, exam_id)
        self.entries = history(session, exam_id)
        self.by_id = {each.entry_id: each for each in self.entries}
        self.after = {each.replaces: each for each in self.entries if each.replaces}
        self.pieces = {each.number: each for each in signatures(session, exam_id)}

    def at(self, revision: int, by: str) -> list[EntryRecord]:
        """What somebody wrote under a revision."""
        return [each for each in self.entries if (each.revision, each.by) == (revision, by)]

    def compare(self, acts: list[Act]) -> list[str]:
        """What was told and is not so."""
        reviews = [act for act in acts if isinstance(act, Reviewed)]
        wanted = [act for act in acts if not isinstance(act, Reviewed)]
        # Of these the newest counts.
        return [str(act) for act in (*wanted, *reviews[-1:]) if not self._has(act)]

    def untold(self, acts: list[Act]) -> list[str]:
        """Revisions with entries, and signatures, that belong to no act."""
        told = set()
        for act in acts:
            if isinstance(act, Entered | RestNormal):
                told.add(act.revision)
            elif isinstance(act, TakenBack):
                told |= {each.revision for each in self._after(act)}
        signed = {act.number for act in acts if isinstance(act, Signed)}
        return [
            *(f"revision {each}" for each in {each.revision for each in self.entries} - told),
            *(f"signature {each}" for each in set(self.pieces) - signed),
        ]

    def _has(self, act: Act) -> bool:
        match act:
            case Started():
                return self.exam.started_by == act.by
            case Entered():
                told = [(act.finding, act.side, act.value)]
                return told == [_cell(each) for each in self.at(act.revision, act.by)]
            case RestNormal():
                there = self.at(act.revision, act.by)
                at_station = {vocabulary()[each.finding].station for each in there}
                return at_station == {act.station} and all(each.bulk for each in there)
            case TakenBack():
                return self._is_taken_back(act)
            case HandedOver():
                return self.exam.state != "open"
            case Reviewed():
                review = review_of(self.session, act.exam_id)
                return (act.impression, act.plan) == (review.impression, review.plan)
            case Signed():
                return self._is_signed(act)

    def _after(self, act: TakenBack) -> list[EntryRecord]:
        """What followed in the cells that were taken back."""
        written = self.at(act.of, act.by)
        return [self.after[each.entry_id] for each in written if each.entry_id in self.after]

    def _is_taken_back(self, act: TakenBack) -> bool:
        written, after = self.at(act.of, act.by), self._after(act)
        before = [
            None if not each.replaces else self.by_id[each.replaces].value for each in written
        ]
        return (
            before == [each.value for each in after]
            and 1 == len({each.revision for each in after})
            and {act.by} == {each.by for each in after}
        )

    def _is_signed(self, act: Signed) -> bool:
        piece: Signature | None = self.pieces.get(act.number)
        if piece is None or piece.printed_name != act.by:
            return False
        page = document(self.session, piece.document_sha256)
        return act.page_sha256 == page.sha256 == hashlib.sha256(page.content).hexdigest()


def _cell(entry: EntryRecord) -> tuple[str, str, str]:
    return entry.finding, str(entry.side or ""), typed_of(entry.value).value
