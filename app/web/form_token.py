"""A write comes from a form of our own: each carries a token that only our pages know."""

from http import HTTPStatus
from urllib.parse import parse_qsl

from fastapi import Request
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from app.language.words import N_, _
from app.people.limits import Standing
from app.people.tokens import is_form_token
from app.web.cookies import anonymous_token, sign_in_token
from app.web.errors import error_answer
from app.web.forms import MAX_FIELDS, SAFE_METHODS
from app.web.identity import visit_of
from app.web.signing_in import not_signed_in_answer, screen_locked_answer
from app.web.upload import MEDIA_TYPE, BadUpload, read_upload

FIELD = "form_token"
HEADER = "X-Form-Token"
# The forms that somebody fills in before they are signed in.
PUBLIC_FORMS = ("/sign-in", "/first", "/invited")
# What can be done at a locked screen.
AT_A_LOCKED_SCREEN = ("/lock", "/unlock", "/switch", "/sign-out")
SAYS = N_(
    "The form that was sent does not belong to this sign-in, so nothing was recorded. It may be "
    "from before you signed in or unlocked the screen: open the page again and send it once more."
)


class CheckForms:
    """Refuses a write of somebody who is not signed in, whose screen is locked, or without token.

    Programs that use /api carry nobody's cookies and write nothing.
    """

    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one request."""
        if (
            scope["type"] != "http"
            or scope["method"] in SAFE_METHODS
            or scope["path"].startswith("/api/")
        ):
            await self.app(scope, receive, send)
            return
        body = await _body(receive)
        request = Request(scope)
        visit, path = visit_of(request), request.url.path
        is_over = visit.person is None or (visit.standing is Standing.ENDED and path != "/unlock")
        if is_over and path not in PUBLIC_FORMS:
            await not_signed_in_answer(request)(scope, receive, send)
            return
        given = request.headers.get(HEADER) or _field(request, body)
        if not any(is_form_token(given, token) for token in _tokens(request)):
            answer = error_answer(request, HTTPStatus.FORBIDDEN, _(SAYS))
            await answer(scope, receive, send)
            return
        if visit.standing is Standing.LOCKED and path not in (*AT_A_LOCKED_SCREEN, *PUBLIC_FORMS):
            await screen_locked_answer(request)(scope, receive, send)
            return
        given_on = False

        async def replay() -> Message:
            nonlocal given_on
            if given_on:
                return await receive()
            given_on = True
            return {"type": "http.request", "body": body, "more_body": False}

        await self.app(scope, replay, send)


def _tokens(request: Request) -> list[str]:
    """The tokens of this browser whose forms hold for this request."""
    anonymous = anonymous_token(request)
    tokens = [sign_in_token(request)] if visit_of(request).person else []
    if anonymous and request.url.path in PUBLIC_FORMS:
        tokens.append(anonymous)
    return tokens


async def _body(receive: Receive) -> bytes:
    """The whole body, whose size was limited before."""
    body, more = bytearray(), True
    while more:
        message = await receive()
        body += message.get("body", b"")
        more = message.get("more_body", False)
    return bytes(body)


def _field(request: Request, body: bytes) -> str:
    """The token in a form; "" where there is none, or more than one."""
    kind = request.headers.get("content-type", "")
    if kind.lower().startswith(MEDIA_TYPE):
        try:
            return read_upload(kind, body).fields.get(FIELD, "")
        except BadUpload:
            return ""
    if "form-urlencoded" not in kind.lower():
        return ""
    try:
        pairs = parse_qsl(body.decode("utf-8", "replace"), max_num_fields=MAX_FIELDS)
    except ValueError:
        return ""
    found = [value for name, value in pairs if name == FIELD]
    return found[0] if len(found) == 1 else ""
