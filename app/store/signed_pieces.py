"""Every signed exam, one after the other, with the pieces beside it."""

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import groupby

from sqlalchemy import func
from sqlmodel import Session, col, select

from app.store.refusals import Unreadable
from app.store.signatures import hash_of
from app.store.signing_tables import SignatureRow

_AT_ONCE = 100


@dataclass(frozen=True)
class SignedPieces:
    """A signed exam. contents: canonical JSON of the exam and then of each piece beside it, as
    signed; hashes: theirs.
    """

    exam_id: str
    contents: tuple[str, ...]
    hashes: tuple[str, ...]


def signed_exams(session: Session) -> Iterator[SignedPieces]:
    """Every signed exam in the order of its id, which says nothing of its time; few at a time.

    Raises: Unreadable, where a content is no longer what was signed.
    """
    asked = (
        select(SignatureRow.exam_id, SignatureRow.content, SignatureRow.content_sha256)
        .order_by(col(SignatureRow.exam_id), col(SignatureRow.number))
        .execution_options(yield_per=_AT_ONCE)
    )
    for exam_id, rows in groupby(session.exec(asked), key=lambda row: row[0]):
        pieces = [(content, sha256) for _, content, sha256 in rows]
        if any(hash_of(content) != sha256 for content, sha256 in pieces):
            raise Unreadable(f"the content of exam {exam_id} was altered after it was signed")
        yield SignedPieces(
            exam_id, tuple(each for each, _ in pieces), tuple(each for _, each in pieces)
        )


def signed_originals(
    session: Session, *, after: str = "", under: str | None = None
) -> Iterator[SignedPieces]:
    """The same without what stands beside the exams, from an id on.

    after: only exams whose id is greater. under: only those signed under that knowledge.
    Raises: Unreadable.
    """
    asked = (
        select(SignatureRow.exam_id, SignatureRow.content, SignatureRow.content_sha256)
        .where(SignatureRow.number == 0, SignatureRow.exam_id > after)
        .order_by(col(SignatureRow.exam_id))
        .execution_options(yield_per=_AT_ONCE)
    )
    if under is not None:
        asked = asked.where(SignatureRow.knowledge == under)
    for exam_id, content, sha256 in session.exec(asked):
        if hash_of(content) != sha256:
            raise Unreadable(f"the content of exam {exam_id} was altered after it was signed")
        yield SignedPieces(exam_id, (content,), (sha256,))


def signed_under(session: Session) -> dict[str, int]:
    """How many exams are signed under each version of the knowledge, in order of the versions."""
    asked = (
        select(SignatureRow.knowledge, func.count())
        .where(SignatureRow.number == 0)
        .group_by(SignatureRow.knowledge)
    )
    return dict(sorted(session.exec(asked).all()))


def signed_count(session: Session) -> int:
    """How many exams are signed."""
    return sum(signed_under(session).values())
