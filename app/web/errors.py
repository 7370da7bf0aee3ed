"""Errors as whole pages, and under /api as a list of faults."""

import logging
from http import HTTPStatus

from fastapi import FastAPI, Request
from fastapi.exceptions import RequestValidationError
from starlette.exceptions import HTTPException
from starlette.responses import JSONResponse, Response

from app.exam.faults import BadExam
from app.language.words import N_, _
from app.store.refusals import Away, Busy, NotFound, NotOpen, NotSigned, NotYours, StaleRevision
from app.web.allowed import Forbidden, NotSignedIn, ScreenLocked
from app.web.answers import show
from app.web.logged import about
from app.web.pages import ErrorPage
from app.web.signing_in import not_signed_in_answer, screen_locked_answer

log = logging.getLogger(__name__)

# Seconds until another try is worth it; as long as the sheet waits before it sends again.
RETRY_AFTER = "3"
_AWAY = N_(
    "The database does not answer or cannot be written just now. {what} Go back, which keeps what "
    "you typed, and send it again in a moment."
)
_WORDS = {
    400: (N_("This request cannot be read"), N_("Nothing was recorded.")),
    403: (N_("Refused"), N_("Nothing was recorded.")),
    404: (
        N_("Not found"),
        N_("There is no such page, patient or exam here. The address may be incomplete."),
    ),
    405: (
        N_("Not possible here"),
        N_("This address cannot be used that way. Nothing was recorded."),
    ),
    409: (N_("Not recorded"), N_("Somebody else was there first.")),
    413: (N_("Too large"), N_("Nothing was recorded.")),
    415: (
        N_("Not a form"),
        N_("This address takes an ordinary form, and got something else. Nothing was recorded."),
    ),
    422: (N_("This cannot be recorded"), N_("Nothing was recorded.")),
    503: (N_("Busy"), N_("The database is busy. Nothing was recorded; try again.")),
    500: (
        N_("Something went wrong here"),
        N_("The fault is ours and was logged. What was answered with “saved” is kept."),
    ),
}


def install(app: FastAPI) -> None:
    """Answer every expected error in the product's own words."""
    app.exception_handler(HTTPException)(_http)
    app.exception_handler(RequestValidationError)(_unreadable)
    app.exception_handler(NotFound)(_not_found)
    app.exception_handler(NotOpen)(_not_open)
    app.exception_handler(NotSigned)(_not_signed)
    app.exception_handler(NotYours)(_not_yours)
    app.exception_handler(StaleRevision)(_stale)
    app.exception_handler(BadExam)(_bad_exam)
    app.exception_handler(Busy)(_busy)
    app.exception_handler(NotSignedIn)(_not_signed_in)
    app.exception_handler(ScreenLocked)(_screen_locked)
    app.exception_handler(Forbidden)(_forbidden)


def error_answer(request: Request, status: int, says: str = "", *more: str) -> Response:
    """One error: a whole page, or under /api `{"error": [fault, …]}`.

    more: further faults, each in a line of its own.
    """
    heading, usual = (
        _(words) if words else "" for words in _WORDS.get(status, (HTTPStatus(status).phrase, ""))
    )
    if request.url.path.startswith("/api/"):
        faults = [says or usual or heading, *more]
        return JSONResponse({"error": faults}, status_code=status)
    page = ErrorPage(title=heading, status=int(status), says=says or usual, more=more)
    return show(request, "error.html", page, status=status)


def _http(request: Request, error: HTTPException) -> Response:
    # Starlette's own details are the bare phrase, which our heading says better.
    ours = error.detail not in (HTTPStatus(error.status_code).phrase, "Method Not Allowed")
    answer = error_answer(request, error.status_code, error.detail if ours else "")
    for name, value in (error.headers or {}).items():
        answer.headers[name] = value
    return answer


def _unreadable(request: Request, error: RequestValidationError) -> Response:
    faults = [
        f"{'.'.join(str(part) for part in fault['loc'])}: {fault['msg']}"
        for fault in error.errors()
    ]
    if any(fault["loc"][0] == "path" for fault in error.errors()):
        return error_answer(request, HTTPStatus.NOT_FOUND)
    return error_answer(request, HTTPStatus.UNPROCESSABLE_ENTITY, *faults)


def _not_found(request: Request, error: Exception) -> Response:
    return error_answer(request, HTTPStatus.NOT_FOUND)


def _not_open(request: Request, error: Exception) -> Response:
    return error_answer(
        request,
        HTTPStatus.CONFLICT,
        _("This exam is closed: it no longer takes entries. Nothing was recorded."),
    )


def _not_signed(request: Request, error: Exception) -> Response:
    return error_answer(
        request,
        HTTPStatus.CONFLICT,
        _(
            "This exam is not signed, so nothing can be added beside it: record it in the sheet. "
            "Nothing was recorded."
        ),
    )


def _not_yours(request: Request, error: Exception) -> Response:
    return error_answer(
        request,
        HTTPStatus.FORBIDDEN,
        _("Only what you entered yourself can be taken back. Nothing was recorded."),
    )


def _stale(request: Request, error: Exception) -> Response:
    return error_answer(
        request,
        HTTPStatus.UNPROCESSABLE_ENTITY,
        _(
            "The form was made from a state that there has never been. Nothing was recorded; "
            "load the page again."
        ),
    )


def _bad_exam(request: Request, error: BadExam) -> Response:
    return error_answer(request, HTTPStatus.UNPROCESSABLE_ENTITY, *error.faults)


def _not_signed_in(request: Request, error: Exception) -> Response:
    return not_signed_in_answer(request)


def _screen_locked(request: Request, error: Exception) -> Response:
    return screen_locked_answer(request)


def _forbidden(request: Request, error: Exception) -> Response:
    return error_answer(
        request,
        HTTPStatus.FORBIDDEN,
        _(
            "Your role does not allow this, so nothing was shown or recorded. Somebody in the role "
            "that it belongs to can do it: they sign in with “Somebody else”."
        ),
    )


def busy_answer(request: Request, error: Busy) -> Response:
    """503: nothing was recorded, or nobody knows; the place is told in the log and not here."""
    log.warning("%s", error, extra=about(request))
    says = ""
    if isinstance(error, Away):
        unsure = _("Whether it was recorded is not known; look before you send it again.")
        says = _(_AWAY).format(what=unsure if error.is_unsure else _("Nothing was recorded."))
    answer = error_answer(request, HTTPStatus.SERVICE_UNAVAILABLE, says)
    answer.headers["Retry-After"] = RETRY_AFTER
    return answer


def _busy(request: Request, error: Busy) -> Response:
    return busy_answer(request, error)
