"""Who does something: the account, the printed name and the role under which it is done."""

from dataclasses import dataclass

from app.language.words import _
from app.store.free_text import BadText, check_line
from app.store.tables import ACCOUNT_ROLES, ROLES

LONGEST_NAME = 100


@dataclass(frozen=True)
class Actor:
    """Somebody who acts, as the audit names them.

    role: nurse, physician, administrator, or "" where nobody has signed in. account_id: "" where
    there is no account, as for the program itself. source: the address that the request came from.
    """

    name: str
    role: str
    account_id: str = ""
    source: str = ""

    def __post_init__(self) -> None:
        """Refuse an actor who could not be named afterwards."""
        if self.role not in ("", *ACCOUNT_ROLES):
            raise ValueError(f"{self.role!r} is not one of the roles {', '.join(ACCOUNT_ROLES)}")
        try:
            tidy = check_line(self.name, longest=LONGEST_NAME)
        except BadText as fault:
            raise ValueError(_("the name {fault}").format(fault=fault)) from None
        if not tidy or self.name != tidy:
            raise ValueError("an actor needs a name, in one line without spaces around it")


@dataclass(frozen=True)
class Recorder(Actor):
    """Who records findings: a nurse or a physician."""

    def __post_init__(self) -> None:
        """Refuse any other role."""
        super().__post_init__()
        if self.role not in ROLES:
            raise ValueError(f"{self.role!r} is not one of the roles {', '.join(ROLES)}")


# What the program does by itself: the first start, the demonstration, a clean-up.
PROGRAM = Actor("Evenhand", "")
