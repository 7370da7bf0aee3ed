"""Who may do what: the one place in which a route asks the permission table."""

from fastapi import Request

from app.language.words import _
from app.people.limits import Standing
from app.people.permissions import STATES, allows
from app.store.exams import STATE_WORDS
from app.store.refusals import NotOpen
from app.web.identity import SignedIn, visit_of


class NotSignedIn(Exception):
    """Nobody is signed in in this browser, or the sign-in is over."""


class ScreenLocked(Exception):
    """Somebody is signed in, and the screen is locked."""


class Forbidden(Exception):
    """The role may not do this, whatever the state of the exam is."""


def someone(request: Request) -> SignedIn:
    """Who is signed in here.

    Raises: NotSignedIn, ScreenLocked.
    """
    visit = visit_of(request)
    if visit.person is None or visit.standing is Standing.ENDED:
        raise NotSignedIn
    if visit.standing is Standing.LOCKED:
        raise ScreenLocked
    return visit.person


def require(request: Request, section: str, action: str, state: str = "none") -> SignedIn:
    """Who is signed in, where they may do this; state: that of the exam, "none" without one.

    Raises: NotSignedIn, ScreenLocked; Forbidden, where the role may never do it; NotOpen, where it
    may do it in another state of the exam.
    """
    me = someone(request)
    if not may(me, section, action, state):
        if any(may(me, section, action, other) for other in STATES if other != "none"):
            raise NotOpen(_("the exam is {state}").format(state=STATE_WORDS.get(state, state)))
        raise Forbidden
    return me


def may(me: SignedIn, section: str, action: str, state: str = "none") -> bool:
    """Whether the permission table lets this person do it."""
    return allows(
        role=me.role,
        state=state,
        section=section,
        action=action,
        has_emergency_access=me.emergency_until is not None,
    )
