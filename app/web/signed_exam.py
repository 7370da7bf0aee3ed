"""A signed exam: read, never changed; an addendum, late entry or correction stands beside it."""

import json
from collections.abc import Mapping

from fastapi import APIRouter, Request
from sqlalchemy import Engine
from starlette.responses import Response

from app.assess.assessment import Assessment
from app.assess.stored import parse_assessment
from app.knowledge.terms import ROLE_WORDS
from app.language.words import N_, _
from app.report.page import ReportInput
from app.report.phrases import clean_lines, day, moment
from app.report.seal_key import CannotSeal
from app.report.signed import KINDS, SignatureBlock
from app.report.signed import Amendment as PrintedAmendment
from app.store.clinic_settings import clinic_settings
from app.store.engine import reading, writing
from app.store.exams import OPEN_STATES, ExamRecord, exam_record
from app.store.refusals import BackDated, BadForm, NotSigned, StaleReview
from app.store.review import review_of
from app.store.sent_again import is_amended_so
from app.store.signatures import Signature, attached_names, signatures
from app.store.signed_content import Amendment, amended_content, note_of
from app.store.signing import amend, checked_amendment
from app.web.allowed import may, require, someone
from app.web.answers import see_other, show, site_of
from app.web.fields import fields_of, summary_of
from app.web.forms import FormFields, revision_in
from app.web.fresh_proof import has_password, not_proved, not_this_person, proof_path
from app.web.identity import SignedIn
from app.web.pages import Site
from app.web.review_pages import AmendPage, SignedPage, SignedPiece
from app.web.review_view import entered
from app.web.sealing import cannot_seal
from app.web.sign import Act, block_of, signed_report
from app.web.wording import STATE_WORDS, exam_time, local, who

router = APIRouter()

MEANING = N_("I wrote this piece; it stands beside the exam as it was signed.")
ANOTHER_CAME_FIRST = N_(
    "Another piece was signed after you loaded this page; it stands below now. Read it, then sign "
    "yours again if it is still needed."
)
_FIELDS = ("kind", "text", "reason", "initials", "birth_year", "password")


def signed_exam(request: Request, held: ExamRecord, me: SignedIn) -> Response:
    """The page of a signed exam; nothing on it can be entered."""
    with reading(request.app.state.engine) as session:
        pieces = signatures(session, held.id)
        attached = attached_names(session, held.id)
    examined = local(held.examined_at)
    page = SignedPage(
        title=_("Exam of {examined}").format(examined=day(examined)),
        exam_id=held.id,
        who=who(held.patient, examined.date()),
        state=STATE_WORDS[held.state],
        started=exam_time(held),
        reason=held.reason,
        pieces=_pieces(pieces, attached),
        note=note_of(pieces[-1]),
        entered=entered(held, assessed_when_signed(held, pieces)),
        may_amend=may(me, "amendment", "write", held.state),
    )
    return show(request, "signed.html", page)


@router.get("/exams/{exam_id}/amend")
def show_amend(request: Request, exam_id: str) -> Response:
    """The form for an addendum, a late entry or a correction."""
    held, me = _permit(request, exam_id)
    return _form(request, held, me)


@router.post("/exams/{exam_id}/amend")
def save_amend(request: Request, exam_id: str, form: FormFields) -> Response:
    """Sign one more piece; the exam reads AMENDED from now on, and the original stays."""
    held, me = _permit(request, exam_id)
    after = revision_in(form, "after")
    raw = Amendment(form.get("kind", ""), form.get("text", ""), form.get("reason", ""))
    faults: dict[str, str] = {}
    try:
        amendment = checked_amendment(raw)
    except BadForm as bad:
        amendment, faults = raw, bad.faults
    if not faults and _is_amended(request, exam_id, me, amendment, after):
        return see_other(f"/exams/{exam_id}")
    faults = faults | not_this_person(held.patient, form)
    status = 422
    if not faults:
        faults, status = not_proved(request, me, form.get("password", ""))
    if faults:
        return _form(request, held, me, form, faults, status)
    try:
        act = Act.begin(request, me, MEANING)
        amend_signed(request.app.state.engine, site_of(request), held, amendment, act, after)
    except StaleReview:
        if _is_amended(request, exam_id, me, amendment, after):
            return see_other(f"/exams/{exam_id}")
        return _form(request, held, me, form, {"text": _(ANOTHER_CAME_FIRST)}, 412)
    except BackDated as fault:
        return _form(request, held, me, form, {"text": str(fault)}, 409)
    except CannotSeal as fault:
        return _form(request, held, me, form, {"text": cannot_seal(fault)}, 409)
    return see_other(f"/exams/{exam_id}")


def _is_amended(
    request: Request, exam_id: str, me: SignedIn, amendment: Amendment, after: int
) -> bool:
    """Whether this very piece stands already, and its answer was lost."""
    with reading(request.app.state.engine) as session:
        return is_amended_so(session, exam_id, me.recorder, amendment, after=after)


def amend_signed(
    engine: Engine, site: Site, held: ExamRecord, amendment: Amendment, act: Act, after: int
) -> None:
    """Render the whole exam with the new piece, once, and keep it.

    after: the number of the newest piece that its author has seen.
    Raises: CannotSeal, StaleReview, BackDated.
    """
    with reading(engine) as session:
        pieces, review = signatures(session, held.id), review_of(session, held.id)
        # Those of today did not stand on the page that was signed.
        pathways = clinic_settings(session, at=pieces[0].signed_at).pathways
    if pieces[-1].number != after:
        raise StaleReview

    def content(note: str) -> str:
        return amended_content(
            pieces,
            held.patient,
            amendment,
            note=note,
            signer=act.signer,
            meaning=act.meaning,
            signed_at=act.signed_at,
        )

    def report(block: SignatureBlock) -> ReportInput:
        new = PrintedAmendment(len(pieces), amendment.kind, amendment.reason, amendment.text, block)
        return signed_report(
            site,
            held,
            review,
            assessed_when_signed(held, pieces),
            block_of(pieces[0]),
            (*(printed(each) for each in pieces[1:]), new),
            signed_at=act.signed_at,
            pathways=pathways,
        )

    signing = act.finish(held, content, pieces[0].knowledge, report)
    with writing(engine) as session:
        amend(session, held.id, amendment, signing, after_number=after)


def assessed_when_signed(held: ExamRecord, pieces: list[Signature]) -> Assessment:
    """What the exam added up to when it was signed."""
    return parse_assessment(json.loads(pieces[0].content)["assessment"], held.exam.cells)


def printed(piece: Signature) -> PrintedAmendment:
    """An amendment as a page prints it."""
    return PrintedAmendment(
        piece.number, piece.kind, piece.reason or "", piece.text or "", block_of(piece)
    )


def _permit(request: Request, exam_id: str) -> tuple[ExamRecord, SignedIn]:
    me = someone(request)
    with reading(request.app.state.engine) as session:
        held = exam_record(session, exam_id)
    if held.state in OPEN_STATES and may(me, "signature", "write", held.state):
        raise NotSigned(_("the exam is not signed; record it as an entry instead"))
    return held, require(request, "amendment", "write", held.state)


def _form(
    request: Request,
    held: ExamRecord,
    me: SignedIn,
    form: Mapping[str, str] | None = None,
    faults: Mapping[str, str] | None = None,
    status: int = 200,
) -> Response:
    form, faults = form or {}, faults or {}
    with reading(request.app.state.engine) as session:
        pieces = signatures(session, held.id)
        attached = attached_names(session, held.id)
    fields = fields_of(_FIELDS, form, faults, ("password",))
    page = AmendPage(
        title=_("Add to a signed exam"),
        faults=summary_of(fields),
        exam_id=held.id,
        who=who(held.patient, local(held.examined_at).date()),
        after=pieces[-1].number,
        pieces=_pieces(pieces, attached),
        meaning=_(MEANING),
        has_password=has_password(request, me),
        proof_path=proof_path(f"/exams/{held.id}/amend"),
        **fields,
    )
    return show(request, "amend.html", page, status=status)


def _pieces(pieces: list[Signature], attached: Mapping[str, list[str]]) -> tuple[SignedPiece, ...]:
    """The newest first."""
    return tuple(
        SignedPiece(
            head=_("Amendment {number}: {kind}").format(number=each.number, kind=KINDS[each.kind])
            if each.number
            else _("Exam, signed"),
            by=f"{each.printed_name}, {ROLE_WORDS[each.role]}",
            when=moment(each.signed_at),
            meaning=each.meaning,
            path=f"/exams/{each.exam_id}/documents/{each.number}",
            sha256=each.content_sha256,
            reason=each.reason or "",
            text=clean_lines(each.text or ""),
            attached=tuple(attached.get(each.document_sha256, ())),
        )
        for each in reversed(pieces)
    )
