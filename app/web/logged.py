"""The server's log: a line for each thing that happened, and in none of them a patient.

A line holds the route's pattern and never the address, the class of a fault and where it arose and
never its message: a message may repeat what somebody typed. Who saw or wrote what stands in the
audit. What other packages say is told by name and place alone, for the same reason.
"""

import json
import logging
import traceback
from datetime import UTC, datetime
from pathlib import Path
from secrets import token_hex
from time import perf_counter
from typing import Any

from starlette.datastructures import MutableHeaders
from starlette.requests import Request
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from app.web.refused import route_of

log = logging.getLogger(__name__)

JSON, TEXT = "json", "text"
# Their messages are written by us, or speak of sockets, signals and versions only.
TRUSTED = ("app", "uvicorn", "alembic")
# By which a person and the log can speak of the same request.
HEADER = "X-Request-ID"
METHODS = ("GET", "HEAD", "POST", "PUT", "PATCH", "DELETE", "OPTIONS", "TRACE", "CONNECT")
# Asked every few seconds by each open page, or by a supervisor: told only where they go wrong.
QUIET = ("/static/", "/healthz", "/readyz")
WRONG = 400
# The innermost calls of a fault.
FRAMES = 12


def log_config(style: str) -> dict[str, Any]:
    """The logging of a whole server process. style: JSON or TEXT."""
    return {
        "version": 1,
        "disable_existing_loggers": False,
        "formatters": {"lines": {"()": Lines, "style": style}},
        "handlers": {
            "console": {
                "class": "logging.StreamHandler",
                "stream": "ext://sys.stdout",
                "formatter": "lines",
            }
        },
        "root": {"level": "WARNING", "handlers": ["console"]},
        "loggers": {"app": {"level": "INFO"}, "uvicorn": {"level": "INFO"}},
    }


def about(request: Request) -> dict[str, dict[str, str]]:
    """What a line may say of a request; the `extra` of a call to a logger."""
    method = request.method if request.method in METHODS else "other"
    said = {"method": method, "route": _route(request.scope)}
    said["request"] = getattr(request.state, "request_id", "")
    return {"fields": said}


class LogRequests:
    """Gives each request an id, which its answer carries, and writes a line when it is done."""

    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one request."""
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        began, status = perf_counter(), 0
        made = scope.setdefault("state", {})["request_id"] = token_hex(8)

        async def note_and_send(message: Message) -> None:
            nonlocal status
            if message["type"] == "http.response.start":
                status = message["status"]
                MutableHeaders(scope=message)[HEADER] = made
            await send(message)

        try:
            await self.app(scope, receive, note_and_send)
        finally:
            if not _is_quiet(scope["path"]) or status >= WRONG:
                fields: dict[str, Any] = {**about(Request(scope))["fields"], "status": status}
                fields["ms"] = round((perf_counter() - began) * 1000)
                log.info("answered", extra={"fields": fields})


class Lines(logging.Formatter):
    """A record as one line."""

    def __init__(self, style: str) -> None:
        super().__init__()
        self.is_json = style == JSON

    def format(self, record: logging.LogRecord) -> str:
        """The line. In JSON every character beyond ASCII and every control is escaped."""
        said = told(record)
        if self.is_json:
            return json.dumps(said)
        time, level, event = said.pop("time"), said.pop("level"), said.pop("event")
        more = "".join(f" {name}={json.dumps(value)}" for name, value in said.items())
        return f"{time} {level} {event.encode('unicode_escape').decode()}{more}"


def told(record: logging.LogRecord) -> dict[str, Any]:
    """What is said of a record."""
    when = datetime.fromtimestamp(record.created, UTC).isoformat(timespec="milliseconds")
    if record.name.partition(".")[0] in TRUSTED:
        event = record.getMessage().strip()
    else:
        event = f"{record.name} said something at {record.module}:{record.lineno}"
    said: dict[str, Any] = {"time": when, "level": record.levelname, "event": event}
    said |= getattr(record, "fields", {})
    if record.exc_info and record.exc_info[1]:
        said["fault"] = _fault(record.exc_info[1])
    return said


def _fault(error: BaseException) -> list[dict[str, Any]]:
    """The class and the place of an exception, and of those behind it, without their messages."""
    found, seen = [], set[int]()
    behind: BaseException | None = error
    while behind is not None and id(behind) not in seen:
        seen.add(id(behind))
        frames = traceback.extract_tb(behind.__traceback__)[-FRAMES:]
        at = [f"{'/'.join(Path(f.filename).parts[-2:])}:{f.lineno} {f.name}" for f in frames]
        kind = type(behind)
        found.append({"type": f"{kind.__module__}.{kind.__qualname__}", "at": at})
        behind = behind.__cause__ or (None if behind.__suppress_context__ else behind.__context__)
    return found


def _route(scope: Scope) -> str:
    """The pattern of the address; "" where there is no such page: it could say anything."""
    if scope["path"].startswith("/static/"):
        return "/static"
    known = getattr(scope.get("route"), "path", None)
    return known if known is not None else route_of(Request(scope))[0]


def _is_quiet(path: str) -> bool:
    return path.startswith(QUIET) or path.endswith("/updates")
