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
    """A code that was just made for somebody; it is shown this once. at: where it is used."""

    name: str
    sign_in_name: str
    code: str
    at: str


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
    revision: int
    invited: Invited | None = None
    says: str = ""
    printed_name: Field = EMPTY
    role: Field = EMPTY
    is_active: Field = EMPTY


@dataclass(frozen=True)
class Setting:
    """One setting with its label. id: its name, as in `idle_minutes` or `pathway.` and an id."""

    id: str
    label: str
    field: Field


@dataclass(frozen=True)
class PathwayGroup:
    """The clinic's own texts beside one kind of thing.

    written: how many of them there are; is_open: whether the page shows them at once.
    """

    title: str
    written: int
    is_open: bool
    pathways: tuple[Setting, ...]


@dataclass(frozen=True, kw_only=True)
class ClinicPage(Page):
    """admin/clinic.html.

    cautions: what an administrator should know of this installation. usual_name: what is printed
    where the clinic has set no name.
    """

    revision: int
    knowledge_version: str
    cautions: tuple[str, ...]
    usual_name: str
    name: Setting
    idle_minutes: Setting
    absolute_hours: Setting
    impression_first: Setting
    groups: tuple[PathwayGroup, ...]
    says: str = ""


@dataclass(frozen=True)
class AuditLine:
    """One act in words. in_emergency: it was seen under emergency access."""

    number: int
    day: str
    time: str
    who: str
    role: str
    what: str
    in_emergency: bool
    more: str
    chart_number: str
    exam: str
    source: str


@dataclass(frozen=True)
class Choice:
    """One choice of a list."""

    value: str
    label: str


@dataclass(frozen=True, kw_only=True)
class AuditPage(Page):
    """admin/audit.html.

    oldest: the number before which the next page begins, 0 at the end. is_newest: whether nothing
    newer was left out.
    """

    lines: tuple[AuditLine, ...]
    accounts: tuple[Choice, ...]
    actions: tuple[Choice, ...]
    account: str
    action: str
    chart_number: Field
    oldest: int
    is_newest: bool


@dataclass(frozen=True, kw_only=True)
class VerifyPage(Page):
    """admin/verify.html. says: what checking the chain gave, "" before it was checked."""

    heads: Field
    says: str = ""
    head: str = ""
    alterations: tuple[str, ...] = ()


@dataclass(frozen=True, kw_only=True)
class EmergencyAccessPage(Page):
    """admin/emergency_access.html. until: set while it is open."""

    until: str
    says: str = ""
    reason: Field = EMPTY


@dataclass(frozen=True, kw_only=True)
class ExportPage(Page):
    """admin/export.html. signed: how many exams are signed."""

    signed: int
