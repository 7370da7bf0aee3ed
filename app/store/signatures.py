"""What was signed: the signatures of an exam, and the pages as they were rendered then."""

import hashlib
from dataclasses import dataclass
from datetime import datetime

from sqlmodel import Session, col, select

from app.language.words import _
from app.store.audit import Head
from app.store.exams import exam_row
from app.store.refusals import NotFound, Unreadable
from app.store.signing_tables import AttachedFileRow, DocumentRow, SignatureRow


@dataclass(frozen=True)
class Signature:
    """One signed piece of an exam: number 0 is the exam itself, the amendments follow.

    kind: exam, addendum, late_entry or correction. signed_at: with the offset of the place where
    it was signed. content: canonical JSON of everything that was signed. note: the text note as it
    was made then. text, reason: of an amendment, None for the exam. audit: the row of the audit
    that the page names.
    """

    exam_id: str
    number: int
    kind: str
    revision: int
    knowledge: str
    content: str
    content_sha256: str
    note: str
    text: str | None
    reason: str | None
    account_id: str
    printed_name: str
    role: str
    meaning: str
    signed_at: datetime
    document_sha256: str
    audit: Head


@dataclass(frozen=True)
class Document:
    """A signed page, in the bytes that were rendered when it was signed."""

    sha256: str
    exam_id: str
    media_type: str
    content: bytes
    made_at: datetime


def signatures(session: Session, exam_id: str) -> list[Signature]:
    """Every signed piece of an exam: first the exam itself, then its amendments by number.

    Raises: NotFound, Unreadable.
    """
    asked = (
        select(SignatureRow)
        .where(SignatureRow.exam_id == exam_row(session, exam_id).id)
        .order_by(col(SignatureRow.number))
    )
    return [signature(row) for row in session.exec(asked)]


def document(session: Session, sha256: str) -> Document:
    """A signed page by the hash of its bytes.

    Raises: NotFound; Unreadable, where the bytes are no longer those that were signed.
    """
    row = session.exec(select(DocumentRow).where(DocumentRow.sha256 == sha256)).one_or_none()
    if row is None:
        raise NotFound(_("there is no such document"))
    if hash_of(row.content) != row.sha256:
        raise Unreadable(f"the signed page {row.sha256} was altered after it was signed")
    return Document(row.sha256, row.exam_id, row.media_type, row.content, row.made_at)


@dataclass(frozen=True)
class Attached:
    """A file from inside a signed page, in the bytes that were attached."""

    name: str
    media_type: str
    content: bytes


def attached_to(session: Session, sha256: str) -> list[Attached]:
    """The files inside a signed page, by name."""
    asked = (
        select(AttachedFileRow)
        .where(AttachedFileRow.document_sha256 == sha256)
        .order_by(col(AttachedFileRow.name))
    )
    return [Attached(row.name, row.media_type, row.content) for row in session.exec(asked)]


def attached_names(session: Session, exam_id: str) -> dict[str, list[str]]:
    """The names of the files inside each signed page of an exam, by the hash of the page."""
    asked = (
        select(AttachedFileRow.document_sha256, AttachedFileRow.name)
        .join(DocumentRow, col(DocumentRow.sha256) == col(AttachedFileRow.document_sha256))
        .where(DocumentRow.exam_id == exam_id)
        .order_by(col(AttachedFileRow.name))
    )
    found: dict[str, list[str]] = {}
    for sha256, name in session.exec(asked):
        found.setdefault(sha256, []).append(name)
    return found


def hash_of(content: bytes | str) -> str:
    """SHA-256 in hexadecimal, of text in UTF-8."""
    return hashlib.sha256(content.encode() if isinstance(content, str) else content).hexdigest()


def offset_of(moment: datetime) -> str:
    """The offset from UTC of an aware moment, as in +02:00."""
    # Everything in front of the offset has a fixed length.
    return moment.isoformat(timespec="microseconds")[26:]


def signature(row: SignatureRow) -> Signature:
    """The signature as a value.

    Raises: Unreadable.
    """
    try:
        zone = datetime.strptime(row.signed_offset, "%z").tzinfo
    except ValueError as fault:
        raise Unreadable(f"signature {row.id}: {fault}") from fault
    return Signature(
        exam_id=row.exam_id,
        number=row.number,
        kind=row.kind,
        revision=row.revision,
        knowledge=row.knowledge,
        content=row.content,
        content_sha256=row.content_sha256,
        note=row.note,
        text=row.text,
        reason=row.reason,
        account_id=row.account_id,
        printed_name=row.printed_name,
        role=row.role,
        meaning=row.meaning,
        signed_at=row.signed_at.astimezone(zone),
        document_sha256=row.document_sha256,
        audit=Head(row.audit_number, row.audit_hash),
    )
