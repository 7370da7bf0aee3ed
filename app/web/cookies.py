"""The cookies: of who is signed in, of a browser in which nobody is, of one at the provider."""

from fastapi import Request
from starlette.responses import Response

from app.store.provider_requests import KEPT_FOR

# Scripts never read them, and no page of another site makes a browser send them.
_SIGN_IN = "evenhand"
_ANONYMOUS = "evenhand-form"
_AT_PROVIDER = "evenhand-provider"


def sign_in_token(request: Request) -> str:
    """The token of the sign-in that this browser holds, or ""."""
    return request.cookies.get(_name(request, _SIGN_IN), "")


def anonymous_token(request: Request) -> str:
    """The token to which the forms of this browser are bound while nobody is signed in, or ""."""
    return request.cookies.get(_name(request, _ANONYMOUS), "")


def keep_sign_in(request: Request, answer: Response, token: str) -> None:
    """Hand the browser a sign-in, until it is closed."""
    _keep(request, answer, _SIGN_IN, token)


def keep_anonymous(request: Request, answer: Response, token: str) -> None:
    """Bind the forms of this browser to a token."""
    _keep(request, answer, _ANONYMOUS, token)


def provider_state(request: Request) -> str:
    """What ties an answer of the identity provider to this browser, or ""."""
    return request.cookies.get(_name(request, _AT_PROVIDER), "")


def keep_provider_state(request: Request, answer: Response, state: str) -> None:
    """Hand the browser what the provider's answer must carry.

    The provider's page sends the browser back, so this one cookie comes with another site's link.
    """
    answer.set_cookie(
        _name(request, _AT_PROVIDER),
        state,
        path="/",
        max_age=int(KEPT_FOR.total_seconds()),
        secure=_is_secure(request),
        httponly=True,
        samesite="lax",
    )


def forget_provider_state(request: Request, answer: Response) -> None:
    """Take that cookie away again."""
    answer.delete_cookie(
        _name(request, _AT_PROVIDER),
        path="/",
        secure=_is_secure(request),
        httponly=True,
        samesite="lax",
    )


def forget_sign_in(request: Request, answer: Response) -> None:
    """Take the cookie away, with all that this browser may have kept of the pages."""
    answer.delete_cookie(
        _name(request, _SIGN_IN),
        path="/",
        secure=_is_secure(request),
        httponly=True,
        samesite="strict",
    )
    answer.headers["Clear-Site-Data"] = '"cache", "storage"'


def _keep(request: Request, answer: Response, kind: str, token: str) -> None:
    answer.set_cookie(
        _name(request, kind),
        token,
        path="/",
        secure=_is_secure(request),
        httponly=True,
        samesite="strict",
    )


def _name(request: Request, kind: str) -> str:
    # A browser takes this prefix only over https, for this host and for every path.
    return f"__Host-{kind}" if _is_secure(request) else kind


def _is_secure(request: Request) -> bool:
    return not request.app.state.plain_http
