"""The audit of what was refused: every write, and every page that a role does not open, a row."""

from datetime import UTC, datetime
from http import HTTPStatus

from fastapi import Request
from starlette.concurrency import run_in_threadpool
from starlette.routing import Match
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from app.store.actor import Actor
from app.store.audit import note
from app.store.engine import writing
from app.store.patients import is_id
from app.web.forms import SAFE_METHODS
from app.web.identity import source_of, visit_of

REFUSED: tuple[int, ...] = (401, 403, 404, 409, 412, 413, 415, 422)


class NoteRefused:
    """Notes each refusal with the route's pattern and without anything that was sent.

    Of what was only to be seen it notes what the role does not open; a page that asks by itself
    for what is new would note that every few seconds, and is left out. What a route has already
    noted in words of its own is not noted twice.
    """

    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one request."""
        if scope["type"] != "http" or scope["path"].startswith("/api/"):
            await self.app(scope, receive, send)
            return
        statuses = REFUSED
        if scope["method"] in SAFE_METHODS:
            statuses = () if scope["path"].endswith("/updates") else (HTTPStatus.FORBIDDEN,)

        async def note_and_send(message: Message) -> None:
            if message["type"] == "http.response.start" and message["status"] in statuses:
                # Before the answer goes out, so that a refusal that was seen is noted.
                await run_in_threadpool(_note, Request(scope), message["status"])
            await send(message)

        await self.app(scope, receive, note_and_send)


def is_noted(request: Request) -> None:
    """Say that the refusal of this request stands in the audit already."""
    request.state.refusal_is_noted = True


def _note(request: Request, status: int) -> None:
    if getattr(request.state, "refusal_is_noted", False):
        return
    person = visit_of(request).person
    actor = person.actor if person else Actor("Nobody", "", source=source_of(request))
    pattern, exam_id = route_of(request)
    with writing(request.app.state.engine) as session:
        note(
            session,
            actor,
            "refused",
            at=datetime.now(UTC),
            exam_id=exam_id,
            detail={"status": status, "method": request.method, "route": pattern},
        )


def route_of(request: Request) -> tuple[str, str]:
    """The pattern of the address, as in /exams/{exam_id}/cells, and the exam that it names.

    Both empty where there is no such page: what stands in such an address may be anything.
    """
    matched = [(route.matches(request.scope), route) for route in request.app.state.routes]
    for wanted in (Match.FULL, Match.PARTIAL):
        for (match, found), route in matched:
            if match is wanted:
                exam_id = found["path_params"].get("exam_id", "")
                return route.path, exam_id if is_id(exam_id) else ""
    return "", ""
