"""The desk at which the tests of the store review and sign, each step in its own transaction."""

from collections.abc import Mapping
from dataclasses import replace
from datetime import datetime, timedelta, timezone

from sqlalchemy import Engine, text

from app.exam.vocabulary import Side
from app.store.actor import Recorder
from app.store.audit import Head, head
from app.store.engine import reading, writing
from app.store.exams import ExamRecord, exam_record
from app.store.people_tables import AccountRow
from app.store.review import Review, ReviewKey, ReviewValue, record_review, review_of
from app.store.signatures import Signature, signatures
from app.store.signed_content import Amendment, amended_content, signed_content
from app.store.signing import Signing, amend, sign
from tests.store.clinic import MINUTE, NOW, an_exam, write

SIGNER = Recorder("Dr Per Prøve", "physician", "a" * 32, "127.0.0.1")
SUMMER = timezone(timedelta(hours=2))
LATER = (NOW + 10 * MINUTE).astimezone(SUMMER)
MEANING = "examined and signed"
KNOWLEDGE = "1.0.0"
NOTE = "SIGNED\n"
ASSESSMENT = '{"categories":[],"knowledge":"1.0.0"}'
ADDENDUM = Amendment("addendum", "The scan came back: nothing new.", "a result that came later")
IMPRESSION: ReviewKey = ("impression", "")


def an_account(engine: Engine, signer: Recorder = SIGNER) -> None:
    """Give the signer an account, if there is none yet."""
    with writing(engine) as session:
        if session.get(AccountRow, signer.account_id) is None:
            session.add(
                AccountRow(
                    id=signer.account_id,
                    sign_in_name=signer.account_id[:8],
                    sign_in_key=signer.account_id[:8],
                    printed_name=signer.name,
                    role=signer.role,
                    is_active=True,
                    created_at=NOW,
                )
            )


def a_reviewed_exam(engine: Engine) -> ExamRecord:
    """An exam with entries, an impression, and somebody who can sign it."""
    an_account(engine)
    exam = an_exam(engine)
    write(engine, exam.id, {("drift", Side.RIGHT): 1, ("drift", Side.LEFT): 0}, 0)
    decide(engine, exam.id, {IMPRESSION: "A slow hand."}, 1)
    with reading(engine) as session:
        return exam_record(session, exam.id)


def decide(
    engine: Engine,
    exam_id: str,
    changes: Mapping[ReviewKey, ReviewValue | None],
    at_revision: int,
    recorder: Recorder = SIGNER,
    now: datetime = NOW,
) -> int:
    """Record decisions; the revision that the exam has then."""
    with writing(engine) as session:
        return record_review(
            session, exam_id, changes, at_revision=at_revision, recorder=recorder, now=now
        )


def reviewed(engine: Engine, exam_id: str, at_revision: int | None = None) -> Review:
    """The review as another request reads it."""
    with reading(engine) as session:
        return review_of(session, exam_id, at_revision)


def to_sign(
    engine: Engine,
    exam_id: str,
    signed_at: datetime = LATER,
    signer: Recorder = SIGNER,
    assessment: str = ASSESSMENT,
    knowledge: str = KNOWLEDGE,
) -> tuple[Signing, int]:
    """What the physician has in front of them now, ready to be signed, and its revision."""
    with reading(engine) as session:
        held = exam_record(session, exam_id)
        content = signed_content(
            held,
            review_of(session, exam_id),
            assessment=assessment,
            knowledge=knowledge,
            note=NOTE,
            signer=signer,
            meaning=MEANING,
            signed_at=signed_at,
        )
        return _signing(content, head(session), signed_at, signer), held.revision


def signed(
    engine: Engine, exam_id: str, prepared: tuple[Signing, int], knowledge: str = KNOWLEDGE
) -> Signature:
    """Sign what was prepared."""
    signing, revision = prepared
    with writing(engine) as session:
        return sign(session, exam_id, signing, reviewed_revision=revision, knowledge=knowledge)


def to_amend(
    engine: Engine,
    exam_id: str,
    amendment: Amendment = ADDENDUM,
    signed_at: datetime = LATER + MINUTE,
    signer: Recorder = SIGNER,
) -> tuple[Amendment, Signing, int]:
    """An amendment, ready to be signed, and the number of the piece that it follows."""
    with reading(engine) as session:
        pieces = signatures(session, exam_id)
        content = amended_content(
            pieces,
            exam_record(session, exam_id).patient,
            amendment,
            note=NOTE,
            signer=signer,
            meaning=MEANING,
            signed_at=signed_at,
        )
        return amendment, _signing(content, head(session), signed_at, signer), pieces[-1].number


def amended(engine: Engine, exam_id: str, prepared: tuple[Amendment, Signing, int]) -> Signature:
    """Sign the amendment that was prepared."""
    amendment, signing, number = prepared
    with writing(engine) as session:
        return amend(session, exam_id, amendment, signing, after_number=number)


def pieces_of(engine: Engine, exam_id: str) -> list[Signature]:
    """Every signed piece, as another request reads it."""
    with reading(engine) as session:
        return signatures(session, exam_id)


def everything(engine: Engine) -> dict[str, list[tuple[object, ...]]]:
    """Every row that signing could touch, to see that nothing has changed."""
    tables = ("exam", "entry", "review_entry", "document", "signature", "audit")
    with reading(engine) as session:
        return {
            table: sorted(map(tuple, session.connection().execute(text(f"SELECT * FROM {table}"))))
            for table in tables
        }


def changed(prepared: tuple[Signing, int], **values: object) -> tuple[Signing, int]:
    """The same preparation with something else in it."""
    return replace(prepared[0], **values), prepared[1]  # type: ignore[arg-type]


def _signing(content: str, audit: Head, signed_at: datetime, signer: Recorder) -> Signing:
    return Signing(
        signer=signer,
        meaning=MEANING,
        signed_at=signed_at,
        content=content,
        document=b"%PDF of " + content.encode(),
        note=NOTE,
        audit=audit,
    )
