"""What a signature asks for: the right person, and who signs proved once more."""

from collections.abc import Mapping
from datetime import UTC, datetime

from fastapi import Request

from app.language.words import N_, Spoken, _
from app.store.accounts import account
from app.store.engine import reading, writing
from app.store.patients import PatientCard
from app.store.sign_ins import use_signing_proof
from app.web.identity import SignedIn
from app.web.proof import NotProved, TooManyGuesses, prove
from app.web.provider import is_fresh, provider_path
from app.web.refused import is_noted
from app.web.reviewing import is_right_person

NOT_THIS_PERSON = N_("This is not the patient of this exam. Check whose chart you have open")
MISSING = Spoken(
    {
        "initials": N_("The patient’s initials are missing"),
        "birth_year": N_("The patient’s year of birth is missing"),
    }
)
NOT_RIGHT = N_("The password is not right")
NOT_FRESH = N_("Prove who you are again, then sign within two minutes")


def proof_path(to: str) -> str:
    """Where the identity provider is asked for a fresh proof; to: the page to come back to."""
    return provider_path("sign", to)


def has_password(request: Request, me: SignedIn) -> bool:
    """Whether a password proves who this is; else the identity provider does."""
    with reading(request.app.state.engine) as session:
        return account(session, me.account_id).password_hash is not None


def not_this_person(patient: PatientCard, form: Mapping[str, str]) -> dict[str, str]:
    """What is wrong with the initials and the birth year that were typed, by field."""
    # Nobody who forgot them is told that the wrong chart is open.
    missing = {name: says for name, says in MISSING.items() if not form.get(name, "").strip()}
    if missing:
        return missing
    if is_right_person(patient, form.get("initials", ""), form.get("birth_year", "")):
        return {}
    return {"initials": _(NOT_THIS_PERSON)}


def not_proved(request: Request, me: SignedIn, password: str) -> tuple[dict[str, str], int]:
    """What is wrong with the proof, by field, and the status to say so; nothing where it is right.

    A wrong password counts against whoever types it, and is noted in the audit. The provider's word
    is used up, as a password that was typed is.
    """
    if not has_password(request, me):
        is_given = is_fresh(me, datetime.now(UTC)) and _used(request, me)
        return ({}, 200) if is_given else ({"password": _(NOT_FRESH)}, 422)
    try:
        prove(
            request.app.state.engine,
            me.sign_in_name,
            password,
            source=me.source,
            asks_code=False,
            purpose="sign",
        )
    except NotProved:
        is_noted(request)
        return {"password": _(NOT_RIGHT)}, 422
    except TooManyGuesses as many:
        is_noted(request)
        seconds = int(many.wait.total_seconds()) + 1
        return {
            "password": _("Too many wrong passwords: wait {seconds} seconds").format(
                seconds=seconds
            )
        }, 429
    return {}, 200


def _used(request: Request, me: SignedIn) -> bool:
    """Use the provider's word up; no where another signature has."""
    with writing(request.app.state.engine) as session:
        return use_signing_proof(session, me.token_hash)
