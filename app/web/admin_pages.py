"""What the templates of the administrator's pages may read."""

from dataclasses import dataclass

from app.web.pages import EMPTY, Field, Page


@dataclass(frozen=True)
class AccountLine:
    """One account in the list. standing: in words, as in `has not set a password yet`."""

    id: str
    sign_in_name: str
    printed_name: str
    role: str
    standing: str
    is_active: bool


@dataclass(frozen=True)
class Invited:
    """A code that was just made for somebody; it is shown this once."""

    name: str
    sign_in_name: str
    code: str


@dataclass(frozen=True, kw_only=True)
class AccountsPage(Page):
    """admin/accounts.html."""

    accounts: tuple[AccountLine, ...]
    invited: Invited | None = None
    sign_in_name: Field = EMPTY
    printed_name: Field = EMPTY
    role: Field = EMPTY


@dataclass(frozen=True, kw_only=True)
class AccountPage(Page):
    """admin/account.html: one account to be changed."""

    account: AccountLine
    has_second_factor: bool
    has_provider: bool
    invited: Invited | None = None
    says: str = ""
    printed_name: Field = EMPTY
    role: Field = EMPTY
    is_active: Field = EMPTY


@dataclass(frozen=True)
class PathwayField:
    """The clinic's own text beside one step or warning. id: `pathway.` and its id."""

    id: str
    label: str
    field: Field


@dataclass(frozen=True, kw_only=True)
class ClinicPage(Page):
    """admin/clinic.html. cautions: what an administrator should know of this installation."""

    knowledge_version: str
    cautions: tuple[str, ...]
    name: Field
    idle_minutes: Field
    absolute_hours: Field
    impression_first: Field
    steps: tuple[PathwayField, ...]
    warnings: tuple[PathwayField, ...]
    says: str = ""


@dataclass(frozen=True)
class AuditLine:
    """One act in words."""

    number: int
    at: str
    who: str
    what: str
    chart_number: str
    exam: str
    source: str
    more: str


@dataclass(frozen=True)
class Choice:
    """One choice of a list."""

    value: str
    label: str


@dataclass(frozen=True)
class VerifiedView:
    """What checking the chain gave."""

    says: str
    head: str
    alterations: tuple[str, ...]


@dataclass(frozen=True, kw_only=True)
class AuditPage(Page):
    """admin/audit.html. oldest: the number before which the next page begins, 0 at the end."""

    lines: tuple[AuditLine, ...]
    accounts: tuple[Choice, ...]
    actions: tuple[Choice, ...]
    account: str
    action: str
    chart_number: Field
    oldest: int
    verified: VerifiedView | None = None
    heads: Field = EMPTY


@dataclass(frozen=True, kw_only=True)
class EmergencyAccessPage(Page):
    """admin/emergency_access.html. until: set while it is open."""

    until: str
    reason: Field = EMPTY
