"""What the pages of signing in and of one's own account may read."""

from dataclasses import dataclass

from app.store.demo_files import DemoAccount
from app.web.pages import EMPTY, Field, Page


@dataclass(frozen=True, kw_only=True)
class SignInPage(Page):
    """sign_in.html. to: where to go on. is_asked: another page asked for the sign-in; came_from:
    that page, where it can be opened again. is_new: nobody has an account yet.

    provider_path: where the identity provider is asked instead, if the clinic has one.
    """

    form_token: str
    provider_path: str
    to: str = ""
    came_from: str = ""
    is_asked: bool = False
    is_new: bool = False
    sign_in_name: Field = EMPTY
    demo_accounts: tuple[DemoAccount, ...] = ()


@dataclass(frozen=True, kw_only=True)
class LockedPage(Page):
    """locked.html: who may go on, and where. asks_code: the second factor is needed as well.

    has_provider: the identity provider, at provider_path, stands in the place of the password.
    """

    form_token: str
    name: str
    sign_in_name: str
    to: str
    has_provider: bool
    provider_path: str
    password: Field = EMPTY
    asks_code: bool = False


@dataclass(frozen=True, kw_only=True)
class FirstPage(Page):
    """first.html: the first administrator."""

    form_token: str
    code: Field = EMPTY
    sign_in_name: Field = EMPTY
    printed_name: Field = EMPTY
    password: Field = EMPTY
    again: Field = EMPTY


@dataclass(frozen=True, kw_only=True)
class InvitedPage(Page):
    """invited.html: the first password of an account, or a new one."""

    form_token: str
    code: Field = EMPTY
    password: Field = EMPTY
    again: Field = EMPTY


@dataclass(frozen=True)
class SignInLine:
    """One browser in which this person is signed in. id: the hash of its token."""

    id: str
    started: str
    active: str
    source: str
    is_here: bool
    is_locked: bool


@dataclass(frozen=True, kw_only=True)
class OwnAccountPage(Page):
    """me.html. has_password: not where the identity provider alone says who it is."""

    sign_in_name: str
    printed_name: str
    role: str
    revision: int
    has_password: bool
    has_second_factor: bool
    sign_ins: tuple[SignInLine, ...]
    says: str = ""
    password: Field = EMPTY
    new_password: Field = EMPTY
    again: Field = EMPTY
    off_password: Field = EMPTY


@dataclass(frozen=True, kw_only=True)
class SecondFactorPage(Page):
    """second_factor.html: a secret to scan, and the code that shows that it was scanned.

    qr: SVG made by the program. revision: of the account as it stood before.
    """

    secret: str
    secret_groups: str
    qr: str
    revision: int
    password: Field = EMPTY
    code: Field = EMPTY


@dataclass(frozen=True, kw_only=True)
class ProviderPage(Page):
    """provider.html: says what was done, and goes on by itself. to: "" where it stays."""

    says: str
    to: str


@dataclass(frozen=True, kw_only=True)
class ProviderRefusedPage(Page):
    """provider_refused.html: why nobody was let in. again: where to begin once more."""

    says: str
    again: str
