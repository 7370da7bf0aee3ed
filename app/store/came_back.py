"""What the database knows of a page that came back."""

from dataclasses import dataclass

from sqlmodel import Session, col, select

from app.store.signatures import Signature, hash_of, signature
from app.store.signing_tables import DocumentRow, SealCertificateRow, SignatureRow
from app.store.tables import ExamRow


@dataclass(frozen=True)
class KnownPage:
    """A signed page of this database. newest: the piece that stands last beside the exam by now."""

    signature: Signature
    state: str
    newest: Signature

    @property
    def is_newest(self) -> bool:
        """Whether nothing was added since."""
        return self.newest.number == self.signature.number


def known_page(session: Session, content: bytes) -> KnownPage | None:
    """The signed page that these bytes are, to the last one.

    Raises: Unreadable.
    """
    row = session.get(DocumentRow, hash_of(content))
    return None if row is None or row.content != content else page_with_hash(session, row.sha256)


def page_with_hash(session: Session, sha256: str) -> KnownPage | None:
    """The signed page with this hash.

    Raises: Unreadable.
    """
    asked = (
        select(SignatureRow, ExamRow.state)
        .join(ExamRow, col(ExamRow.id) == col(SignatureRow.exam_id))
        .where(SignatureRow.document_sha256 == sha256)
    )
    found = session.exec(asked).first()
    if found is None:
        return None
    row, state = found
    return KnownPage(signature(row), state, _newest(session, row.exam_id) or signature(row))


def newest_piece(session: Session, exam_id: str) -> tuple[str, Signature | None] | None:
    """The state of an exam and the newest piece that was signed of it; None without such an exam.

    Raises: Unreadable.
    """
    exam = session.get(ExamRow, exam_id)
    return None if exam is None else (exam.state, _newest(session, exam_id))


def own_certificates(session: Session) -> dict[str, bytes]:
    """Every certificate that a page of this database was sealed with, by its hash."""
    return {row.sha256: row.content for row in session.exec(select(SealCertificateRow))}


def _newest(session: Session, exam_id: str) -> Signature | None:
    asked = (
        select(SignatureRow)
        .where(SignatureRow.exam_id == exam_id)
        .order_by(col(SignatureRow.number).desc())
    )
    row = session.exec(asked).first()
    return None if row is None else signature(row)
