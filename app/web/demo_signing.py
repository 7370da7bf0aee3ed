"""The demonstration's past exams, reviewed and signed as a person does it."""

from datetime import timedelta

from sqlalchemy import Engine
from sqlmodel import Session

from app.assess.assess import assess
from app.knowledge.load import knowledge
from app.store.actor import Recorder
from app.store.audit import head
from app.store.clinic_settings import clinic_settings
from app.store.demo import Demo, DemoExam, demo_recorder, to_be_signed
from app.store.engine import reading, writing
from app.store.exams import exam_record
from app.store.review import ReviewKey, ReviewValue, StepDecision, record_review, review_of
from app.web.pages import Site
from app.web.review_view import MEANING, Reviewed
from app.web.reviewing import Points
from app.web.sealing import UNSEALED
from app.web.sign import Act, sign_reviewed
from app.web.wording import local

# After the exam began; nobody knows how long a review takes, and no result rests on it.
REVIEWED_AFTER, SIGNED_AFTER = timedelta(minutes=40), timedelta(minutes=45)


def sign_demo(engine: Engine, demo: Demo, clinic: str) -> int:
    """Review and sign what the demonstration has an impression of; how many exams that were.

    clinic: its name on the signed pages, "" for the demonstration's own.
    """
    site = Site(clinic=clinic or demo.clinic, demo=True)
    with reading(engine) as session:
        wanted = to_be_signed(session, demo)
        physician = demo_recorder(session, demo, "physician")
    if physician is None:
        return 0
    for exam_id, exam in wanted:
        _sign(engine, site, exam_id, exam, physician)
    return len(wanted)


def _sign(engine: Engine, site: Site, exam_id: str, exam: DemoExam, physician: Recorder) -> None:
    with writing(engine) as session:
        reviewed = _reviewed(session, exam_id)
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
    act = Act(physician, MEANING, signed_at, audit, UNSEALED)
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
