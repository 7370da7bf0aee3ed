"""What every request passes before a route and every answer before the browser.

Plain ASGI, so that it also holds for error pages, static files and answers that stream.
"""

import logging
from http import HTTPStatus
from urllib.parse import urlsplit

from fastapi import FastAPI
from starlette.datastructures import Headers, MutableHeaders
from starlette.middleware.gzip import GZipMiddleware
from starlette.requests import Request
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from app.language.words import _
from app.store.refusals import Busy
from app.web import verify
from app.web.errors import busy_answer, error_answer
from app.web.form_token import CheckForms
from app.web.forms import SAFE_METHODS
from app.web.identity import Identify, visit_of
from app.web.logged import LogRequests, about
from app.web.refused import NoteRefused

log = logging.getLogger(__name__)

# A whole sheet with every field filled is under 60 kB.
MAX_BODY_BYTES = 256 * 1024
# A client that is still sending does not read the answer, so this much more is read and dropped.
MAX_DRAINED_BYTES = 16 * 1024 * 1024
# Where files are sent, by whoever is signed in.
UPLOADS = {verify.PATH: verify.MAX_UPLOAD_BYTES}

# Smaller ones fit into one packet as they are.
MIN_COMPRESSED_BYTES = 500
# Level 9 makes the sheet 6 % smaller than this and takes twice the time (measured).
COMPRESSION_LEVEL = 5
# The ends of addresses whose answers are compressed in themselves.
PACKED = (".woff2", "/pdf")

CONTENT_SECURITY_POLICY = "; ".join(
    (
        "default-src 'self'",
        "script-src 'self'",
        "style-src 'self'",
        "object-src 'none'",
        "base-uri 'none'",
        "frame-ancestors 'none'",
        "form-action 'self'",
    )
)
HEADERS = {
    "Content-Security-Policy": CONTENT_SECURITY_POLICY,
    "X-Content-Type-Options": "nosniff",
    # With no-referrer a browser sends "Origin: null" with our own forms.
    "Referrer-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
}
# One year, with subdomains.
HSTS = "max-age=31536000; includeSubDomains"


def install(app: FastAPI) -> None:
    """Put the guards around the program; the one added last is the outermost."""
    app.add_middleware(CheckForms)
    app.add_middleware(RefuseOtherSites)
    app.add_middleware(LimitBody)
    app.add_middleware(NoteRefused)
    app.add_middleware(Identify)
    app.add_middleware(AnswerFailures)
    app.add_middleware(AddHeaders)
    app.add_middleware(Compress)
    app.add_middleware(LogRequests)


class Compress:
    """Sends answers compressed to whoever takes them so, but not what holds no air.

    Why that tells nobody who listens what is in a page: docs/decisions/0016.
    """

    def __init__(self, app: ASGIApp) -> None:
        self.app = app
        self.compressed = GZipMiddleware(app, MIN_COMPRESSED_BYTES, COMPRESSION_LEVEL)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one request."""
        is_packed = scope["type"] == "http" and scope["path"].endswith(PACKED)
        await (self.app if is_packed else self.compressed)(scope, receive, send)


class AddHeaders:
    """Sets the security headers on every answer, and no-store on whatever is not a static file."""

    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one request."""
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        cache = "no-cache" if scope["path"].startswith("/static/") else "no-store"

        async def send_with_headers(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                for name, value in HEADERS.items():
                    headers[name] = value
                headers["Cache-Control"] = cache
                if not scope["app"].state.plain_http:
                    headers["Strict-Transport-Security"] = HSTS
                headers.add_vary_header("HX-Request")
            await send(message)

        await self.app(scope, receive, send_with_headers)


class AnswerFailures:
    """Answers what nobody foresaw with a whole page, and logs it without what was sent."""

    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one request."""
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        started = False

        async def note_start(message: Message) -> None:
            nonlocal started
            started = started or message["type"] == "http.response.start"
            await send(message)

        try:
            await self.app(scope, receive, note_start)
        except Busy as busy:
            # Before a route: nobody could be asked who is there.
            if started:
                raise
            await busy_answer(Request(scope), busy)(scope, receive, send)
        except Exception:
            log.exception("a request failed", extra=about(Request(scope)))
            if started:
                raise
            answer = error_answer(Request(scope), HTTPStatus.INTERNAL_SERVER_ERROR)
            await answer(scope, receive, send)


class LimitBody:
    """Refuses a body over the limit before any of it is used."""

    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one request."""
        if scope["type"] != "http" or scope["method"] in SAFE_METHODS:
            await self.app(scope, receive, send)
            return
        most = _most(scope)
        body = bytearray()
        size, more = 0, True
        while more and size <= most + MAX_DRAINED_BYTES:
            message = await receive()
            if message["type"] == "http.disconnect":
                return
            chunk = message.get("body", b"")
            size += len(chunk)
            if size <= most:
                body += chunk
            more = message.get("more_body", False)
        if size > most:
            answer = error_answer(
                Request(scope),
                HTTPStatus.REQUEST_ENTITY_TOO_LARGE,
                _("What was sent is larger than {_size}. Nothing of it was recorded.").format(
                    _size=_size(most)
                ),
            )
            await answer(scope, receive, send)
            return
        given = False

        async def replay() -> Message:
            nonlocal given
            if given:
                return await receive()
            given = True
            return {"type": "http.request", "body": bytes(body), "more_body": False}

        await self.app(scope, replay, send)


def _most(scope: Scope) -> int:
    """How many bytes a request may send."""
    is_somebody = visit_of(Request(scope)).person is not None
    return UPLOADS.get(scope["path"], MAX_BODY_BYTES) if is_somebody else MAX_BODY_BYTES


def _size(most: int) -> str:
    return (
        _("{most} KiB").format(most=most // 1024)
        if most < 1024 * 1024
        else _("{most} MB").format(most=most // (1024 * 1024))
    )


class RefuseOtherSites:
    """Refuses a write that another site's page makes the browser send."""

    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one request."""
        if (
            scope["type"] == "http"
            and scope["method"] not in SAFE_METHODS
            and _from_another_site(Headers(scope=scope))
        ):
            answer = error_answer(
                Request(scope),
                HTTPStatus.FORBIDDEN,
                _("This was sent from a page of another site, so nothing was recorded."),
            )
            await answer(scope, receive, send)
            return
        await self.app(scope, receive, send)


def _from_another_site(headers: Headers) -> bool:
    """A browser sends Sec-Fetch-Site over https and to this machine, and Origin everywhere else.

    A program that is no browser sends neither, and carries no one's cookies.
    """
    site = headers.get("sec-fetch-site")
    if site is not None:
        return site not in ("same-origin", "none")
    origin = headers.get("origin")
    return origin is not None and urlsplit(origin).netloc != headers.get("host", "")
