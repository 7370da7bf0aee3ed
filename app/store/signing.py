"""Handing an exam over, signing it, and putting a signed piece beside it.

What is signed was read, shown and rendered before, in another transaction; signing takes the exam's
lock and then makes sure that it is still what the exam holds.
"""

import json
from dataclasses import dataclass
from datetime import datetime
from uuid import uuid4

from sqlmodel import Session, select

from app.language.words import N_, _
from app.store.actor import Actor, Recorder
from app.store.audit import Head, note
from app.store.audit_tables import AuditRow
from app.store.conclusions import conclusions_of
from app.store.engine import one_at_a_time
from app.store.exams import OPEN_STATES, STATE_WORDS, ExamRecord, exam_record, exam_row
from app.store.free_text import BadText, check_line, check_lines
from app.store.patients import patient
from app.store.refusals import BackDated, BadForm, NotOpen, NotSigned, StaleReview
from app.store.review import Review, review_of
from app.store.signatures import Signature, hash_of, offset_of, signature, signatures
from app.store.signed_content import Amendment, amended_content, signed_content
from app.store.signing_tables import (
    AttachedFileRow,
    DocumentRow,
    SealCertificateRow,
    SignatureRow,
)
from app.store.tables import SIGNATURE_KINDS, ExamRow

AMENDMENTS = SIGNATURE_KINDS[1:]
LONGEST_MEANING = 200
LONGEST_TEXT = 4000
LONGEST_REASON = 500
_FAULTS = {"text": N_("the text {fault}"), "reason": N_("the reason {fault}")}


@dataclass(frozen=True)
class AttachedFile:
    """A file that travels inside the page, as it is kept beside it."""

    name: str
    media_type: str
    content: bytes


@dataclass(frozen=True)
class Signing:
    """Who signs, what it means, when, and what is kept of it.

    signed_at: now, with the offset of the place; content: what is signed, from signed_content or
    amended_content; document: the page, as PDF; note: the exam as text; audit: the row of the
    audit that the page names. attached: the files inside the page; certificate: of the seal on it,
    in DER, empty without one.

    Raises: ValueError, where the signer has no account or the time has no offset.
    """

    signer: Recorder
    meaning: str
    signed_at: datetime
    content: str
    document: bytes
    note: str
    audit: Head
    attached: tuple[AttachedFile, ...] = ()
    certificate: bytes = b""

    def __post_init__(self) -> None:
        """Refuse what could not be told afterwards."""
        if not self.signer.account_id:
            raise ValueError(_("only somebody with an account can sign"))
        if self.signed_at.utcoffset() is None:
            raise ValueError(f"{self.signed_at} has no offset from UTC")
        if not self.meaning or self.meaning != check_line(self.meaning, longest=LONGEST_MEANING):
            raise ValueError("a signature needs its meaning, in one line")


def hand_over(session: Session, exam_id: str, *, actor: Actor, now: datetime) -> None:
    """Hand an open exam over to the physician; nothing happens where that was done already.

    Raises: NotFound, NotOpen.
    """
    _move(session, exam_id, "ready", "hand_over", actor, now)


def take_back(session: Session, exam_id: str, *, actor: Actor, now: datetime) -> None:
    """Take back an exam that was handed over; nothing happens where it is open.

    Raises: NotFound, NotOpen.
    """
    _move(session, exam_id, "open", "take_back", actor, now)


def sign(
    session: Session, exam_id: str, signing: Signing, *, reviewed_revision: int, knowledge: str
) -> Signature:
    """Sign an exam exactly as it stood at the revision that was reviewed.

    Raises: NotFound, NotOpen; StaleReview, where the exam holds anything else by now; BackDated.
    """
    exam = exam_row(session, exam_id, lock=True)
    if exam.state not in OPEN_STATES:
        raise NotOpen(_("the exam is {state} already").format(state=STATE_WORDS[exam.state]))
    if exam.revision != reviewed_revision:
        raise StaleReview(
            _(
                "the exam is at revision {revision}; revision {reviewed_revision} was reviewed"
            ).format(revision=exam.revision, reviewed_revision=reviewed_revision)
        )
    held, review = exam_record(session, exam_id), review_of(session, exam_id)
    _check_time(signing, _latest(held, review))
    expected = signed_content(
        held,
        review,
        # The only part that the store cannot make itself.
        assessment=json.loads(signing.content)["assessment"],
        knowledge=knowledge,
        note=signing.note,
        signer=signing.signer,
        meaning=signing.meaning,
        signed_at=signing.signed_at,
    )
    if signing.content != expected:
        raise StaleReview(_("the exam holds something else than what was to be signed"))
    return _signed(session, exam, signing, 0, knowledge, None)


def amend(
    session: Session, exam_id: str, amendment: Amendment, signing: Signing, *, after_number: int
) -> Signature:
    """Put a signed addendum, late entry or correction beside a signed exam.

    after_number: of the newest signed piece that its author has seen.
    Raises: NotFound, NotSigned, BadForm; StaleReview, where another piece came first; BackDated.
    """
    exam = exam_row(session, exam_id, lock=True)
    pieces = signatures(session, exam_id)
    if exam.state in OPEN_STATES or not pieces:
        raise NotSigned(_("the exam is not signed; record it as an entry instead"))
    if pieces[-1].number != after_number:
        raise StaleReview(
            _("amendment {number} stands there by now; read it before adding another").format(
                number=pieces[-1].number
            )
        )
    if checked_amendment(amendment) != amendment:
        raise ValueError(_("the amendment was not checked before it was signed"))
    _check_time(signing, pieces[-1].signed_at)
    expected = amended_content(
        pieces,
        patient(session, exam.patient_id),
        amendment,
        note=signing.note,
        signer=signing.signer,
        meaning=signing.meaning,
        signed_at=signing.signed_at,
    )
    if signing.content != expected:
        raise StaleReview(_("this is not the amendment that was to be signed"))
    return _signed(session, exam, signing, len(pieces), pieces[0].knowledge, amendment)


def checked_amendment(raw: Amendment) -> Amendment:
    """An amendment as it will be kept; it has a text and a reason.

    Raises: BadForm, with every fault.
    """
    faults: dict[str, str] = {}
    if raw.kind not in AMENDMENTS:
        faults["kind"] = _("choose addendum, late entry or correction")
    texts: dict[str, str] = {}
    for field, longest in (("text", LONGEST_TEXT), ("reason", LONGEST_REASON)):
        try:
            texts[field] = check_lines(getattr(raw, field), longest=longest)
            if not texts[field]:
                raise BadText(_("is missing"))
        except BadText as fault:
            faults[field] = _(_FAULTS[field]).format(fault=fault)
    if faults:
        raise BadForm(faults)
    return Amendment(raw.kind, texts["text"], texts["reason"])


def _move(
    session: Session, exam_id: str, state: str, action: str, actor: Actor, now: datetime
) -> None:
    exam = exam_row(session, exam_id, lock=True)
    if exam.state not in OPEN_STATES:
        raise NotOpen(_("the exam is {state}; it stays so").format(state=STATE_WORDS[exam.state]))
    if exam.state == state:
        return
    exam.state = state
    note(session, actor, action, at=now, patient_id=exam.patient_id, exam_id=exam.id)


def _latest(held: ExamRecord, review: Review) -> datetime:
    """The time of the newest thing in an exam."""
    moments = [held.started_at, *(each.at for each in held.cells.values())]
    moments.extend(each.at for each in review.items.values())
    if held.medicines_record is not None:
        moments.append(held.medicines_record.at)
    return max(moments)


def _check_time(signing: Signing, latest: datetime) -> None:
    if signing.signed_at < latest:
        raise BackDated(
            _(
                "the time of signing, {isoformat}, lies before what would be signed, "
                "{isoformat2}; check the server's clock"
            ).format(isoformat=signing.signed_at.isoformat(), isoformat2=latest.isoformat())
        )


def _signed(
    session: Session,
    exam: ExamRow,
    signing: Signing,
    number: int,
    knowledge: str,
    amendment: Amendment | None,
) -> Signature:
    """Write the document, the signature and the state, and note them."""
    named = select(AuditRow.hash).where(AuditRow.number == signing.audit.number)
    if session.exec(named).first() != signing.audit.hash:
        raise ValueError(f"{signing.audit} is not in the audit")
    page = DocumentRow(
        sha256=hash_of(signing.document),
        exam_id=exam.id,
        media_type="application/pdf",
        content=signing.document,
        made_at=signing.signed_at,
    )
    session.add(page)
    # The signature and the attached files point at it.
    session.flush()
    beside = [*_attached(page, signing), *_new_certificate(session, signing)]
    session.add_all(beside)
    row = _row(exam, signing, number, knowledge, amendment)
    session.add(row)
    if amendment is None:
        session.add_all(conclusions_of(exam.id, signing.content))
    exam.state = "signed" if amendment is None else "amended"
    session.flush()
    note(
        session,
        signing.signer,
        "sign" if amendment is None else "amend",
        at=signing.signed_at,
        patient_id=exam.patient_id,
        exam_id=exam.id,
        detail={"number": number, "kind": row.kind, "revision": exam.revision},
        rows=(page, *beside, row),
    )
    return signature(row)


def _attached(page: DocumentRow, signing: Signing) -> list[AttachedFileRow]:
    return [
        AttachedFileRow(
            id=uuid4().hex,
            document_sha256=page.sha256,
            name=each.name,
            media_type=each.media_type,
            content=each.content,
        )
        for each in signing.attached
    ]


def _new_certificate(session: Session, signing: Signing) -> list[SealCertificateRow]:
    """The certificate of the seal, where no page was sealed with it before."""
    if not signing.certificate:
        return []
    sha256 = hash_of(signing.certificate)
    if session.get(SealCertificateRow, sha256) is not None:
        return []
    # Another server may be writing the same one now.
    one_at_a_time(session.connection())
    if session.get(SealCertificateRow, sha256) is not None:
        return []
    return [
        SealCertificateRow(sha256=sha256, content=signing.certificate, used_at=signing.signed_at)
    ]


def _row(
    exam: ExamRow, signing: Signing, number: int, knowledge: str, amendment: Amendment | None
) -> SignatureRow:
    return SignatureRow(
        id=uuid4().hex,
        exam_id=exam.id,
        number=number,
        kind="exam" if amendment is None else amendment.kind,
        revision=exam.revision,
        knowledge=knowledge,
        content=signing.content,
        content_sha256=hash_of(signing.content),
        note=signing.note,
        text=None if amendment is None else amendment.text,
        reason=None if amendment is None else amendment.reason,
        account_id=signing.signer.account_id,
        printed_name=signing.signer.name,
        role=signing.signer.role,
        meaning=signing.meaning,
        signed_at=signing.signed_at,
        signed_offset=offset_of(signing.signed_at),
        document_sha256=hash_of(signing.document),
        audit_number=signing.audit.number,
        audit_hash=signing.audit.hash,
    )
