"""The tables of reviewing and signing; all are only ever added to."""

from datetime import datetime

from sqlalchemy import (
    CheckConstraint,
    ForeignKey,
    Index,
    Integer,
    LargeBinary,
    Text,
    UniqueConstraint,
)
from sqlmodel import Field

from app.store.columns import EntryId, Table, UtcDateTime, one_of
from app.store.tables import REVIEW_KINDS, ROLES, SIGNATURE_KINDS

CONCLUSION_KINDS = ("category", "warning", "falls_group")


class ReviewRow(Table, table=True):
    """What a physician decided while reviewing. Triggers refuse to change or delete it.

    kind and item name what it is about: `impression`, `plan` and `for_patient` (item empty),
    `step` (a step's id), `emergency` (a warning's id), `confirmed` (the number of an entry), `code`
    (of ICD-10-CM). value: canonical JSON, NULL where it was taken back. The newest of a kind and
    item counts.
    """

    __tablename__ = "review_entry"
    __table_args__ = (
        one_of("kind", REVIEW_KINDS),
        one_of("role", ROLES),
        CheckConstraint("revision > 0", name="revision_counts"),
        UniqueConstraint("exam_id", "revision", "kind", "item"),
        Index(None, "exam_id", "id"),
        {"sqlite_autoincrement": True},
    )

    id: int | None = Field(default=None, sa_type=EntryId, primary_key=True)
    exam_id: str = Field(sa_type=Text, sa_column_args=[ForeignKey("exam.id")])
    revision: int = Field(sa_type=Integer)
    kind: str = Field(sa_type=Text)
    item: str = Field(sa_type=Text)
    value: str | None = Field(default=None, sa_type=Text)
    by: str = Field(sa_type=Text)
    role: str = Field(sa_type=Text)
    account_id: str | None = Field(default=None, sa_type=Text)
    at: datetime = Field(sa_type=UtcDateTime)


class DocumentRow(Table, table=True):
    """The bytes of a signed page, rendered once. Triggers refuse to change or delete it."""

    __tablename__ = "document"

    sha256: str = Field(sa_type=Text, primary_key=True)
    exam_id: str = Field(sa_type=Text, sa_column_args=[ForeignKey("exam.id")])
    media_type: str = Field(sa_type=Text)
    content: bytes = Field(sa_type=LargeBinary)
    made_at: datetime = Field(sa_type=UtcDateTime)


class AttachedFileRow(Table, table=True):
    """A file that travels inside a signed page, byte for byte. Triggers refuse to change it.

    Not a document, whose key is its hash: two exams may attach the same bytes.
    """

    __tablename__ = "attached_file"
    __table_args__ = (UniqueConstraint("document_sha256", "name"),)

    id: str = Field(sa_type=Text, primary_key=True)
    document_sha256: str = Field(sa_type=Text, sa_column_args=[ForeignKey("document.sha256")])
    name: str = Field(sa_type=Text)
    media_type: str = Field(sa_type=Text)
    content: bytes = Field(sa_type=LargeBinary)


class SealCertificateRow(Table, table=True):
    """A certificate, in DER, that this clinic has sealed pages with. Triggers refuse to change it.

    Kept when it is renewed, so that a page that left years ago is still known as the clinic's.
    used_at: when it was first used.
    """

    __tablename__ = "seal_certificate"

    sha256: str = Field(sa_type=Text, primary_key=True)
    content: bytes = Field(sa_type=LargeBinary)
    used_at: datetime = Field(sa_type=UtcDateTime)


class SignatureRow(Table, table=True):
    """One signed piece of an exam. Triggers refuse to change or delete it.

    number: 0 is the exam itself, each addendum, late entry or correction takes the next. content:
    canonical JSON of everything that was signed; content_sha256: its hash. note: the text note as
    it was made then. signed_offset: the offset from UTC where it was signed, as in +02:00. text,
    reason: of an amendment, NULL for the exam. audit_number, audit_hash: the row of the audit that
    the page names.
    """

    __tablename__ = "signature"
    __table_args__ = (
        one_of("kind", SIGNATURE_KINDS),
        one_of("role", ROLES),
        CheckConstraint("number >= 0", name="number_counts"),
        CheckConstraint("(number = 0) = (kind = 'exam')", name="exam_is_first"),
        UniqueConstraint("exam_id", "number"),
    )

    id: str = Field(sa_type=Text, primary_key=True)
    exam_id: str = Field(sa_type=Text, sa_column_args=[ForeignKey("exam.id")])
    number: int = Field(sa_type=Integer)
    kind: str = Field(sa_type=Text)
    revision: int = Field(sa_type=Integer)
    knowledge: str = Field(sa_type=Text)
    content: str = Field(sa_type=Text)
    content_sha256: str = Field(sa_type=Text)
    note: str = Field(sa_type=Text)
    text: str | None = Field(default=None, sa_type=Text)
    reason: str | None = Field(default=None, sa_type=Text)
    account_id: str = Field(sa_type=Text, sa_column_args=[ForeignKey("account.id")])
    printed_name: str = Field(sa_type=Text)
    role: str = Field(sa_type=Text)
    meaning: str = Field(sa_type=Text)
    signed_at: datetime = Field(sa_type=UtcDateTime)
    signed_offset: str = Field(sa_type=Text)
    document_sha256: str = Field(sa_type=Text, sa_column_args=[ForeignKey("document.sha256")])
    audit_number: int = Field(sa_type=EntryId)
    audit_hash: str = Field(sa_type=Text)


class ConclusionRow(Table, table=True):
    """One thing that a signed exam added up to, so that a database can count without reading
    documents. Made from what was signed, and no evidence itself. Triggers refuse to change it.

    item: the id of a category or a warning, empty for the falls group. level: of the category or
    the falls group; the urgency of a warning. side: of a category, NULL without one.
    """

    __tablename__ = "conclusion"
    __table_args__ = (one_of("kind", CONCLUSION_KINDS),)

    exam_id: str = Field(sa_type=Text, sa_column_args=[ForeignKey("exam.id")], primary_key=True)
    kind: str = Field(sa_type=Text, primary_key=True)
    item: str = Field(sa_type=Text, primary_key=True)
    level: str = Field(sa_type=Text)
    side: str | None = Field(default=None, sa_type=Text)
