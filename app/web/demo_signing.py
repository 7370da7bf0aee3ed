"""The demonstration's exams, left as people leave them: signed, amended, or calling somebody."""

from collections.abc import Iterator
from contextlib import contextmanager, suppress
from contextvars import copy_context
from datetime import timedelta
from threading import Event, Thread

from sqlalchemy import Engine
from sqlmodel import Session

from app.assess.assess import assess
from app.knowledge.load import knowledge
from app.language.words import _
from app.store.actor import Recorder
from app.store.alerts import set_alert
from app.store.audit import head
from app.store.clinic_settings import clinic_settings
from app.store.demo import demo_recorder, unsigned
from app.store.demo_files import Demo, DemoExam
from app.store.engine import reading, writing
from app.store.exams import OPEN_STATES, STATE_WORDS, ExamRecord, exam_record
from app.store.refusals import NotOpen, StaleReview, StaleRevision
from app.store.review import ReviewKey, ReviewValue, StepDecision, record_review, review_of
from app.web.pages import Site
from app.web.review_view import MEANING, Reviewed
from app.web.reviewing import Points
from app.web.sealing import UNSEALED
from app.web.sign import Act, sign_reviewed
from app.web.signed_exam import MEANING as AMENDING
from app.web.signed_exam import amend_signed
from app.web.wording import local

# After the exam began; nobody knows how long a review takes, and no result rests on it.
REVIEWED_AFTER, SIGNED_AFTER = timedelta(minutes=40), timedelta(minutes=45)


@contextmanager
def finishing(engine: Engine, demo: Demo, clinic: str) -> Iterator[None]:
    """Finish the demonstration beside a server that answers already, at most until it ends.

    A dozen pages take a dozen seconds to draw; the next start goes on where this one ended.
    """
    stop = Event()
    # A thread begins with no context, and the language in use is in it.
    run = copy_context().run
    thread = Thread(target=run, args=(finish_demo, engine, demo, clinic, stop), daemon=True)
    thread.start()
    try:
        yield
    finally:
        stop.set()
        thread.join()


def finish_demo(engine: Engine, demo: Demo, clinic: str, stop: Event | None = None) -> None:
    """Call where a nurse's part asks for it, sign what has an impression, and amend it.

    clinic: its name on the signed pages, "" for the demonstration's own. stop: once it is set, the
    page that is being drawn is the last one.
    """
    site = Site(clinic=clinic or demo.clinic, demo=True)
    with writing(engine) as session:
        loaded = unsigned(session, demo)
        physician = demo_recorder(session, demo, "physician")
        for exam_id, exam in loaded:
            if not exam.impression:
                _call(session, exam_record(session, exam_id))
    if physician is None:
        return
    for exam_id, exam in loaded:
        if exam.impression and not (stop and stop.is_set()):
            # Somebody who tries the program out, or another process, may be there first.
            with suppress(NotOpen, StaleReview, StaleRevision):
                _sign(engine, site, exam_id, exam, physician)
                _amend(engine, site, exam_id, exam, physician)


def _call(session: Session, held: ExamRecord) -> None:
    """Call a physician to the emergencies of an exam that none has opened yet."""
    if any(each.role == "physician" for each in held.cells.values()):
        return
    urgent = [w.id for w in assess(held.exam, knowledge()).warnings if w.urgency == "emergency"]
    if urgent:
        set_alert(session, held.id, urgent, max(each.at for each in held.cells.values()))


def _amend(engine: Engine, site: Site, exam_id: str, exam: DemoExam, physician: Recorder) -> None:
    if exam.amended is None:
        return
    amendment, signed_at = exam.amended
    with reading(engine) as session:
        held, audit = exam_record(session, exam_id), head(session)
    act = Act(physician, _(AMENDING), local(signed_at), audit, UNSEALED)
    amend_signed(engine, site, held, amendment, act, 0)


def _sign(engine: Engine, site: Site, exam_id: str, exam: DemoExam, physician: Recorder) -> None:
    with writing(engine) as session:
        reviewed = _reviewed(session, exam_id)
        if reviewed.held.state not in OPEN_STATES:
            raise NotOpen(
                _("the exam is {state} already").format(state=STATE_WORDS[reviewed.held.state])
            )
        record_review(
            session,
            exam_id,
            _settled(reviewed.points, exam),
            at_revision=reviewed.held.revision,
            recorder=physician,
            now=exam.started_at + REVIEWED_AFTER,
        )
    with reading(engine) as session:
        reviewed, audit = _reviewed(session, exam_id), head(session)
    signed_at = local(exam.started_at + SIGNED_AFTER)
    # A key made today does not seal the past; the pages say that they carry no seal.
    act = Act(physician, _(MEANING), signed_at, audit, UNSEALED)
    sign_reviewed(engine, site, reviewed, act)


def _reviewed(session: Session, exam_id: str) -> Reviewed:
    held = exam_record(session, exam_id)
    assessment = assess(held.exam, knowledge())
    return Reviewed(held, review_of(session, exam_id), assessment, clinic_settings(session))


def _settled(points: Points, exam: DemoExam) -> dict[ReviewKey, ReviewValue | None]:
    """Everything acknowledged, confirmed and taken over."""
    return {
        ("impression", ""): exam.impression,
        ("plan", ""): exam.plan,
        **{("emergency", each.raised.id): True for each in points.emergencies},
        **{("confirmed", str(each.held.entry_id)): True for each in points.to_confirm},
        **{("step", each.step.id): StepDecision(True) for each in points.suggestions},
    }
