"""The act of signing: everything is rendered once, and then kept in one transaction."""

from datetime import UTC, datetime

from fastapi import Request

from app.assess.assessment import Assessment, as_text
from app.knowledge.load import knowledge
from app.report.note import text_note
from app.report.page import ReportInput
from app.report.pdf import pdf
from app.report.signed import Amendment, Decision, SignatureBlock
from app.store.audit import head
from app.store.engine import reading, writing
from app.store.exams import ExamRecord
from app.store.review import Review
from app.store.signatures import Signature, hash_of
from app.store.signed_content import signed_content
from app.store.signing import Signing, sign
from app.web.documents import report_of, site_of
from app.web.identity import SignedIn
from app.web.review_view import MEANING, Reviewed
from app.web.wording import local


def sign_exam(request: Request, reviewed: Reviewed, me: SignedIn) -> Signature:
    """Sign an exam as it was reviewed.

    The page is made before the transaction, from what was reviewed; the transaction makes sure that
    the exam still holds nothing else.
    Raises: StaleReview, NotOpen, BackDated.
    """
    held, known = reviewed.held, knowledge()
    signed_at = local(datetime.now(UTC))
    content = signed_content(
        held,
        reviewed.review,
        assessment=as_text(reviewed.assessment, indent=None),
        knowledge=known.version,
        signer=me.recorder,
        meaning=MEANING,
        signed_at=signed_at,
    )
    with reading(request.app.state.engine) as session:
        newest = head(session)
    block = SignatureBlock(
        printed_name=me.name,
        role=me.role,
        meaning=MEANING,
        signed_at=signed_at,
        exam_id=held.id,
        revision=held.revision,
        knowledge=known.version,
        content_sha256=hash_of(content),
        audit=str(newest),
    )
    report = signed_report(
        request, held, reviewed.review, reviewed.assessment, block, signed_at=signed_at
    )
    signing = Signing(
        signer=me.recorder,
        meaning=MEANING,
        signed_at=signed_at,
        content=content,
        document=pdf(report, known),
        note=text_note(report, known),
        audit=newest,
    )
    with writing(request.app.state.engine) as session:
        return sign(
            session,
            held.id,
            signing,
            reviewed_revision=held.revision,
            knowledge=known.version,
        )


def signed_report(
    request: Request,
    held: ExamRecord,
    review: Review,
    assessment: Assessment,
    block: SignatureBlock,
    amendments: tuple[Amendment, ...] = (),
    *,
    signed_at: datetime,
) -> ReportInput:
    """What the signed page and the note are made from. signed_at: of the newest piece."""
    return report_of(
        held,
        site_of(request),
        signed_at,
        assessment,
        state="amended" if amendments else "signed",
        impression=review.impression,
        plan=review.plan,
        decisions=decisions_of(review, assessment),
        signature=block,
        amendments=amendments,
    )


def decisions_of(review: Review, assessment: Assessment) -> tuple[Decision, ...]:
    """What was decided on the next steps that still follow, in their order."""
    return tuple(
        Decision(step.id, review.steps[step.id].is_taken, review.steps[step.id].reason)
        for step in assessment.next_steps
        if step.id in review.steps
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
