"""Signing in, signing out, and making room for somebody else."""

from datetime import UTC, datetime, timedelta
from http import HTTPStatus
from math import ceil

from fastapi import APIRouter, Request
from starlette.responses import Response

from app.language.words import N_, _
from app.people.tokens import hash_token, new_token
from app.store.accounts import Account
from app.store.actor import Actor
from app.store.engine import writing
from app.store.refusals import NotFound
from app.store.sign_ins import end, start_sign_in
from app.web.answers import see_other
from app.web.cookies import forget_sign_in, keep_sign_in
from app.web.forms import FormFields
from app.web.identity import signed_in, source_of, visit_of
from app.web.pages import Fault, Field
from app.web.proof import NotProved, TooManyGuesses, prove
from app.web.refused import is_noted
from app.web.signing_in import safe_path, show_sign_in, way_on

router = APIRouter()

NOT_RIGHT = N_(
    "The name, the password or the code is not right. Whoever uses an authenticator needs its "
    "code as well"
)


@router.get("/sign-in")
def show_sign_in_page(request: Request, to: str = "") -> Response:
    """The sign-in page; to: where to go on."""
    me = signed_in(request)
    if me is not None:
        return see_other(way_on(to, me.role))
    return show_sign_in(request, to=safe_path(to))


@router.post("/sign-in")
def sign_in(request: Request, form: FormFields) -> Response:
    """Sign somebody in, under a new token."""
    name = form.get("sign_in_name", "")
    try:
        account = prove(
            request.app.state.engine,
            name,
            form.get("password", ""),
            source=source_of(request),
            code=form.get("code", ""),
        )
        return started(request, account, way_on(form.get("to", ""), account.role))
    except TooManyGuesses as many:
        answer = _refused(request, form, wait_words(many.wait), HTTPStatus.TOO_MANY_REQUESTS)
        answer.headers["Retry-After"] = str(seconds_of(many.wait))
        return answer
    except (NotProved, NotFound):
        return _refused(request, form, _(NOT_RIGHT), HTTPStatus.UNAUTHORIZED)


@router.post("/sign-out")
def sign_out(request: Request) -> Response:
    """End the sign-in of this browser and leave nothing behind in it."""
    return _ended(request, "sign_out")


@router.post("/switch")
def switch(request: Request) -> Response:
    """Make room for somebody else, also at a locked screen."""
    return _ended(request, "switch")


def started(request: Request, account: Account, path: str) -> Response:
    """Sign an account in that has just been proved, and go on to a path.

    Raises: NotFound, where the account was closed meanwhile.
    """
    now, token = datetime.now(UTC), new_token()
    actor = Actor(account.printed_name, account.role, account.id, source_of(request))
    before = visit_of(request).person
    with writing(request.app.state.engine) as session:
        if before is not None:
            # One browser holds one sign-in.
            end(session, before.token_hash, actor=before.actor, now=now, action="switch")
        start_sign_in(session, account.id, hash_token(token), actor=actor, now=now)
    answer = see_other(path)
    keep_sign_in(request, answer, token)
    return answer


def seconds_of(wait: timedelta) -> int:
    """Whole seconds, so that whoever waits for so long has waited long enough."""
    return max(ceil(wait.total_seconds()), 1)


def wait_words(wait: timedelta) -> str:
    """How long to wait, in words."""
    seconds = seconds_of(wait)
    if seconds < 60:
        left = _("1 second") if seconds == 1 else _("{seconds} seconds").format(seconds=seconds)
    else:
        minutes = ceil(seconds / 60)
        left = _("1 minute") if minutes == 1 else _("{minutes} minutes").format(minutes=minutes)
    return _("Too many tries that were not right. Wait {left}, then try again").format(left=left)


def _refused(request: Request, form: FormFields, says: str, status: HTTPStatus) -> Response:
    is_noted(request)
    return show_sign_in(
        request,
        status=status,
        to=safe_path(form.get("to", "")),
        faults=(Fault("sign_in_name", says),),
        sign_in_name=Field(form.get("sign_in_name", ""), says),
    )


def _ended(request: Request, action: str) -> Response:
    person = visit_of(request).person
    if person is not None:
        with writing(request.app.state.engine) as session:
            end(
                session,
                person.token_hash,
                actor=person.actor,
                now=datetime.now(UTC),
                action=action,
            )
    answer = see_other("/sign-in")
    forget_sign_in(request, answer)
    return answer
