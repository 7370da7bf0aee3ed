"""The password once more, before something about one's own account is changed."""

from fastapi import Request

from app.language.words import _
from app.web.identity import SignedIn
from app.web.proof import NotProved, TooManyGuesses, prove
from app.web.sign_in import wait_words


def own_proof_fault(request: Request, me: SignedIn, password: str) -> str:
    """What is wrong with the proof, in words; "" where it is right."""
    try:
        prove(
            request.app.state.engine,
            me.sign_in_name,
            password,
            source=me.source,
            asks_code=False,
            purpose="own_account",
        )
    except NotProved:
        return _("This is not your password")
    except TooManyGuesses as many:
        return wait_words(many.wait)
    return ""
