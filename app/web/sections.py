"""Which part of the permission table a field of the sheet belongs to, and who may write it."""

from collections.abc import Iterable

from fastapi import Request

from app.exam.vocabulary import vocabulary
from app.store.engine import reading
from app.store.exams import revision_and_state
from app.web.allowed import may, require, someone
from app.web.identity import SignedIn

NURSE_PART, PHYSICIAN_PART, MEDICINES = "nurse_part", "physician_part", "medicines"
PARTS = frozenset((NURSE_PART, PHYSICIAN_PART, MEDICINES))


def section_of(finding_id: str) -> str:
    """The part that a finding belongs to: the nurse's, where a nurse may record it."""
    return NURSE_PART if vocabulary()[finding_id].nurse else PHYSICIAN_PART


def sections_of(findings: Iterable[str]) -> frozenset[str]:
    """The parts that these findings belong to."""
    return frozenset(map(section_of, findings))


def sections_of_rest(station: str) -> frozenset[str]:
    """The parts that are written where the rest of a station is marked normal."""
    found = vocabulary().at(station)
    return sections_of(each.id for each in found if each.core and each.is_sign)


def writable(me: SignedIn, state: str) -> frozenset[str]:
    """The parts of a sheet that this person may write while the exam is in this state."""
    return frozenset(part for part in PARTS if may(me, part, "write", state))


def permit(request: Request, exam_id: str, sections: Iterable[str]) -> SignedIn:
    """Let somebody write these parts of an exam, or refuse it.

    Raises: NotFound, NotSignedIn, ScreenLocked, Forbidden, NotOpen.
    """
    someone(request)
    with reading(request.app.state.engine) as session:
        _, state = revision_and_state(session, exam_id)
    me = require(request, "chart", "read", state)
    for section in sections:
        require(request, section, "write", state)
    return me
