"""The lock: the screen is covered while nobody is there, and the work behind it stays."""

from datetime import UTC, datetime
from http import HTTPStatus
from urllib.parse import quote, urlsplit

from fastapi import APIRouter, Request
from starlette.responses import JSONResponse, Response

from app.language.words import N_, _
from app.people.limits import Standing
from app.people.tokens import form_token, hash_token, new_token
from app.store.engine import writing
from app.store.refusals import NotFound
from app.store.sign_ins import lock, renew, start_sign_in, touch
from app.web.allowed import NotSignedIn, someone
from app.web.answers import see_other
from app.web.cookies import keep_sign_in
from app.web.forms import FormFields
from app.web.identity import SignedIn, signed_in, visit_of
from app.web.proof import NotProved, TooManyGuesses, prove
from app.web.refused import is_noted
from app.web.sign_in import seconds_of, wait_words
from app.web.signing_in import safe_path, show_locked, wants_json, way_on

router = APIRouter()

NOT_RIGHT = N_("The password is not right")
NOT_RIGHT_WITH_CODE = N_("The password or the code is not right")


@router.get("/lock")
def show_lock(request: Request, to: str = "") -> Response:
    """The lock screen; a page without scripts comes here when nobody used it for long."""
    me = signed_in(request)
    if me is not None:
        # Somebody was active in another window.
        return see_other(way_on(to, me.role))
    return show_locked(request, to=safe_path(to))


@router.post("/lock")
def lock_screen(request: Request) -> Response:
    """Lock the screen now; without scripts the lock screen leads back to where it was pressed."""
    person = visit_of(request).person
    if person is None:
        raise NotSignedIn
    with writing(request.app.state.engine) as session:
        lock(session, person.token_hash, actor=person.actor, now=datetime.now(UTC))
    if wants_json(request):
        return Response(status_code=HTTPStatus.NO_CONTENT)
    pressed_on = urlsplit(request.headers.get("referer", ""))
    to = safe_path(f"{pressed_on.path}?{pressed_on.query}".removesuffix("?"))
    return see_other(f"/lock?to={quote(to, safe='/')}")


@router.post("/active")
def stay_active(request: Request) -> Response:
    """The person is still there."""
    me = someone(request)
    with writing(request.app.state.engine) as session:
        touch(session, me.token_hash, datetime.now(UTC))
    return Response(status_code=HTTPStatus.NO_CONTENT)


@router.post("/unlock")
def unlock(request: Request, form: FormFields) -> Response:
    """Go on, under a new token, after the password; after the absolute limit, the whole proof."""
    visit = visit_of(request)
    person = visit.person
    if person is None:
        raise NotSignedIn
    is_over = visit.standing is Standing.ENDED
    asks_code = is_over and person.has_second_factor
    try:
        prove(
            request.app.state.engine,
            person.sign_in_name,
            form.get("password", ""),
            source=person.source,
            code=form.get("code", ""),
            asks_code=is_over,
            purpose="unlock",
        )
        token = _renewed(request, person, is_over=is_over)
    except TooManyGuesses as many:
        answer = _refused(request, form, wait_words(many.wait), 429, asks_code)
        answer.headers["Retry-After"] = str(seconds_of(many.wait))
        return answer
    except NotProved:
        says = _(NOT_RIGHT_WITH_CODE) if asks_code else _(NOT_RIGHT)
        return _refused(request, form, says, 401, asks_code)
    except NotFound:
        raise NotSignedIn from None
    answer = see_other(way_on(form.get("to", ""), person.role))
    if wants_json(request):
        answer = JSONResponse({"form_token": form_token(token)})
    keep_sign_in(request, answer, token)
    return answer


def _renewed(request: Request, person: SignedIn, *, is_over: bool) -> str:
    """A new token in the place of the old one."""
    now, token = datetime.now(UTC), new_token()
    with writing(request.app.state.engine) as session:
        if is_over:
            start_sign_in(
                session, person.account_id, hash_token(token), actor=person.actor, now=now
            )
        else:
            renew(
                session,
                person.token_hash,
                hash_token(token),
                actor=person.actor,
                now=now,
                action="unlock",
            )
    return token


def _refused(
    request: Request, form: FormFields, says: str, status: int, asks_code: bool
) -> Response:
    is_noted(request)
    if wants_json(request):
        return JSONResponse({"says": f"{says}.", "asks_code": asks_code}, status_code=status)
    return show_locked(
        request,
        status=status,
        to=safe_path(form.get("to", "")),
        fault=says,
        asks_code=asks_code,
    )
