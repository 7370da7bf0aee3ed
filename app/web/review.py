"""Reviewing and signing: the decisions kept as they are made, then everything signed at once."""

from collections.abc import Mapping
from dataclasses import replace
from datetime import UTC, datetime

from fastapi import APIRouter, Request
from sqlmodel import Session
from starlette.responses import Response

from app.assess.assess import assess
from app.knowledge.load import knowledge
from app.language.words import N_, _
from app.report.seal_key import CannotSeal
from app.store.clinic_settings import clinic_settings
from app.store.engine import reading, writing
from app.store.entries import to_be_written
from app.store.exams import exam_record
from app.store.refusals import BackDated, BadForm, NotOpen, StaleReview
from app.store.review import record_review, review_of
from app.store.sent_again import is_signed_so
from app.store.signing import hand_over, take_back
from app.web.alerting import see_alert
from app.web.allowed import require, someone
from app.web.answers import see_other, show, wants_fragment
from app.web.forms import FormFields, revision_in
from app.web.fresh_proof import has_password, not_proved, not_this_person
from app.web.identity import SignedIn
from app.web.noted import noted
from app.web.pages import SaveStatus
from app.web.review_form import read_decisions
from app.web.review_view import Reviewed, Typed, news_since, review_page, saved_now
from app.web.sealing import cannot_seal
from app.web.sections import permit
from app.web.sign import sign_exam
from app.web.wording import sentence

router = APIRouter()

BEHIND = N_(
    "Something was recorded after you loaded this page. It is listed above; load the review again "
    "before you sign. What you have written is saved."
)
SOMEBODY_ELSE = N_(
    "Somebody else is reviewing this exam too and has decided something since you loaded this "
    "page. "
    "Nothing of yours was saved; it stands here. Load the review again to see theirs."
)


REST_SAVED = N_("What is not named here is saved.")
NOT_SIGNED = N_("The exam is not signed. What is not named here is saved.")


@router.get("/exams/{exam_id}/review")
def show_review(request: Request, exam_id: str) -> Response:
    """The page on which an exam is reviewed and signed."""
    someone(request)
    reviewed = _reviewed(request, exam_id)
    me = require(request, "review", "read", reviewed.held.state)
    noted(request, me, "read", patient_id=reviewed.held.patient.id, exam_id=exam_id)
    see_alert(request, exam_id, me)
    return _show(request, reviewed, me)


@router.post("/exams/{exam_id}/review")
def save_review(request: Request, exam_id: str, form: FormFields) -> Response:
    """Save the decisions that differ; the page goes on from where it was."""
    me = permit(request, exam_id, ("review",))
    seen, faults = revision_in(form), _save(request, exam_id, form, me)
    reviewed = _reviewed(request, exam_id)
    if faults is None:
        return _behind(request, reviewed, me, form)
    if not faults and not wants_fragment(request):
        return see_other(f"/exams/{exam_id}/review")
    typed = replace(_typed(reviewed, form, faults, seen), kept=_(REST_SAVED))
    status = saved_now()
    if faults:
        status = SaveStatus(
            _("NOT SAVED: what is marked in red. The rest is saved."), is_saved=False
        )
    return _show(request, reviewed, me, typed, status, 422 if faults else 200)


@router.post("/exams/{exam_id}/sign")
def sign_review(request: Request, exam_id: str, form: FormFields) -> Response:
    """Save the decisions, and sign the exam exactly as the page shows it."""
    seen = revision_in(form)
    try:
        me = permit(request, exam_id, ("signature",))
        faults = _save(request, exam_id, form, me)
    except NotOpen:
        # Before this came, or between the two lines: the same form can be under way twice.
        if _is_signed(request, exam_id, form):
            return see_other(f"/exams/{exam_id}")
        raise
    reviewed = _reviewed(request, exam_id)
    if faults is None:
        return _behind(request, reviewed, me, form)
    typed = replace(_typed(reviewed, form, faults, seen), kept=_(NOT_SIGNED))
    if typed.news is not None:
        typed = replace(typed, general=(_(BEHIND),))
        return _show(request, reviewed, me, typed, saved_now(), 412)
    faults = faults | not_this_person(reviewed.held.patient, form)
    lacking = tuple(lack.says for lack in reviewed.points.lacking)
    if not faults and not lacking:
        # Last, because a wrong password counts against whoever types it.
        faults, status = not_proved(request, me, form.get("password", ""))
        if not faults:
            return _signed(request, reviewed, me, typed)
        return _show(request, reviewed, me, replace(typed, faults=faults), saved_now(), status)
    typed = replace(typed, faults=faults, general=lacking)
    return _show(request, reviewed, me, typed, saved_now(), 422)


@router.post("/exams/{exam_id}/ready")
def hand_exam_over(request: Request, exam_id: str, form: FormFields) -> Response:
    """Hand the exam over to the physician."""
    me = permit(request, exam_id, ("handover",))
    with writing(request.app.state.engine) as session:
        hand_over(session, exam_id, actor=me.actor, now=datetime.now(UTC))
    return see_other("/")


@router.post("/exams/{exam_id}/open")
def take_exam_back(request: Request, exam_id: str, form: FormFields) -> Response:
    """Take back an exam that was handed over."""
    me = permit(request, exam_id, ("handover",))
    with writing(request.app.state.engine) as session:
        take_back(session, exam_id, actor=me.actor, now=datetime.now(UTC))
    return see_other(f"/exams/{exam_id}")


def _is_signed(request: Request, exam_id: str, form: Mapping[str, str]) -> bool:
    """Whether this very signature stands already, and its answer was lost."""
    with reading(request.app.state.engine) as session:
        return is_signed_so(session, exam_id, someone(request).recorder, form)


def _reviewed(request: Request, exam_id: str) -> Reviewed:
    with reading(request.app.state.engine) as session:
        return _read(session, exam_id)


def _read(session: Session, exam_id: str) -> Reviewed:
    """The exam and its review as they stand, read in one moment."""
    held = exam_record(session, exam_id)
    return Reviewed(
        held,
        review_of(session, exam_id),
        assess(held.exam, knowledge()),
        clinic_settings(session),
    )


def _save(
    request: Request, exam_id: str, form: Mapping[str, str], me: SignedIn
) -> dict[str, str] | None:
    """Keep the decisions of a form; what is wrong with the others, by field.

    None, with nothing kept, where somebody else has decided something that the page does not show:
    an empty tick of the page would take it back.
    """
    saved = revision_in(form, "saved")
    with writing(request.app.state.engine) as session:
        # Locked before it is read, so that nobody can decide between what we read and what we keep.
        to_be_written(session, exam_id, saved)
        reviewed = _read(session, exam_id)
        if any(
            item.revision > saved and item.account_id != me.account_id
            for item in reviewed.review.items.values()
        ):
            return None
        decisions, faults = read_decisions(form, reviewed.points)
        try:
            record_review(
                session,
                exam_id,
                decisions,
                at_revision=reviewed.held.revision,
                recorder=me.recorder,
                now=datetime.now(UTC),
            )
        except BadForm as bad:
            return faults | {name: sentence(fault) for name, fault in bad.faults.items()}
    return faults


def _typed(
    reviewed: Reviewed, form: Mapping[str, str], faults: Mapping[str, str], seen: int
) -> Typed:
    path = f"/exams/{reviewed.held.id}/review"
    news = news_since(reviewed, seen, path)
    # The page has seen everything that it was not told of now.
    return Typed(form, faults, news=news, seen=seen if news else None)


def _behind(
    request: Request, reviewed: Reviewed, me: SignedIn, form: Mapping[str, str]
) -> Response:
    typed = Typed(form, general=(_(SOMEBODY_ELSE),), seen=revision_in(form))
    status = SaveStatus(_("NOT SAVED"), is_saved=False)
    return _show(request, reviewed, me, typed, status, 409, saved=revision_in(form, "saved"))


def _signed(request: Request, reviewed: Reviewed, me: SignedIn, typed: Typed) -> Response:
    exam_id = reviewed.held.id
    try:
        sign_exam(request, reviewed, me)
    except StaleReview:
        now = _reviewed(request, exam_id)
        news = news_since(now, reviewed.held.revision, f"/exams/{exam_id}/review")
        typed = replace(typed, general=(_(BEHIND),), news=news, seen=reviewed.held.revision)
        return _show(request, now, me, typed, saved_now(), 412)
    except BackDated as fault:
        typed = replace(typed, general=(sentence(str(fault)),))
        return _show(request, reviewed, me, typed, saved_now(), 409)
    except CannotSeal as fault:
        typed = replace(typed, general=(cannot_seal(fault),))
        return _show(request, reviewed, me, typed, saved_now(), 409)
    except NotOpen:
        # A colleague was first; their signature stands.
        return see_other(f"/exams/{exam_id}")
    return see_other(f"/exams/{exam_id}")


def _show(
    request: Request,
    reviewed: Reviewed,
    me: SignedIn,
    typed: Typed | None = None,
    status: SaveStatus | None = None,
    code: int = 200,
    *,
    saved: int | None = None,
) -> Response:
    page = review_page(
        reviewed,
        knowledge(),
        has_password=has_password(request, me),
        status=status,
        typed=typed,
    )
    if saved is not None:
        page = replace(page, saved=saved)
    is_part = request.method == "POST" and wants_fragment(request)
    template = "review_saved.html" if is_part else "review.html"
    return show(request, template, page, status=code)
