"""Who records: a name and a role, kept in a session cookie until there are accounts."""

from collections.abc import Mapping
from urllib.parse import quote, unquote

from fastapi import Request
from starlette.responses import Response

from app.store.actor import LONGEST_NAME, Recorder
from app.store.free_text import BadText, check_line
from app.store.tables import ROLES
from app.web.pages import RecorderFields

COOKIE = "recording-as"


class NoRecorder(ValueError):
    """Nobody has said who records, or what was said cannot be kept."""

    def __init__(self, fields: RecorderFields) -> None:
        super().__init__("nobody has said who is recording")
        self.fields = fields


def recorder_of(request: Request) -> Recorder | None:
    """Who records in this browser; None where nobody has said so yet."""
    role, _, name = request.cookies.get(COOKIE, "").partition(":")
    try:
        return Recorder(unquote(name), role)
    except ValueError:
        return None


def recorder_in(form: Mapping[str, str], request: Request) -> Recorder:
    """Who records: as the form says, where it asks; else as was said before.

    Raises: NoRecorder.
    """
    if "recorder" not in form and "role" not in form:
        known = recorder_of(request)
        if known is None:
            raise NoRecorder(fields_of(None))
        return known
    name, role = form.get("recorder", ""), form.get("role", "")
    name_fault = role_fault = ""
    try:
        name = check_line(name, longest=LONGEST_NAME)
        if not name:
            name_fault = "Give a name or initials: every entry carries them"
    except BadText as fault:
        name_fault = f"The name {fault}"
    if role not in ROLES:
        role_fault = "Choose nurse or physician"
    if name_fault or role_fault:
        raise NoRecorder(RecorderFields(False, name, role, name_fault, role_fault))
    return Recorder(name, role)


def fields_of(recorder: Recorder | None) -> RecorderFields:
    """What a page shows of the recorder."""
    if recorder is None:
        return RecorderFields(is_known=False)
    return RecorderFields(True, recorder.name, recorder.role)


def part_of(recorder: Recorder) -> str:
    """The part of the sheet that opens first for this person."""
    return "nurse" if recorder.role == "nurse" else ""


def remember(answer: Response, recorder: Recorder) -> Response:
    """Keep it until the browser is closed."""
    answer.set_cookie(
        COOKIE, f"{recorder.role}:{quote(recorder.name, safe='')}", httponly=True, samesite="lax"
    )
    return answer
