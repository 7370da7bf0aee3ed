"""The act of signing: everything is rendered once, and then kept in one transaction."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime

from fastapi import Request
from sqlalchemy import Engine

from app.assess.assessment import Assessment, as_text
from app.knowledge.load import knowledge
from app.language.words import _
from app.report.note import text_note
from app.report.page import ReportInput
from app.report.signed import Amendment, SignatureBlock
from app.store.actor import Recorder
from app.store.audit import Head, head
from app.store.engine import reading, writing
from app.store.exams import ExamRecord
from app.store.review import Review
from app.store.signatures import Signature, hash_of
from app.store.signed_content import signed_content
from app.store.signing import Signing, sign
from app.web.answers import site_of
from app.web.documents import report_of
from app.web.identity import SignedIn
from app.web.pages import Site
from app.web.review_view import MEANING, Reviewed
from app.web.sealing import Sealing, sealed_page
from app.web.wording import local


@dataclass(frozen=True)
class Act:
    """Somebody signs. audit: the row of the audit that is the newest when the page is made."""

    signer: Recorder
    meaning: str
    signed_at: datetime
    audit: Head
    sealing: Sealing

    @classmethod
    def begin(cls, request: Request, me: SignedIn, meaning: str) -> "Act":
        """Now, where the server stands. meaning: of the signature, as it stands in the code.

        Raises: CannotSeal.
        """
        sealing: Sealing = request.app.state.sealing
        now = local(datetime.now(UTC))
        # Before anything is rendered.
        sealing.ready(now)
        with reading(request.app.state.engine) as session:
            audit = head(session)
        return cls(me.recorder, _(meaning), now, audit, sealing)

    def finish(
        self,
        held: ExamRecord,
        content: Callable[[str], str],
        version: str,
        report: Callable[[SignatureBlock], ReportInput],
    ) -> Signing:
        """Render the page and the note, once.

        content: what is signed, once there is the note; version: of the knowledge that the exam is
        signed under; report: what both are made from, once it has its signature.
        Raises: CannotSeal.
        """
        known = knowledge()
        # The note names no hash, so that what is signed can name the note's.
        note = text_note(report(self._block(held, "", version)), known)
        signed = content(note)
        page = sealed_page(
            self.sealing, report(self._block(held, signed, version)), known, self.signed_at
        )
        return Signing(
            signer=self.signer,
            meaning=self.meaning,
            signed_at=self.signed_at,
            content=signed,
            document=page.content,
            note=note,
            audit=self.audit,
            attached=page.attached,
            certificate=page.certificate,
        )

    def _block(self, held: ExamRecord, content: str, version: str) -> SignatureBlock:
        return SignatureBlock(
            printed_name=self.signer.name,
            role=self.signer.role,
            meaning=self.meaning,
            signed_at=self.signed_at,
            exam_id=held.id,
            revision=held.revision,
            knowledge=version,
            content_sha256=hash_of(content),
            audit=str(self.audit),
        )


def sign_exam(request: Request, reviewed: Reviewed, me: SignedIn) -> Signature:
    """Sign an exam now, as it was reviewed.

    Raises: StaleReview, NotOpen, BackDated.
    """
    act = Act.begin(request, me, MEANING)
    return sign_reviewed(request.app.state.engine, site_of(request), reviewed, act)


def sign_reviewed(engine: Engine, site: Site, reviewed: Reviewed, act: Act) -> Signature:
    """Sign an exam as it was reviewed.

    The page is made before the transaction, from what was reviewed; the transaction makes sure that
    the exam still holds nothing else.
    Raises: CannotSeal, StaleReview, NotOpen, BackDated.
    """
    held, version = reviewed.held, knowledge().version

    def content(note: str) -> str:
        return signed_content(
            held,
            reviewed.review,
            assessment=as_text(reviewed.assessment, indent=None),
            knowledge=version,
            note=note,
            signer=act.signer,
            meaning=act.meaning,
            signed_at=act.signed_at,
        )

    def report(block: SignatureBlock) -> ReportInput:
        return signed_report(
            site,
            held,
            reviewed.review,
            reviewed.assessment,
            block,
            signed_at=act.signed_at,
            pathways=reviewed.settings.pathways,
        )

    signing = act.finish(held, content, version, report)
    with writing(engine) as session:
        return sign(session, held.id, signing, reviewed_revision=held.revision, knowledge=version)


def signed_report(
    site: Site,
    held: ExamRecord,
    review: Review,
    assessment: Assessment,
    block: SignatureBlock,
    amendments: tuple[Amendment, ...] = (),
    *,
    signed_at: datetime,
    pathways: Mapping[str, str],
) -> ReportInput:
    """What the signed page and the note are made from.

    signed_at: of the newest piece. pathways: the clinic's when the exam was signed; they and its
    name belong to the page, whose bytes are kept under their hash, and not to the signed content.
    """
    return report_of(
        held,
        review,
        site,
        signed_at,
        assessment,
        state="amended" if amendments else "signed",
        pathways=pathways,
        signature=block,
        amendments=amendments,
    )


def block_of(signature: Signature) -> SignatureBlock:
    """A signature as a page prints it."""
    return SignatureBlock(
        printed_name=signature.printed_name,
        role=signature.role,
        meaning=signature.meaning,
        signed_at=signature.signed_at,
        exam_id=signature.exam_id,
        revision=signature.revision,
        knowledge=signature.knowledge,
        content_sha256=signature.content_sha256,
        audit=str(signature.audit),
    )
