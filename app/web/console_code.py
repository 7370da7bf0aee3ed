"""A one-time code from the server's console, for an administrator whom nobody else can let in."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta

from sqlalchemy import Engine

from app.language.words import _
from app.people.tokens import hash_code, new_code
from app.store.accounts import account_named, lock_active
from app.store.actor import PROGRAM
from app.store.engine import writing
from app.store.invitations import invite
from app.store.proofs import set_second_factor
from app.store.refusals import NotFound

VALID_FOR = timedelta(hours=24)
# As the audit says where it came from; nobody has signed in there.
AT_CONSOLE = replace(PROGRAM, source="console")


def console_code(engine: Engine, sign_in_name: str, *, takes_second_factor: bool) -> str:
    """A code with which an administrator chooses a new password; the old one holds until then.

    takes_second_factor: whether the second factor is taken away, too.
    Raises: NotFound, where no administrator who may sign in is called so.
    """
    now, code = datetime.now(UTC), new_code()
    with writing(engine) as session:
        held = account_named(session, sign_in_name)
        if held is None or lock_active(session, held.id).role != "administrator":
            raise NotFound(_("no administrator has this sign-in name"))
        if takes_second_factor:
            set_second_factor(session, held.id, None, at_revision=None, actor=AT_CONSOLE, now=now)
        invite(session, held.id, hash_code(code), now + VALID_FOR, actor=AT_CONSOLE, now=now)
    return code
