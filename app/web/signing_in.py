"""The answers to somebody who is not signed in, or whose screen is locked."""

from collections.abc import Callable
from urllib.parse import urlsplit

from fastapi import Request
from starlette.responses import JSONResponse, Response

from app.language.words import _
from app.people.limits import Standing
from app.people.tokens import form_token, new_token
from app.store.accounts import has_accounts
from app.store.engine import reading
from app.web.account_pages import LockedPage, SignInPage
from app.web.answers import home_of, show
from app.web.cookies import anonymous_token, keep_anonymous
from app.web.forms import SAFE_METHODS
from app.web.identity import visit_of
from app.web.pages import EMPTY, Fault, Field, Page
from app.web.provider import provider_path

LONGEST_PATH = 500


def not_signed_in_answer(request: Request) -> Response:
    """401 with the sign-in form, which leads back to the page that was asked for."""
    if wants_json(request):
        return JSONResponse(
            {"says": _("Nobody is signed in here any more. Sign in again.")}, status_code=401
        )
    asked = asked_path(request)
    return show_sign_in(request, status=401, to=asked, came_from=asked, is_asked=True)


def screen_locked_answer(request: Request) -> Response:
    """401 with the lock screen, which leads back to the page that was asked for."""
    if wants_json(request):
        return JSONResponse({"says": _("The screen is locked.")}, status_code=401)
    return show_locked(request, status=401, to=asked_path(request))


def show_sign_in(
    request: Request,
    *,
    status: int = 200,
    to: str = "",
    came_from: str = "",
    is_asked: bool = False,
    faults: tuple[Fault, ...] = (),
    sign_in_name: Field = EMPTY,
) -> Response:
    """The sign-in page. to: where to go on; is_asked, came_from: see SignInPage."""
    accounts = request.app.state.demo_accounts
    with reading(request.app.state.engine) as session:
        is_new = not has_accounts(session)

    def page(token: str) -> SignInPage:
        return SignInPage(
            title=_("Sign in"),
            faults=faults,
            form_token=token,
            provider_path=provider_path("sign_in", to),
            to=to,
            came_from=came_from,
            is_asked=is_asked,
            is_new=is_new,
            sign_in_name=sign_in_name,
            demo_accounts=accounts,
        )

    return show_public(request, "sign_in.html", page, status=status)


def show_locked(
    request: Request, *, status: int = 200, to: str = "", fault: str = "", asks_code: bool = False
) -> Response:
    """The lock screen as a page; asks_code: the sign-in is over, so the whole proof is needed."""
    visit = visit_of(request)
    person = visit.person
    if person is None:
        return not_signed_in_answer(request)
    page = LockedPage(
        title=_("Locked"),
        faults=(Fault("password", fault),) if fault else (),
        form_token=person.form_token,
        name=person.name,
        sign_in_name=person.sign_in_name,
        to=to,
        has_provider=person.has_provider,
        provider_path=provider_path("unlock", to),
        password=Field(fault=fault),
        asks_code=asks_code or (visit.standing is Standing.ENDED and person.has_second_factor),
    )
    return show(request, "locked.html", page, status=status)


def show_public(
    request: Request, template: str, page: Callable[[str], Page], *, status: int = 200
) -> Response:
    """A page with a form for somebody who is not signed in, bound to this browser by a cookie.

    page: makes the page from the token that its form carries.
    """
    known = anonymous_token(request)
    token = known or new_token()
    answer = show(request, template, page(form_token(token)), status=status)
    if not known:
        keep_anonymous(request, answer, token)
    return answer


def asked_path(request: Request) -> str:
    """The page that was asked for; "" where a form was sent, which cannot be sent again."""
    if request.method not in SAFE_METHODS:
        return ""
    path, query = request.url.path, request.url.query
    return safe_path(f"{path}?{query}" if query else path)


def safe_path(text: str) -> str:
    """The text, where it is the path of a page of this program; else "".

    A link to the sign-in page must not lead on to somewhere else.
    """
    # A browser reads a backslash as a slash and drops control characters.
    is_plain = text.isascii() and text.isprintable() and "\\" not in text
    if not is_plain or len(text) > LONGEST_PATH or not text.startswith("/") or text[1:2] == "/":
        return ""
    parts = urlsplit(text)
    return "" if parts.scheme or parts.netloc or parts.path in _NO_PAGES else text


# Where nobody goes on to.
_NO_PAGES = (
    "/sign-in", "/lock", "/unlock", "/switch", "/sign-out", "/first", "/invited",
    "/provider/start", "/provider/back",
)  # fmt: skip


def way_on(to: str, role: str) -> str:
    """Where somebody goes who has just signed in.

    The bare address leads to where their own work begins: the list of patients is not for all.
    """
    path = safe_path(to)
    return home_of(role) if path in ("", "/") else path


def wants_json(request: Request) -> bool:
    """Whether a script of ours asked, and shows the answer itself."""
    return request.headers.get("accept", "") == "application/json"
