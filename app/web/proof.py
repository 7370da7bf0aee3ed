"""The proof of who somebody is: the password and, where there is one, the second factor."""

from datetime import UTC, datetime, timedelta

from sqlalchemy import Engine

from app.people.passwords import verify_nothing, verify_password
from app.people.second_factor import accepted_step
from app.people.throttle import wait_before
from app.store.accounts import Account, account_named, sign_in_key
from app.store.actor import Actor
from app.store.audit import note
from app.store.engine import writing
from app.store.guesses import failures, failures_everywhere, forget_failures, note_failure
from app.store.proofs import keep_rehash, use_step

SIGN_IN_REFUSED = "sign_in_refused"


class NotProved(Exception):
    """The name, the password or the code is not right; which of them is not said."""


class TooManyGuesses(Exception):
    """So many were wrong that the next one, even a right one, has to wait."""

    def __init__(self, wait: timedelta) -> None:
        super().__init__(f"wait {wait}")
        self.wait = wait


def prove(
    engine: Engine,
    sign_in_name: str,
    password: str,
    *,
    source: str,
    code: str = "",
    asks_code: bool = True,
    purpose: str = "sign_in",
) -> Account:
    """The active account that this name and password belong to.

    source: the address that the request came from; only guesses from there make it wait. code: of
    the second factor; asks_code: whether an account with a second factor needs it here.
    Raises: NotProved, TooManyGuesses. Both are noted in the audit.
    """
    now = datetime.now(UTC)
    account = _begin(engine, sign_in_name, source, now, purpose)
    step, rehashed = None, None
    if account is None or not account.is_active or account.password_hash is None:
        # An unknown name takes as long as a wrong password.
        verify_nothing(password)
        is_right = False
    else:
        verified = verify_password(account.password_hash, password)
        is_right, rehashed = verified.is_right, verified.rehashed
        if is_right and asks_code and account.totp_secret is not None:
            step = accepted_step(account.totp_secret, code, now, account.totp_counter)
            is_right = step is not None
    with writing(engine) as session:
        if (
            is_right
            and account is not None
            and (step is None or use_step(session, account.id, step))
        ):
            forget_failures(session, sign_in_key(sign_in_name), source)
            if rehashed is not None:
                keep_rehash(session, account.id, rehashed, replaces=account.password_hash)
            return account
        actor = _refused_actor(account, source)
        note(session, actor, SIGN_IN_REFUSED, at=now, detail={"for": purpose, "why": "proof"})
    raise NotProved


def _begin(
    engine: Engine, sign_in_name: str, source: str, now: datetime, purpose: str
) -> Account | None:
    """Count the guess before it is judged, so that many at once are no way around the wait."""
    key = sign_in_key(sign_in_name)
    with writing(engine) as session:
        count, last_at = failures(session, key, source)
        wait = wait_before(count, last_at, now, everywhere=failures_everywhere(session, key))
        account = account_named(session, sign_in_name)
        if not wait:
            note_failure(session, key, source, now)
            return account
        actor = _refused_actor(account, source)
        note(session, actor, SIGN_IN_REFUSED, at=now, detail={"for": purpose, "why": "wait"})
    raise TooManyGuesses(wait)


def _refused_actor(account: Account | None, source: str) -> Actor:
    # What was typed is not kept: it may be a password that went into the wrong field.
    if account is None:
        return Actor("Unknown", "", source=source)
    return Actor(account.printed_name, account.role, account.id, source)
